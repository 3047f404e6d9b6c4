"""Draws the plant of a labelled case: a tank or two, their gauges, registers, weather, and how far they are filled.

All figures are invented and drawn by seed. The second tank is there for cases in which other loops tell something.
"""

from dataclasses import dataclass, replace
from random import Random
from typing import Any, Final

from modbus.signals import RegisterSignal, RegisterType
from simulator.chance import stream
from simulator.geometry import Course, Upright
from simulator.layout import (
    CabinetLayout,
    FarmLayout,
    GatewayLayout,
    GaugeLayout,
    Indicates,
    TankLayout,
    UnitLayout,
)
from simulator.liquid import Product
from simulator.weather import DAY_MS, Weather

LOOP: Final = "a_loop"
OTHER: Final = "b_loop"
JET: Final = Product("jet", 800.0, 9.2e-4, 4e-7)
SLOW_MS: Final = 5000
FIRST_DAY_MS: Final = 20_454 * DAY_MS
"""Some midnight, UTC, which is the site's own time too."""


@dataclass(frozen=True, slots=True)
class Plant:
    """A drawn plant. step_mA: size of one step of the current's register, None for a float."""

    layout: FarmLayout
    start_ms: int
    weather: Weather
    diameter_m: float
    height_m: float
    step_mA: float | None
    shares_supply: bool

    @property
    def gauge(self) -> GaugeLayout:
        gauge = self.layout.units[0].gauge
        assert gauge is not None
        return gauge

    @property
    def level_m(self) -> float:
        return self.layout.tanks[0].level_m

    @property
    def area_m2(self) -> float:
        return 0.7853981633974483 * self.diameter_m**2

    def mA_of(self, level_m: float) -> float:
        return 4 + 16 * (level_m - self.gauge.at_4mA_m) / (self.gauge.at_20mA_m - self.gauge.at_4mA_m)


def plant(
    label: str, seed: int, *, hour: float | None = None, alone: bool = False, filled: tuple[float, float] = (0.25, 0.75)
) -> Plant:
    """hour: the site's time at the start (drawn when None). filled: between which parts of its height tank a stands.
    alone: without the second tank, for cases that last for days; their gauge updates itself with the poll.
    """
    luck = stream(seed, label, "plant")
    start_ms = FIRST_DAY_MS + luck.randrange(300) * DAY_MS
    start_ms += round((luck.uniform(0, 24) if hour is None else hour) * 3_600_000)
    step = luck.choices((None, 0.001, 0.005), (65, 20, 15))[0]
    cabinet = CabinetLayout(
        supply_V=luck.uniform(23.4, 25.0),
        source_ohm=luck.uniform(3, 9),
        heater_mA=luck.uniform(80, 140),
        period_s=luck.uniform(150, 700),
        duty=luck.uniform(0.3, 0.7),
    )
    a = _tank("a", luck, filled)
    tanks, units = [a], [_unit(LOOP, 1, a, luck, step, cabinet, alone)]
    if not alone:
        b = _tank("b", luck, (0.2, 0.8))
        tanks.append(b)
        units.append(_unit(OTHER, 2, b, luck, step, cabinet, alone))
    weather = Weather(
        stream(seed, label, "weather"),
        mean_degC=luck.uniform(18, 28),
        swing_degC=luck.uniform(3.5, 6),
        dew_below_degC=luck.uniform(3.5, 6.5),
        sun=luck.uniform(0.4, 1),
    )
    layout = FarmLayout(tuple(tanks), (GatewayLayout("row"),), tuple(units))
    course = a.shape
    assert isinstance(course, Upright)
    return Plant(
        layout, start_ms, weather, course.courses[0].diameter_m, a.reference_height_m - 0.4, step, luck.random() < 0.5
    )


def _tank(name: str, luck: Random, filled: tuple[float, float]) -> TankLayout:
    diameter, height = luck.uniform(4.5, 12), luck.uniform(6, 13)
    return TankLayout(
        id=name,
        name=name,
        product=JET,
        shape=Upright((Course(height, diameter),)),
        reference_height_m=height + 0.4,
        level_m=height * luck.uniform(*filled),
        temperature_degC=luck.uniform(17, 29),
        supply_degC=luck.uniform(17, 29),
        top_warmer_degC=luck.uniform(0, 2.5),
        water_m=luck.uniform(0, 0.02),
        least_m=0.4,
        ripple_m=luck.uniform(0.0001, 0.0006),
        vibration_m=luck.choice((0.0, 0.0, 0.0015)),
        generator_hz=luck.uniform(24.5, 25.5),
    )


def _unit(
    name: str, number: int, tank: TankLayout, luck: Random, step_mA: float | None, cabinet: CabinetLayout, slow: bool
) -> UnitLayout:
    if step_mA is None:
        current = RegisterSignal("current", 4, 0, RegisterType.FLOAT32, unit="mA")
    else:
        current = RegisterSignal("current", 4, 0, RegisterType.UINT16, scale=step_mA, unit="mA")
    height = tank.reference_height_m - 0.4
    gauge = GaugeLayout(
        luck.uniform(0.0, 0.2),
        height * luck.uniform(0.98, 1.0),
        reach_m=height + 0.3,
        damping_s=luck.choice((0.5, 1, 2, 4, 8)),
        update_ms=SLOW_MS if slow else luck.choice((500, 1000)),
        noise_mA=luck.uniform(0.0005, 0.0025),
        indicates=Indicates.LOOP,
    )
    return UnitLayout(name, "row", number, tank.id, (current,), gauge=gauge, cabinet=cabinet)


def with_gauge(drawn: Plant, **changes: Any) -> Plant:
    """The same plant with another gauge on tank a."""
    first, *rest = drawn.layout.units
    unit = replace(first, gauge=replace(drawn.gauge, **changes))
    return replace(drawn, layout=replace(drawn.layout, units=(unit, *rest)))


def with_cabinet(drawn: Plant, **changes: float) -> Plant:
    """The same plant with another supply or heater for tank a."""
    first, *rest = drawn.layout.units
    assert first.cabinet is not None
    unit = replace(first, cabinet=replace(first.cabinet, **changes))
    return replace(drawn, layout=replace(drawn.layout, units=(unit, *rest)))
