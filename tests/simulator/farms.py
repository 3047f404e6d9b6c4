"""Small farms for tests: one tank, one gauge, and a programme only where a test asks for it."""

from dataclasses import replace

from modbus.signals import Order, RegisterSignal, RegisterType
from simulator.farm import Farm
from simulator.geometry import Course, Upright
from simulator.layout import (
    STEP_MS,
    FarmLayout,
    GatewayLayout,
    GaugeLayout,
    Indicates,
    ProbeLayout,
    Programme,
    TankLayout,
    UnitLayout,
)
from simulator.liquid import Product
from simulator.weather import Sky, still

JET = Product("jet", 800.0, 9.2e-4, 4e-7)

TANK = TankLayout(
    id="hill",
    name="Hill",
    product=JET,
    shape=Upright((Course(12.0, 10.0),)),
    reference_height_m=12.4,
    level_m=6.0,
    temperature_degC=20.0,
    supply_degC=20.0,
    top_warmer_degC=0.0,
    least_m=0.3,
    roof_mounted=False,
    ripple_m=0.0,
)

GAUGE = GaugeLayout(0.0, 12.0, reach_m=11.5, damping_s=0.0)

SIGNALS = (
    RegisterSignal("current", 4, 0, RegisterType.FLOAT32, word_order=Order.LOW_FIRST, unit="mA"),
    RegisterSignal("level", 4, 2, RegisterType.UINT16, unit="mm"),
    RegisterSignal("percent", 4, 3, RegisterType.INT16, scale=0.1, unit="%"),
)

UNIT = UnitLayout("hill_gauge", "row", 5, "hill", SIGNALS, gauge=GAUGE)

PROBE_SIGNALS = (
    RegisterSignal("temperature", 3, 0, RegisterType.INT16, scale=0.1, unit="degC"),
    RegisterSignal("water", 3, 1, RegisterType.UINT16, unit="mm"),
)


def farm(
    *,
    seed: int = 1,
    tank: TankLayout = TANK,
    gauge: GaugeLayout = GAUGE,
    probe: ProbeLayout | None = None,
    programme: Programme = Programme(),  # noqa: B008  (frozen)
    weather: Sky | None = None,
    step_ms: int = STEP_MS,
) -> Farm:
    """One tank of 10 m, calm and as warm as the air unless told otherwise."""
    units = [replace(UNIT, gauge=gauge)]
    if probe is not None:
        units.append(UnitLayout("hill_probe", "row", 6, "hill", PROBE_SIGNALS, probe=probe))
    layout = FarmLayout((tank,), (GatewayLayout("row", latency_ms=0),), tuple(units), programme)
    return Farm(seed, 0, layout, weather or still(tank.temperature_degC), step_ms)


def loop_gauge(**changes: object) -> GaugeLayout:
    return replace(GAUGE, indicates=Indicates.LOOP, **changes)
