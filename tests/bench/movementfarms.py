"""A tank of the simulated farm and a core that reads it: what the benchmark of movements is measured on.

The farm's physics is harder than what the tracker assumes and is none of ours (`simulator`). A budget is judged twice:
`Drawn.BUDGET` gives each farm errors as large as the site file says they may be, so that its arithmetic is tried;
`Drawn.OUTSIDE` gives errors of sizes that texts outside the project name and the site file does not know, so that its
assumptions are. Either is drawn anew by each seed.
"""

import math
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Any, Final, NamedTuple

from gaugehouse.acts import Act as PersonsAct
from gaugehouse.core import Tick
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.gauging import NOTHING, Extra
from models.reading import OK, TIMEOUT, Instant, Sample
from models.tank import Linear
from simulator.chance import stream
from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.geometry import Upright
from simulator.layout import STEP_MS, FarmLayout, Programme, TankLayout, UnitLayout
from simulator.tank import Truth
from simulator.weather import Sky, Weather

START_MS: Final = 1_700_000_000_000
TANK: Final = "north"
COARSE_MS: Final = 2000
"""The farm's own step where hours are watched at a poll of 10 s."""

# What site.toml says of the tank, as standard uncertainties of volumes; a diameter has half of them. Half of the
# table's variance is one scale, the other half local, which counts twice in a small movement: so much a course gets.
_TABLE_FRAC: Final = 0.0015
_SHELL_COMMON: Final = 3e-4  # what the simulator draws by itself, of diameters
_SHELL_COURSE: Final = 1.5e-4
_WAVE_M: Final = 0.001 * math.sqrt(2 / 3)  # a wave as spread as +-1 mm rectangular
_INTERFACE_M: Final = 0.00032  # beside noise and step: sqrt(1 - 0.95) of +-3 mm rectangular a reading
_SUPPLY_DEGC: Final = 2.6  # with the 1.5 that each load draws: 3 from the tank's own, an even half of which is 1.5
_TOP_DEGC: Final = 2.4  # layers that put a low probe wrong by 0.5 (standard)

# What others say, none of it in site.toml.
_OLD_TABLE_FRAC: Final = 0.003
"""What an old table and a new one may differ by before the old one is void. Source: French order of 8 July 2003, art.
34; as a rectangle, of all courses alike in every other farm and of each by itself in the rest."""
_PROBE_DEGC: Final = 0.30 + 0.005 * 30
"""Class B of IEC 60751 at 30 degC, from memory; as a rectangle."""
_POCKET_S: Final = (300.0, 1800.0)
_HEIGHTS_M: Final = (0.6, 2.5)
_LAYERED_DEGC: Final = 4.0
_LOAD_DEGC: Final = 6.0
"""Warmer at the top by up to so much; a load by so much warmer or colder than the tank: common practice, no source."""
_CLASS_2_M: Final = 0.002
"""How far a gauge may be out before it is mounted, as a slow wave over its range. Source: OIML R 85, class 2, from
memory."""
_PASTE_M: Final = 0.002
_SWING_DEGC: Final = (3.0, 16.5)


class Drawn(Enum):
    """Which errors a farm has beside those that the simulator gives to every one (shell, tilt, gauge, mount)."""

    NOTHING = "nothing"
    BUDGET = "as large as the site file says"
    OUTSIDE = "as large as texts outside the project say"


class Found(NamedTuple):
    """A movement as the newest entry tells it."""

    body: dict[str, Any]
    start_ms: int

    @property
    def end_s(self) -> float:
        return float((self.body["end_ms"] - self.start_ms) / 1000)

    @property
    def start_s(self) -> float:
        return float((self.body["start_ms"] - self.start_ms) / 1000)


def _gauged(unit: UnitLayout, damping_s: float | None, step_ms: int, *, drawn: bool) -> UnitLayout:
    gauge = unit.gauge
    if drawn and unit.probe is not None:
        unit = replace(unit, probe=replace(unit.probe, wander_m=_INTERFACE_M))
    if gauge is None:
        return unit
    damping_s = gauge.damping_s if damping_s is None else damping_s
    update_ms = max(gauge.update_ms, step_ms)
    return replace(
        unit, gauge=replace(gauge, damping_s=damping_s, update_ms=update_ms, wave_m=_WAVE_M if drawn else 0.0)
    )


def _drawn(tank: TankLayout, seed: int) -> TankLayout:
    """The tank with the errors that its certificate, its gauge and its probe may have, anew by each seed."""
    chance = stream(seed, "prior")
    shape = tank.shape
    assert isinstance(shape, Upright)
    common = chance.gauss(0, math.sqrt((_TABLE_FRAC / math.sqrt(2) / 2) ** 2 - _SHELL_COMMON**2))
    own = math.sqrt((_TABLE_FRAC / 2) ** 2 - _SHELL_COURSE**2)
    courses = tuple(
        replace(course, diameter_m=course.diameter_m * (1 + common + chance.gauss(0, own))) for course in shape.courses
    )
    return replace(
        tank,
        shape=replace(shape, courses=courses),
        supply_degC=tank.temperature_degC + chance.gauss(0, _SUPPLY_DEGC),
        top_warmer_degC=chance.uniform(0, _TOP_DEGC),
    )


def _outside(tank: TankLayout, seed: int) -> TankLayout:
    """The tank with errors of sizes that its site file does not know."""
    chance = stream(seed, "outside")
    shape = tank.shape
    assert isinstance(shape, Upright)
    alike = chance.random() < 0.5
    common = chance.uniform(-1, 1)
    courses = tuple(
        replace(c, diameter_m=c.diameter_m * (1 + _OLD_TABLE_FRAC / 2 * (common if alike else chance.uniform(-1, 1))))
        for c in shape.courses
    )
    return replace(
        tank,
        shape=replace(shape, courses=courses),
        supply_degC=tank.temperature_degC + chance.uniform(-_LOAD_DEGC, _LOAD_DEGC),
        top_warmer_degC=chance.uniform(0, _LAYERED_DEGC),
    )


def _gauged_outside(unit: UnitLayout, seed: int) -> UnitLayout:
    chance = stream(seed, f"outside {unit.id}")
    if unit.probe is not None:
        probe = replace(
            unit.probe, bias_degC=_PROBE_DEGC / math.sqrt(3), lag_s=chance.uniform(*_POCKET_S),
            height_m=chance.uniform(*_HEIGHTS_M), wander_m=chance.uniform(0, _PASTE_M),
        )  # fmt: skip
        unit = replace(unit, probe=probe)
    if unit.gauge is not None:
        unit = replace(unit, gauge=replace(unit.gauge, wave_m=chance.uniform(0, _CLASS_2_M)))
    return unit


def sky_of(seed: int) -> Weather:
    """Weather for a farm with errors from outside: a day's swing of its own."""
    return Weather(stream(seed, "weather"), swing_degC=stream(seed, "swing").uniform(*_SWING_DEGC))


def layout_of(
    seed: int, name: str, level_m: float | None, damping_s: float | None, step_ms: int, drawn: Drawn = Drawn.NOTHING
) -> FarmLayout:
    """The demo's farm with one tank only, at a level."""
    tank = next(tank for tank in DEMO.tanks if tank.id == name)
    if level_m is not None:
        tank = replace(tank, level_m=level_m)
    budget = drawn is Drawn.BUDGET
    units = tuple(_gauged(unit, damping_s, step_ms, drawn=budget) for unit in DEMO.units if unit.tank == name)
    if budget:
        tank = _drawn(tank, seed)
    elif drawn is Drawn.OUTSIDE:
        tank = _outside(tank, seed)
        units = tuple(_gauged_outside(unit, seed) for unit in units)
    return replace(DEMO, tanks=(tank,), units=units, programme=Programme())


class Watched:
    """One tank of the demo and a core that reads it."""

    def __init__(
        self,
        seed: int,
        poll_s: int = 10,
        weather: Sky | None = None,
        damping_s: float | None = None,
        level_m: float | None = None,
        step_ms: int = STEP_MS,
        *,
        tank: str = TANK,
        drawn: Drawn = Drawn.NOTHING,
        start_ms: int = START_MS,
    ) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = write_demo(Path(folder), [1, 2], f"{poll_s} s")
            if damping_s is not None:
                text = path.read_text(encoding="utf-8")
                path.write_text(text.replace('damping = "2 s"', f'damping = "{damping_s:g} s"', 1), encoding="utf-8")
            site = load_site(path)
        self.core = core_of(site)
        layout = layout_of(seed, tank, level_m, damping_s, step_ms, drawn)
        self.farm = Farm(seed, start_ms, layout, weather, step_ms)
        self.tank, self.start_ms = tank, start_ms
        self._poll_s, self.second, self._seq = poll_s, 0, 0
        self.found: dict[int, Found] = {}

    def run(self, seconds: int, acts: Sequence[PersonsAct] = ()) -> None:
        for _ in range(seconds // self._poll_s):
            self.second += self._poll_s
            ms = self.start_ms + 1000 * self.second
            self.farm.advance(ms)
            samples = []
            for name in self.farm.instruments:
                values = self.farm.wire(name)
                samples.append(Sample(name, ms, TIMEOUT if values is None else OK, values or {}))
            self._seq += 1
            tick = Tick(Instant(self._seq, ms, 1000 * self.second), samples, acts)
            acts = ()
            for decision in self.core.step(tick).decisions:
                if decision.kind == "movement":
                    self.found[decision.body["number"]] = Found(dict(decision.body), self.start_ms)

    def run_long(self, seconds: int) -> None:
        """The same by models and tracker alone, the probe asked once a minute: what a year can wait for."""
        keeper, movements, farm = self.core.keepers[self.tank], self.core.movements, self.farm
        tank = keeper.tank
        gauge = tank.level.instrument
        warm = wet = NOTHING
        for _ in range(seconds // self._poll_s):
            self.second += self._poll_s
            ms = self.start_ms + 1000 * self.second
            farm.advance(ms)
            self._seq += 1
            if self._seq % 6 == 1 or warm is NOTHING:
                warm, wet = self._asked(tank.temperature), self._asked(tank.water)
            at = Instant(self._seq, ms, 1000 * self.second)
            sample = Sample(gauge, ms, OK, farm.wire(gauge) or {})
            reading = keeper.step(at, sample, warm, wet, NOTHING, frozen=False)
            for decision in movements.step(at, [reading]):
                self.found[decision.body["number"]] = Found(dict(decision.body), self.start_ms)

    def _asked(self, source: Linear | None) -> Extra:
        told = None if source is None else (self.farm.wire(source.instrument) or {}).get(source.signal)
        return NOTHING if source is None or told is None else Extra(told * source.factor + source.constant, 0)

    def truth(self) -> Truth:
        return self.farm.truth()[self.tank]

    def finals(self) -> list[Found]:
        return [one for one in self.found.values() if one.body["stage"] == "final"]
