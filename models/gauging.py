"""From one poll of a level instrument to a tank's Reading, and to the list of steps that explains it.

Pure: trust, rate, and the newest temperature and water are handed in. A Bad level leaves its cell and all that follows
from it empty, but for the gap above 20.5 mA on a loop whose full end that is: there the level and volumes are those of
20 mA, marked as the least that they can be.
"""

from typing import NamedTuple

from models.rate import Rate
from models.reading import Bound, Instant, Quality, Reading
from models.tank import LevelKind, Measured, Tank, Volumes
from models.trust import Trust


class Extra(NamedTuple):
    """The newest temperature or water of a tank: None where there is none that is young enough."""

    value: float | None
    age_ms: int | None = None


NOTHING = Extra(None)


class Stock(NamedTuple):
    """Standard volume and mass behind a reading; None where they are not known."""

    gsv_m3: float | None
    mass_kg: float | None


NO_STOCK = Stock(None, None)


def volumes_of(tank: Tank, measured: Measured, trust: Trust, temperature: Extra, water: Extra) -> Volumes | None:
    """The volumes behind one poll; None where there is no level to stand by, not even as a bound."""
    level = measured.level_m
    if level is None or (trust.quality is Quality.BAD and measured.bound is Bound.NONE):
        return None
    return tank.volumes(level, water.value, temperature.value)


def reading_of(
    at: Instant,
    tank: str,
    measured: Measured,
    trust: Trust,
    temperature: Extra,
    water: Extra,
    volumes: Volumes | None,
    stock: Stock,
    rate: Rate | None,
) -> Reading:
    """A tank's Reading at one instant. `volumes` as `volumes_of` gives them; the rate in m3/s, filling positive."""
    quality, reason = trust
    if volumes is None:
        return Reading(
            at.seq, at.time_ms, tank, quality, reason, measured.current_mA, None, temperature.value, water.value
        )
    bad = quality is Quality.BAD
    return Reading(
        at.seq,
        at.time_ms,
        tank,
        quality,
        reason,
        measured.current_mA,
        measured.level_m,
        temperature.value,
        water.value,
        volumes.tov_m3,
        None if bad else volumes.gov_m3,
        None if bad else stock.gsv_m3,
        None if bad else stock.mass_kg,
        volumes.volume_percent,
        volumes.level_percent,
        volumes.ullage_m,
        None if bad or rate is None else rate.per_s * 3600,
        Quality.BAD if bad or stock.gsv_m3 is None else quality,
        measured.bound,
        None if bad or rate is None else rate.sd_per_s * 3600,
    )


class Step(NamedTuple):
    """One line of the chain from the wire to the stock: what, how much, by which rule, how far to be trusted."""

    symbol: str
    name: str
    value: float | str | None
    unit: str
    rule: str
    quality: str


def steps_of(
    tank: Tank, reading: Reading, raw: dict[str, tuple[int, ...]], values: dict[str, float | None]
) -> list[Step]:
    """Every step behind a Reading, in the order in which it was made.

    raw: registers by signal of the tank's instrument; values: the same after type, scale and offset.
    """
    level_signal = tank.level.signal
    quality, reason = reading.quality.word, str(reading.reason)
    steps = []
    registers = raw.get(level_signal)
    if registers is not None:
        words = " ".join(f"{r:04X}" for r in registers)
        steps.append(Step("raw", f"registers of {tank.instrument}.{level_signal}", words, "hex", "Modbus reply", ""))
    if level_signal in values:
        value = values[level_signal]
        steps.append(Step("x", f"{level_signal} after type, scale and offset", value, "", "site file", quality))
    if reading.current_mA is not None:
        band = tank.ne43.band(reading.current_mA)
        steps.append(Step("I", "loop current", reading.current_mA, "mA", f"NE 43: {band.value}", quality))
    ends = tank.range_m
    if tank.kind is not LevelKind.LENGTH and ends is not None and reading.level_m is not None:
        rule = f"innage at 4 mA {ends[0]:g} m, at 20 mA {ends[1]:g} m, straight line"
    else:
        rule = "digital level" if tank.measures == "innage" else "reference height - distance"
    steps.append(Step("h", "innage", reading.level_m, "m", rule, f"{quality} {reason}".strip()))
    steps.append(Step("%L", "percent of level", reading.level_percent, "%", "100 x level / top of table", quality))
    steps.append(Step("U", "ullage", reading.ullage_m, "m", "reference height - innage", quality))
    steps.append(Step("TOV", "total observed volume", reading.tov_m3, "m3", "capacity table, straight line", quality))
    steps.append(Step("%V", "percent of volume", reading.volume_percent, "%", "100 x TOV / capacity", quality))
    steps += _stock_steps(tank, reading)
    return steps


def _stock_steps(tank: Tank, reading: Reading) -> list[Step]:
    quality = reading.stock_quality.word
    measured_water = tank.water is not None or tank.water_from_dips
    steps = [
        Step("t", "liquid temperature", reading.temperature_degC, "degC", "newest within its largest age", quality),
        Step(
            "hw", "innage of free water", reading.water_m, "m", "gauge" if measured_water else "not measured", quality
        ),
    ]
    if reading.gov_m3 is not None:
        ctsh = tank.ctsh(reading.temperature_degC)
        given = tank.shell_expansion_per_degC is not None
        steps.append(
            Step("CTSh", "shell correction", ctsh, "", "API MPMS 12.1.1" if given else "none given: 1", quality)
        )
    steps.append(
        Step("GOV", "gross observed volume", reading.gov_m3, "m3", "(TOV - FW) x CTSh, API MPMS 12.1.1", quality)
    )
    return steps
