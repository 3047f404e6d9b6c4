"""Stretches of readings that were found bad only afterwards: the core's room of them, and the act of a person.

A stretch is an entry of the record book, for ever as it was written; the room holds what is in force by all of them,
and the store of readings is given that. A flat signal that is declared frozen requalifies its own flat stretch. Decides
by the core's state alone: no clock, no I/O.
"""

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from alerts.faults import DECLARED, FaultChange
from alerts.strands import FROZEN
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, refused, text_of
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.errors import CallError
from history.requalify import Requalified, Stretch, painted
from history.tidying import Pinned
from models.reading import BAD, GOOD, UNCERTAIN, Instant, Quality, Reason

if TYPE_CHECKING:
    from gaugehouse.core import Core

KIND: Final = "requalified"
"""The kind of the record book's entries."""
ROOM: Final = "requalified"

QUALITIES: Final[Mapping[str, Quality]] = {"bad": BAD, "uncertain": UNCERTAIN, "as_measured": GOOD}
"""What a person may say of a stretch; `as_measured` takes earlier entries back."""
DEFAULT_REASON: Final = {
    BAD: Reason.DEVICE_FAILURE,
    UNCERTAIN: Reason.SUB_NORMAL,
    GOOD: Reason.NONE,
}


def reasons_of(quality: Quality) -> list[str]:
    """The reasons that go with a quality: symbols of the OPC UA status code list."""
    return [one.value for one in Reason if one and one.value.startswith(quality.word)]


class Requalifying:
    """A Room of the core: the stretches in force, by tank."""

    def __init__(self) -> None:
        self._of: dict[str, list[Stretch]] = {}
        self._dirty: set[str] = set()
        self.found = Requalified()

    def add(self, tank: str, stretch: Stretch) -> None:
        self._of[tank] = painted(self._of.get(tank, ()), stretch)
        self._dirty.add(tank)
        self.found = Requalified(self._of)

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = set(self._dirty) if changed_only else set(self._of)
        self._dirty.clear()
        return {
            tank: [[one.start_ms, one.end_ms, int(one.quality), one.reason.value] for one in self._of[tank]] or None
            for tank in sorted(names)
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        self._of = {tank: [_stretch(*one) for one in some] for tank, some in saved.items()}
        self.found = Requalified(self._of)


def requalified_of(state: Mapping[str, str]) -> Requalified:
    """What is in force by the state that a record book keeps, for a store that is opened beside it."""
    room = Requalifying()
    room.restore(
        {key.partition("/")[2]: json.loads(text) for key, text in state.items() if key.partition("/")[0] == ROOM}
    )
    return room.found


def pinned(found: Requalified) -> list[Pinned]:
    """Stretches that entries of the record book point at: their single readings are kept whatever the retention."""
    return [Pinned(one.start_ms, one.end_ms, tank) for tank, some in found.all().items() for one in some]


def _stretch(start_ms: int, end_ms: int, quality: int, reason: str) -> Stretch:
    return Stretch(start_ms, end_ms, Quality(quality), Reason(reason))


def body_of(tank: str, stretch: Stretch, **said: object) -> Json:
    """An entry, and what a person is told."""
    quality = next(word for word, quality in QUALITIES.items() if quality is stretch.quality)
    times = {"from": iso_ms(stretch.start_ms), "to": iso_ms(stretch.end_ms)}
    return {"tank": tank, **times, "quality": quality, "reason": stretch.reason.value, **said}


def frozen(core: "Core", at: Instant, change: FaultChange) -> list[Decision]:
    """A signal declared frozen was bad since it went flat: what the daemon finds out by itself."""
    fault = change.fault
    if change.change != DECLARED or fault.fault_class != FROZEN or not core.faults.out_of_trust(fault.instrument):
        return []
    stretch = Stretch(fault.start_ms, at.time_ms + 1, BAD, Reason.DEVICE_FAILURE)
    if stretch.start_ms >= stretch.end_ms:  # the clock stepped back meanwhile
        return []
    decisions = []
    for tank in core.site.tanks:
        if tank.instrument == fault.instrument:
            core.requalifying.add(tank.id, stretch)
            comment = f"{fault.instrument}: fault {fault.number}, frozen, was declared"
            decisions.append(Decision(KIND, body_of(tank.id, stretch, by="", comment=comment)))
    return decisions


class Requalify(NamedTuple):
    """A person says that the readings of a tank were bad or doubtful over a time, or after all as measured."""

    tank: str
    start_ms: int
    end_ms: int
    quality: Quality
    reason: Reason
    by: str
    comment: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if self.tank not in core.keepers:
            return no_tank(self.tank)
        if self.end_ms > at.time_ms + 1:
            text = f"the stretch ends at {iso_ms(self.end_ms)}, after now ({iso_ms(at.time_ms)})"
            return refused(text)
        stretch = Stretch(self.start_ms, self.end_ms, self.quality, self.reason)
        core.requalifying.add(self.tank, stretch)
        body = body_of(self.tank, stretch, by=self.by, comment=self.comment)
        return Outcome(Answer(Taken.DONE, "", body | {"time": iso_ms(at.time_ms)}), [Decision(KIND, body)])


def requalify_of(fields: Json) -> Requalify:
    """From the fields of a page or a command: tank, from, to, quality, reason, comment, by."""
    word = text_of(fields, "quality")
    quality = QUALITIES.get(word)
    if quality is None:
        raise CallError(f"quality {word!r} is none of {', '.join(QUALITIES)}")
    symbol = text_of(fields, "reason", "")
    allowed = reasons_of(quality)
    if symbol and symbol not in allowed:
        raise CallError(f"reason {symbol!r} does not go with quality {word}; {', '.join(allowed) or 'leave it out'}")
    try:
        start_ms, end_ms = (parse_ms(text_of(fields, name)) for name in ("from", "to"))
    except ValueError as error:
        raise CallError(str(error)) from error
    if start_ms >= end_ms:
        raise CallError(f"from {iso_ms(start_ms)} is not before to {iso_ms(end_ms)}; turn them round")
    return Requalify(
        text_of(fields, "tank"),
        start_ms,
        end_ms,
        quality,
        Reason(symbol) if symbol else DEFAULT_REASON[quality],
        text_of(fields, "by"),
        text_of(fields, "comment"),
    )


REQUALIFY_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"requalify": requalify_of}
