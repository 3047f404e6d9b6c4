"""One movement of a tank: what is known of it, and the states that it goes through.

Knows its own figures; refuses to know how it was found. Times are of two clocks: `_at_ms` on the core's own (elapsed),
`_ms` of people (UTC).
"""

from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any, Final, NamedTuple


class Stage(StrEnum):
    """How far a movement is; what came before it, and what follows a final one, is a tank that is still."""

    MOVING = "moving"  # provisional: it runs
    SETTLING = "settling"  # provisional: it has stopped, the surface is not calm yet
    FINAL = "final"
    WITHDRAWN = "withdrawn"  # nothing has moved after all


class Event(StrEnum):
    """What can become known of a movement that runs."""

    SLOWED = "slowed"
    RESUMED = "resumed"
    CALM = "calm"
    ROUGH = "rough"  # it stands for long, and the surface does not become calm
    TURNED = "turned"  # it goes the other way now: another movement
    CAME_BACK = "came back"  # the level is where it was


MOVING, SETTLING, FINAL, WITHDRAWN = Stage.MOVING, Stage.SETTLING, Stage.FINAL, Stage.WITHDRAWN

STAGES: Final[dict[tuple[Stage, Event], Stage]] = {
    (MOVING, Event.SLOWED): SETTLING,
    (SETTLING, Event.RESUMED): MOVING,
    (MOVING, Event.CALM): FINAL,
    (SETTLING, Event.CALM): FINAL,
    (SETTLING, Event.ROUGH): FINAL,
    (MOVING, Event.TURNED): FINAL,
    (SETTLING, Event.TURNED): FINAL,
    (MOVING, Event.CAME_BACK): WITHDRAWN,
    (SETTLING, Event.CAME_BACK): WITHDRAWN,
}
"""The state diagram. What is not in it does not happen."""

RECEIPT, ISSUE, TRANSFER_IN, TRANSFER_OUT, UNKNOWN = "receipt", "issue", "transfer_in", "transfer_out", "unknown"


class Stand(NamedTuple):
    """The tank at rest before or after a movement: means, and what hangs on them. volume_m3 is the tracked one."""

    level_m: float
    volume_m3: float
    tov_m3: float
    temperature_degC: float | None
    water_m: float | None


class ByDips(NamedTuple):
    """Innages before and after a movement as dips have them, and the observed volume between; None: no dip."""

    start_m: float | None = None
    end_m: float | None = None
    volume_m3: float | None = None


@dataclass(slots=True)
class Movement:
    """sign: +1 into the tank, -1 out of it. end: the newest stand while it runs. u95: expanded, s; None: not seen.

    blind_s: how long no trusted level came meanwhile; faults: the loop fault classes told in that time. rough: made
    final without a calm surface. rested: the liquid had lain at rest when it began. revision: counts the entries of the
    record book about it. order: the open order of the tank when it was joined, as `inventory.ordered.Order`'s fields;
    ordered_before_m3: what earlier movements of that order have moved; product: of the tank.
    """

    tank: str
    number: int
    sign: int
    start_at_ms: int
    start_ms: int
    start_u95_s: float | None
    start: Stand
    end: Stand
    end_at_ms: int | None = None
    end_ms: int | None = None
    end_u95_s: float | None = None
    stage: Stage = MOVING
    extreme_m3: float = 0.0
    extreme_at_ms: int = 0
    peak_m3_per_s: float = 0.0
    blind_s: float = 0.0
    faults: list[str] = field(default_factory=list)
    rough: bool = False
    unclear: bool = False
    ordered: str = ""
    pair: str = ""
    revision: int = 0
    rested: bool = False
    order: tuple[Any, ...] | None = None
    ordered_before_m3: float = 0.0
    product: str = ""
    ambient_degC: tuple[float | None, float | None] = (None, None)
    by_dips: ByDips = ByDips()  # noqa: RUF009 (immutable)

    @property
    def moved_m3(self) -> float:
        """So far, signed, at the temperature in which it is tracked."""
        return self.end.volume_m3 - self.start.volume_m3

    @property
    def kind(self) -> str:
        if self.unclear:
            return UNKNOWN
        if self.pair:
            return TRANSFER_IN if self.sign > 0 else TRANSFER_OUT
        return RECEIPT if self.sign > 0 else ISSUE

    def go(self, event: Event) -> None:
        """Raises KeyError for what is not in `STAGES`."""
        self.stage = STAGES[self.stage, event]

    def json(self) -> dict[str, Any]:
        return asdict(self)


def movement_of(saved: dict[str, Any]) -> Movement:
    """What `json` gave."""
    told = dict(saved)
    told["start"], told["end"] = Stand(*told["start"]), Stand(*told["end"])
    told["stage"] = Stage(told["stage"])
    if told.get("order") is not None:
        told["order"] = tuple(told["order"])
    told["ambient_degC"] = tuple(told["ambient_degC"])
    told["by_dips"] = ByDips(*told.get("by_dips", ()))
    return Movement(**told)
