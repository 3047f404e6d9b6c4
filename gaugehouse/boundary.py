"""What a tank held at a boundary between two days: the last Good stock that was read at or before it, else a dip.

A reading that is too old, Bad or without a standard volume measures nothing, and it is said which. Nothing is
interpolated and nothing is taken from after the boundary.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final, Protocol

from gaugehouse.site import Site
from gaugehouse.wiring import stock_of
from inventory.account import Physical, Volumes, exact, unmeasured
from inventory.dips import Dip
from models.errors import OutOfRange
from models.quantity import Gauging
from models.reading import BAD, GOOD, Reading
from models.stock import StockModel
from models.stock_budget import Rest
from models.uncertainty import Known

GAUGE: Final = "gauge"
DIP: Final = "dip"
FIRST_LOOKS_MS: Final = (15_000, 120_000)
"""How far back is looked before the whole age that the site allows."""


class Readings(Protocol):
    """What is asked of a store."""

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]: ...


class Boundaries:
    """Asks one site's readings; remembers what it found."""

    def __init__(self, site: Site, readings: Readings, dips: Sequence[Dip] = ()) -> None:
        self._site, self._readings = site, readings
        self._dips = [dip for dip in dips if dip.level_m is not None]
        self._models: dict[str, StockModel] = {}
        self._found: dict[tuple[str, int], Physical] = {}

    def at(self, tank: str, boundary_ms: int) -> Physical:
        """What the tank held then; unmeasured with the reason where nobody can say."""
        key = tank, boundary_ms
        if key not in self._found:
            self._found[key] = self._look(tank, boundary_ms)
        return self._found[key]

    def level_m(self, tank: str, time_ms: int) -> float | None:
        """The innage then, None where it was not measured."""
        return self.at(tank, time_ms).level_m

    def _look(self, tank: str, boundary_ms: int) -> Physical:
        longest_ms = self._site.accounts.max_age_ms
        newest: Reading | None = None
        for back_ms in (*(look for look in FIRST_LOOKS_MS if look < longest_ms), longest_ms):
            good: Reading | None = None
            for reading in self._readings.read(tank, boundary_ms - back_ms, boundary_ms + 1):
                newest = reading
                good = reading if _measures(reading) else good
            if good is not None:
                return self._physical(good)
        dip = self._dip(tank, boundary_ms)
        if dip is not None:
            return dip
        if newest is None:
            return unmeasured(tank, f"no reading within {longest_ms / 60_000:g} min before the day's end, and no dip")
        return unmeasured(tank, f"{_why(newest)}; and no dip")

    def _dip(self, tank: str, boundary_ms: int) -> Physical | None:
        """The newest dip of level and temperature that is young enough, where the gauge says nothing."""
        oldest_ms = boundary_ms - self._site.accounts.dip_age_ms
        young = [one for one in self._dips if one.tank == tank and oldest_ms <= one.time_ms <= boundary_ms]
        if not young or young[-1].temperature_degC is None:
            return None
        dip = young[-1]
        gauging = Gauging(dip.level_m, dip.temperature_degC, dip.water_m)
        model = self._dip_model(tank, dip)
        try:
            q = model.calculate(gauging)
        except OutOfRange:
            return None
        if q.gov_m3 is None or q.gsv_m3 is None:
            return None
        budget = model.budget(q, gauging, Rest.AFTER_RECEIPT)
        return Physical(
            tank,
            dip.time_ms,
            DIP,
            f"dip {dip.number} by {dip.by}",
            Volumes(exact(q.gov_m3), exact(q.gsv_m3)),
            None if budget is None else budget.expanded,
            budget,
            dip.level_m,
            dip.temperature_degC,
            q.free_water_m3 if model.vessel.water_measured else None,
            q.area_m2,
        )

    def _dip_model(self, tank: str, dip: Dip) -> StockModel:
        """The tank with the uncertainty of a hand's level in place of its gauge's."""
        own, nothing = self._model(tank), Known(0.0, "a dip has none")
        standard = dip.standard_m if dip.standard_m is not None else self._site.dip_rules.doubt_m / math.sqrt(3)
        accuracy = {
            rest: replace(
                known,
                level_zero_m=nothing,
                level_repeat_m=Known(standard, "dip by hand, limits of error and what its readings lie apart"),
                level_span_frac=nothing,
            )
            for rest, known in self._site.accuracy[tank].items()
        }
        return StockModel(own.vessel, own.product, accuracy)

    def _physical(self, reading: Reading) -> Physical:
        assert reading.gov_m3 is not None and reading.gsv_m3 is not None  # noqa: PT018 one fact
        model = self._model(reading.tank)
        gauging = Gauging(
            reading.level_m, reading.temperature_degC, reading.water_m, None, None, None, 0.0, GOOD
        )  # fmt: skip
        try:
            q = model.calculate(gauging)
        except OutOfRange:  # the table of today does not know the level of then
            volumes = Volumes(exact(reading.gov_m3), exact(reading.gsv_m3))
            return Physical(reading.tank, reading.time_ms, GAUGE, "", volumes, reading.gsv_u95_m3)
        budgets = [budget for rest in Rest if (budget := model.budget(q, gauging, rest)) is not None]
        told = reading.gsv_u95_m3
        if told is not None:  # at rest or not is not kept, but the uncertainty that was told is
            budgets.sort(key=lambda budget: abs(budget.expanded - told))
        else:
            budgets.sort(key=lambda budget: -budget.expanded)
        budget = budgets[0] if budgets else None
        return Physical(
            reading.tank,
            reading.time_ms,
            GAUGE,
            "",
            Volumes(exact(reading.gov_m3), exact(reading.gsv_m3)),
            told if told is not None or budget is None else budget.expanded,
            budget,
            reading.level_m,
            reading.temperature_degC,
            q.free_water_m3 if model.vessel.water_measured else None,
            q.area_m2,
        )

    def _model(self, tank: str) -> StockModel:
        if tank not in self._models:
            self._models[tank] = stock_of(self._site, tank)
        return self._models[tank]


def _measures(reading: Reading) -> bool:
    return reading.stock_quality is GOOD and reading.gov_m3 is not None and reading.gsv_m3 is not None


def _why(reading: Reading) -> str:
    if reading.quality is BAD:
        return f"level is Bad: {reading.reason}"
    if reading.gsv_m3 is None:
        return "no standard volume: temperature or water is missing"
    return f"stock is Uncertain: {reading.reason or 'temperature or water'}"
