"""A receipt as people handle it: what its papers say, what was done before it, what was noted while it ran.

Knows the papers' own figures and brings them to each other's conditions by the paper's own density; refuses to know
what the tank says (`inventory.receiptprogress`, `inventory.receiptmatch`). No I/O, no clock.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any, Final, NamedTuple

from inventory.movement import Stand
from models.correction import corrector
from models.density import rebased_kgpm3
from models.quantity import Product


class Stage(StrEnum):
    """How far a receipt is. The last four are over for good."""

    PLANNED = "planned"
    STARTED = "started"
    ACCEPTED = "accepted"
    PROTEST = "accepted with protest"
    REJECTED = "rejected"
    OFF = "called off"


DECIDED: Final = (Stage.ACCEPTED, Stage.PROTEST, Stage.REJECTED)
"""What a named person can decide when it has been compared with its papers."""


@dataclass(frozen=True, slots=True)
class DeliveryPaper:
    """What the papers of a delivery say. One of the two quantities is there at least.

    observed_m3: at `temperature_degC`; standard_m3: at the site's reference temperature; density_15_kgpm3: at 15 degC,
    as certificates state it. note, batch, certificate: the papers' own numbers; vehicle: what brings it, or the line.
    """

    observed_m3: float | None
    standard_m3: float | None
    temperature_degC: float | None = None
    density_15_kgpm3: float | None = None
    note: str = ""
    batch: str = ""
    certificate: str = ""
    vehicle: str = ""
    owner: str = ""

    def ctl(self, product: Product) -> Callable[[float], float]:
        """Volume correction of what the paper delivers, by its own density; the tank's where it states none.

        Raises `OutOfRange` for a density that the tables do not take.
        """
        density = product.base_density_kgpm3
        if self.density_15_kgpm3 is not None:
            density = rebased_kgpm3(
                product.group, self.density_15_kgpm3, 15.0, product.base_degC, product.alpha60_per_degF
            )
        return corrector(
            product.group, density, product.base_degC, product.edition, alpha60_per_degF=product.alpha60_per_degF
        )

    def in_standard_m3(self, product: Product) -> float | None:
        """Its quantity at the reference temperature; None where neither that nor a temperature is stated."""
        if self.standard_m3 is not None:
            return self.standard_m3
        if self.observed_m3 is None or self.temperature_degC is None:
            return None
        return self.observed_m3 * self.ctl(product)(self.temperature_degC)

    def at_m3(self, product: Product, temperature_degC: float | None) -> float:
        """Its quantity as it fills a tank at a temperature; as it is stated where no temperature is known."""
        standard = self.in_standard_m3(product)
        if standard is None or temperature_degC is None:
            stated = self.observed_m3 if self.observed_m3 is not None else self.standard_m3
            assert stated is not None  # the act that makes it asks for one of them
            return stated
        return standard / self.ctl(product)(temperature_degC)

    def own_error_percent(self, product: Product) -> float | None:
        """By how much its standard quantity differs from what its observed one comes to; None where not all is stated.

        The paper may stand on another edition of the tables, or on rounded factors: some hundredths are usual.
        """
        if self.observed_m3 is None or self.standard_m3 is None or self.temperature_degC is None:
            return None
        worked_out = self.observed_m3 * self.ctl(product)(self.temperature_degC)
        return 100 * (self.standard_m3 / worked_out - 1)


class Done(NamedTuple):
    """A check that somebody did before the receipt. found: what was found, in the person's words."""

    what: str
    by: str
    time_ms: int
    found: str = ""


class LineCheck(NamedTuple):
    """What the line's meter or the vehicle said while it ran, and what the tank had gained by then.

    basis: "standard" or "observed": what the two were compared in; line_m3, tank_m3 and their difference (tank less
    line) are of it. None where the tank could not tell. metered: the line's own meters told it, not a person.
    """

    time_ms: int
    by: str
    figure_m3: float
    basis: str
    line_m3: float
    tank_m3: float | None
    difference_m3: float | None
    u95_m3: float | None
    limit_m3: float
    beyond: bool
    comment: str = ""
    metered: bool = False


class DeliverySample(NamedTuple):
    """A sample of what is delivered. density_15_kgpm3: at 15 degC; temperature_degC: of the delivery, as measured."""

    by: str
    time_ms: int
    density_15_kgpm3: float | None
    temperature_degC: float | None
    how: str = ""


@dataclass(slots=True)
class Receipt:
    """One receipt. opening: the tank at rest before it, None where that was not known; opening_air_degC beside it.

    begun_ms: when flow was first seen; done: by the words of the check. start_note: what was to be known at its start.
    meters: registers of the line's totalisers when it was started, m3 as they show them, by their ids.
    """

    number: int
    tank: str
    product: str
    paper: DeliveryPaper
    rate_m3_per_s: float | None
    by: str
    made_ms: int
    stage: Stage = Stage.PLANNED
    done: dict[str, Done] = field(default_factory=dict)
    sample: DeliverySample | None = None
    forecast: dict[str, Any] | None = None
    started_ms: int | None = None
    started_by: str = ""
    start_note: str = ""
    opening: Stand | None = None
    opening_ms: int = 0
    opening_air_degC: float | None = None
    begun_ms: int | None = None
    line: list[LineCheck] = field(default_factory=list)
    sender: str = ""
    stops: str = ""
    meters: dict[str, float] = field(default_factory=dict)

    def json(self) -> dict[str, Any]:
        return asdict(self) | {
            "stage": self.stage.value,
            "opening": None if self.opening is None else list(self.opening),
            "done": {what: list(done) for what, done in self.done.items()},
            "sample": None if self.sample is None else list(self.sample),
            "line": [list(check) for check in self.line],
        }


def receipt_of(saved: dict[str, Any]) -> Receipt:
    """What `json` gave."""
    told = dict(saved)
    told["paper"] = DeliveryPaper(**told["paper"])
    told["stage"] = Stage(told["stage"])
    told["done"] = {what: Done(*done) for what, done in told["done"].items()}
    told["sample"] = None if told["sample"] is None else DeliverySample(*told["sample"])
    told["opening"] = None if told["opening"] is None else Stand(*told["opening"])
    told["line"] = [LineCheck(*check) for check in told["line"]]
    return Receipt(**told)
