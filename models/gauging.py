"""From one poll of a level instrument to a tank's Reading, and to the list of steps that explains it.

Pure: trust, rate, and the newest temperature and water are handed in; figures come from `models.quantity`. A Bad level
leaves its cell and all that follows from it empty, but for the gap above 20.5 mA on a loop whose full end that is:
there the level and the observed volume are those of 20 mA, marked as the least that they can be.
"""

from collections.abc import Mapping
from typing import NamedTuple

from models.chain import Step
from models.quantity import Gauging, Quantities, water_quality
from models.rate import Rate
from models.reading import BAD, EXACT, Bound, Instant, Reading
from models.stock import StockModel
from models.stock_budget import Rest
from models.tank import LevelKind, Measured, Tank
from models.trust import Trust
from models.uncertainty import Budget


class Extra(NamedTuple):
    """The newest temperature or water of a tank: None where there is none that is young enough."""

    value: float | None
    age_ms: int | None = None


NOTHING = Extra(None)


class Gauged(NamedTuple):
    """What is known of a tank's stock at one moment: what was measured, the figures, whether the liquid is at rest."""

    gauging: Gauging
    quantities: Quantities
    rest: Rest = Rest.AFTER_RECEIPT


def gauging_of(measured: Measured, trust: Trust, temperature: Extra, water: Extra, ambient: Extra) -> Gauging:
    """The gauging behind one poll; without an innage where there is no level to stand by, not even as a bound."""
    quality = trust.quality
    level = None if quality is BAD and measured.bound is EXACT else measured.level_m
    return Gauging(level, temperature.value, water.value, None, ambient.value, None, 0.0, quality)


def gauged(model: StockModel, gauging: Gauging, rest: Rest) -> Gauged:
    """The figures that a gauging allows: a Bad level gives a bound of the observed volume at most, never a stock."""
    q = model.calculate(gauging)
    return Gauged(gauging, q.observed_only() if gauging.level_quality is BAD else q, rest)


def reading_of(
    at: Instant, tank: Tank, measured: Measured, trust: Trust, known: Gauged, u95_m3: float | None, rate: Rate | None
) -> Reading:
    """A tank's Reading at one instant. The rate in m3/s, filling positive; u95_m3: of GSV, expanded."""
    quality, reason = trust
    gauging, q, _ = known
    level = q.innage_m
    if level is None:
        return Reading(
            at.seq, at.time_ms, tank.id, quality, reason, measured.current_mA, None, gauging.liquid_degC,
            gauging.water_m, bound=measured.bound if measured.level_m is None else Bound.NONE,
        )  # fmt: skip
    table, tov, gsv = tank.table, q.tov_m3, q.gsv_m3
    rate_known = rate is not None and quality is not BAD
    return Reading(
        at.seq,
        at.time_ms,
        tank.id,
        quality,
        reason,
        measured.current_mA,
        level,
        gauging.liquid_degC,
        gauging.water_m,
        tov,
        q.gov_m3,
        gsv,
        q.mass_kg,
        None if tov is None else 100 * tov / table.capacity_m3,
        100 * level / table.top_m,
        tank.reference_height_m - level,
        rate.per_s * 3600 if rate is not None and rate_known else None,
        BAD if gsv is None else max(quality, water_quality(tank.vessel, gauging, q)),
        measured.bound,
        rate.sd_per_s * 3600 if rate is not None and rate_known else None,
        u95_m3,
    )


def steps_of(
    model: StockModel,
    tank: Tank,
    reading: Reading,
    known: Gauged,
    budget: Budget | None,
    raw: Mapping[str, tuple[int, ...]],
    values: Mapping[str, float | None],
    unit: str = "",
) -> list[Step]:
    """Every step behind a Reading, from the wire to the stock and its uncertainty, in the order in which it was made.

    raw: registers by signal of the tank's instrument; values: the same after type, scale and offset,
    that of the level in `unit`.
    """
    steps = _signal_steps(tank, reading, raw, values, unit)
    for step in model.steps(known.quantities, known.gauging, budget):
        if step.symbol == "h":
            quality = f"{reading.quality.word} {reading.reason}".rstrip()
            step = step._replace(rule=level_rule(tank, reading), quality=quality)
        steps.append(step)
    return steps


def _signal_steps(
    tank: Tank, reading: Reading, raw: Mapping[str, tuple[int, ...]], values: Mapping[str, float | None], unit: str
) -> list[Step]:
    signal, quality = tank.level.signal, reading.quality.word
    steps = []
    registers = raw.get(signal)
    if registers is not None:
        words = " ".join(f"{r:04X}" for r in registers)
        steps.append(Step("raw", f"registers of {tank.instrument}.{signal}", words, "hex", "Modbus reply", ""))
    if signal in values:
        value = values[signal]
        steps.append(Step("x", f"{signal} after type, scale and offset", value, unit, "site file", quality))
    if reading.current_mA is not None:
        band = tank.ne43.band(reading.current_mA)
        steps.append(Step("I", "loop current", reading.current_mA, "mA", f"NE 43: {band.value}", quality))
    return steps


def level_rule(tank: Tank, reading: Reading) -> str:
    """How the level is found, as the chain tells it."""
    ends = tank.range_m
    if tank.kind is not LevelKind.LENGTH and ends is not None:
        rule = f"innage at 4 mA {ends[0]:g} m, at 20 mA {ends[1]:g} m, straight line"
    else:
        rule = "digital level" if tank.measures == "innage" else "reference height - distance"
    return rule if reading.bound is EXACT else f"at least: the loop is at or beyond its full end; {rule}"
