"""Loops without a fault: the demo's six tanks through days of sun, receipts, slosh, water draws and missed polls."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final, NamedTuple

from simulator.cases.recorded import Dip, Loop, Recorder
from simulator.chance import stream
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.geometry import Upright
from simulator.layout import STEP_MS, CabinetLayout, FarmLayout
from simulator.weather import DAY_MS, Weather

FIRST_DAY_MS: Final = 20_500 * DAY_MS
MISSED_FRAC: Final = 0.001
DIPS_A_DAY: Final = 3


def layout(period_s: int) -> FarmLayout:
    """The demo's farm with nothing wrong and with a cabinet for each loop; only the current is read."""
    units = []
    for unit in DEMO.units:
        gauge = unit.gauge
        if gauge is not None:
            gauge = gauge if period_s == 1 else replace(gauge, update_ms=1000 * period_s)
            current = tuple(s for s in unit.signals if s.name == "current")
            units.append(replace(unit, cabinet=CabinetLayout(), signals=current, probe=None, gauge=gauge))
    return replace(DEMO, units=tuple(units), programme=replace(DEMO.programme, faults=()))


def areas_m2() -> dict[str, float | None]:
    """Cross-section by instrument as the drawing has it; None where it changes with the level."""
    found = {}
    for unit in DEMO.units:
        shape = next(tank.shape for tank in DEMO.tanks if tank.id == unit.tank)
        found[unit.id] = math.pi / 4 * shape.courses[0].diameter_m ** 2 if isinstance(shape, Upright) else None
    return found


def ranges_m() -> dict[str, tuple[float, float]]:
    """Innages at 4 and at 20 mA by instrument."""
    height = {tank.id: tank.reference_height_m for tank in DEMO.tanks}
    found = {}
    for unit in DEMO.units:
        gauge = unit.gauge
        if gauge is not None:
            ends = gauge.at_4mA_m, gauge.at_20mA_m
            top = height[unit.tank]
            found[unit.id] = (top - ends[0], top - ends[1]) if gauge.distance else ends
    return found


class Day(NamedTuple):
    """One day of a farm without a fault: its loops, and the dips that somebody took."""

    loops: dict[str, Loop]
    dips: dict[str, list[Dip]]


def healthy_days(seed: int, days: int, period_s: int = 1) -> Iterator[Day]:
    """Each day of a farm, one after the other, polled every `period_s` (1, 2 or 5); every other farm has meters."""
    chance = stream(seed, "healthy")
    weather = Weather(
        stream(seed, "healthy", "weather"),
        mean_degC=chance.uniform(18, 28),
        swing_degC=chance.uniform(3.5, 6),
        dew_below_degC=chance.uniform(3.5, 6.5),
    )
    farm = Farm(
        seed,
        FIRST_DAY_MS + chance.randrange(300) * DAY_MS,
        layout(period_s),
        weather,
        STEP_MS if period_s == 1 else 1000 * period_s,
    )
    metered = farm.tanks if seed % 2 else ()
    recorder = Recorder(farm, seed, missed_frac=MISSED_FRAC, period_s=period_s, metered=metered)
    for _ in range(days):
        dips: dict[str, list[Dip]] = {name: [] for name in recorder.loops}
        for _ in range(DIPS_A_DAY):
            recorder.run(DAY_MS // 1000 // DIPS_A_DAY)
            for name, found in dips.items():
                dip = recorder.dip(name, chance)
                if dip is not None:
                    found.append(dip)
        yield Day(dict(recorder.loops), dips)
        recorder.loops = {name: Loop([], {}, []) for name in recorder.loops}
