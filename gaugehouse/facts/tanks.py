"""A tank: what is fixed, how its reading came about, its history and movements."""

from typing import Final

from console.facts import Json
from console.words import LIMITS
from gaugehouse.chain import chain_of
from gaugehouse.facts.asking import Asking, House
from gaugehouse.historyfigures import aggregate_json, question_of
from gaugehouse.liveview import level_limits
from gaugehouse.movementrecords import movement_rows, rounded
from history.aggregating import aggregated
from history.errors import BadQuestion
from models.errors import OutOfRange
from models.tank import Tank

PROFILE_POINTS: Final = 60
STALE_POLLS: Final = 5
LEAST_STALE_S: Final = 5.0


class DaemonTanks(Asking):
    """See `console.facts.tanks`."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._columns = house.columns

    def tank_facts(self, tank: str) -> Json:
        site = self._core.site
        model = site.tank(tank)
        period_s = site.period_ms[model.instrument] / 1000
        ends = model.range_m
        suction_m, fill = site.extras[tank].suction_m, site.safe_fill_of(tank)
        limits = [
            {"condition": condition, "at_m": at, "name": LIMITS[condition], "volume_m3": _volume(model, at)}
            for condition, at in level_limits(site.alarms_of(tank))
        ]
        return {
            "id": model.id,
            "name": model.name,
            "product": site.product_of(tank).name,
            "instrument": model.instrument,
            "reference_height_m": model.reference_height_m,
            "top_m": model.table.top_m,
            "capacity_m3": model.table.capacity_m3,
            "range_m": None if ends is None else [min(ends), max(ends)],
            "reach_m": site.reach_m[tank],
            "stale_after_s": max(LEAST_STALE_S * self._clock.speed, STALE_POLLS * period_s),
            "limits": limits,
            "profile": _profile(model),
            "suction": None if suction_m is None else {"level_m": suction_m, "volume_m3": _volume(model, suction_m)},
            "safe_fill": None if fill is None else fill._asdict(),
        }

    def chain(self, tank: str) -> Json:
        return chain_of(self._core.site, self._core.keepers[tank])

    async def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Json:
        trend = await self._ask(self._store.trend, tank, quantity, start_ms, span_ms, points)
        return {name: list(value) if isinstance(value, tuple) else value for name, value in trend._asdict().items()}

    async def aggregate(self, tank: str, asked: Json) -> Json:
        question = question_of(self._core.site, tank, asked)
        try:
            results = await self._ask(aggregated, self._columns, question)
        except BadQuestion as error:
            raise ValueError(str(error)) from error
        return aggregate_json(question, results)

    async def movements(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if tank is None else {tank}
        rows: list[Json] = await self._ask(movement_rows, self._book, wanted, from_ms, to_ms)
        running = {(one.tank, one.number): one for one in self._core.movements.open()}
        for row in rows:  # one that runs has moved on since it was written
            movement = running.get((row["tank"], row["number"]))
            if movement is not None:
                row |= rounded(self._core.movements.row(movement))
        return rows[::-1]


def _volume(tank: Tank, level_m: float) -> float | None:
    try:
        return tank.table.volume_m3(level_m)
    except OutOfRange:
        return None


def _profile(tank: Tank) -> list[list[float]]:
    """Litres per millimetre (numerically m3 per m) from the bottom to the top of the table."""
    bottom, top = tank.table.bottom_m, tank.table.top_m
    step = (top - bottom) / PROFILE_POINTS
    levels = [bottom + step * (k + 0.5) for k in range(PROFILE_POINTS)]
    volume = [tank.table.volume_m3(bottom + step * k) for k in range(PROFILE_POINTS)] + [tank.table.capacity_m3]
    return [[level, (volume[k + 1] - volume[k]) / step] for k, level in enumerate(levels)]
