"""The farm of the demo: six tanks on two gateways, and what happens on a day. All names and figures are invented.

`site.toml` beside this file tells a daemon the same in a site's own words; a test holds the two against each other.
"""

from typing import Final

from modbus.signals import READ_HOLDING_REGISTERS, READ_INPUT_REGISTERS, Order, RegisterSignal, RegisterType
from simulator.faults import FaultKind
from simulator.geometry import Course, Lying, Upright
from simulator.layout import (
    Act,
    FarmLayout,
    GatewayLayout,
    GaugeLayout,
    Indicates,
    Planned,
    PlannedFault,
    ProbeLayout,
    Programme,
    TankLayout,
    UnitLayout,
)
from simulator.liquid import Product

JET: Final = Product("jet", 800.0, 9.2e-4, 4e-7)
AVGAS: Final = Product("avgas", 715.0, 1.25e-3, 1.2e-6)
DIESEL: Final = Product("diesel", 840.0, 8.4e-4, 3e-7)

TANKS: Final = (
    TankLayout(
        id="north",
        name="North Jet",
        product=JET,
        shape=Upright(
            (Course(2.2, 10.004), Course(2.2, 10.000), Course(2.2, 9.998), Course(2.2, 10.003), Course(4.4, 9.997))
        ),
        reference_height_m=13.65,
        level_m=11.794,
        temperature_degC=25.8,
        supply_degC=28.5,
        top_warmer_degC=2.2,
        water_m=0.014,
        least_m=1.3,
    ),
    TankLayout(
        id="palm",
        name="Palm Jet",
        product=JET,
        shape=Upright((Course(2.4, 9.503), Course(2.4, 9.500), Course(2.4, 9.496), Course(5.4, 9.501))),
        reference_height_m=13.05,
        level_m=8.260,
        temperature_degC=26.4,
        supply_degC=28.0,
        water_m=0.009,
        least_m=1.4,
        vibration_m=0.0022,
        generator_hz=24.83,
    ),
    TankLayout(
        id="ridge",
        name="Ridge Jet",
        product=JET,
        shape=Upright((Course(2.4, 8.004), Course(2.4, 8.000), Course(4.8, 7.997), Course(4.8, 8.001))),
        reference_height_m=14.85,
        level_m=9.402,
        temperature_degC=26.1,
        supply_degC=28.0,
        top_warmer_degC=2.5,
        water_m=0.022,
        least_m=1.4,
        vibration_m=0.0012,
        generator_hz=24.83,
    ),
    TankLayout(
        id="dune",
        name="Dune Diesel",
        product=DIESEL,
        shape=Lying(2.500, 9.000),
        reference_height_m=2.720,
        level_m=0.820,
        temperature_degC=26.8,
        supply_degC=29.0,
        top_warmer_degC=0.8,
        least_m=0.36,
        roof_mounted=False,
    ),
    TankLayout(
        id="finch",
        name="Finch Avgas",
        product=AVGAS,
        shape=Upright((Course(2.5, 3.402), Course(2.5, 3.399)), bottom_slope=1 / 60),
        reference_height_m=5.600,
        level_m=3.120,
        temperature_degC=27.0,
        supply_degC=28.0,
        top_warmer_degC=2.0,
        water_m=0.006,
        least_m=0.7,
    ),
    TankLayout(
        id="slop",
        name="Slop",
        product=JET,
        shape=Upright((Course(2.7, 1.900),), bottom_slope=1 / 30),
        reference_height_m=2.900,
        level_m=1.140,
        temperature_degC=27.5,
        supply_degC=27.0,
        top_warmer_degC=0.6,
        water_m=0.090,
        least_m=0.28,
    ),
)

GATEWAYS: Final = (GatewayLayout("row", missed_frac=5e-4), GatewayLayout("ramp", latency_ms=7.0, missed_frac=5e-4))


def _current(function: int, address: int, order: Order = Order.HIGH_FIRST) -> RegisterSignal:
    return RegisterSignal("current", function, address, RegisterType.FLOAT32, word_order=order, unit="mA")


def _level_mm(function: int, address: int) -> RegisterSignal:
    return RegisterSignal("level", function, address, RegisterType.UINT16, unit="mm")


def _percent(function: int, address: int) -> RegisterSignal:
    return RegisterSignal("percent", function, address, RegisterType.INT16, scale=0.1, unit="%")


def _temperature(function: int, address: int) -> RegisterSignal:
    return RegisterSignal("temperature", function, address, RegisterType.INT16, scale=0.1, unit="degC")


def _water(function: int, address: int) -> RegisterSignal:
    return RegisterSignal("water", function, address, RegisterType.UINT16, unit="mm")


_HOLDING, _INPUT = READ_HOLDING_REGISTERS, READ_INPUT_REGISTERS

UNITS: Final = (
    UnitLayout(
        id="north_gauge",
        gateway="row",
        unit=11,
        tank="north",
        signals=(_current(_INPUT, 0, Order.LOW_FIRST), _level_mm(_INPUT, 2)),
        gauge=GaugeLayout(0.0, 12.5, reach_m=12.9, damping_s=2.0, update_ms=500),
    ),
    UnitLayout(
        id="north_probe",
        gateway="row",
        unit=21,
        tank="north",
        signals=(_temperature(_HOLDING, 100), _water(_HOLDING, 101)),
        probe=ProbeLayout(height_m=1.5, lag_s=900),
    ),
    UnitLayout(
        id="palm_loop",
        gateway="row",
        unit=12,
        tank="palm",
        signals=(_current(_HOLDING, 0), _percent(_HOLDING, 2), _temperature(_HOLDING, 3), _water(_HOLDING, 4)),
        gauge=GaugeLayout(0.2, 12.0, reach_m=12.4, damping_s=5.0, indicates=Indicates.LOOP, loop_powered=True),
        probe=ProbeLayout(height_m=1.2),
    ),
    UnitLayout(
        id="ridge_gauge",
        gateway="row",
        unit=13,
        tank="ridge",
        signals=(
            _current(_INPUT, 0, Order.LOW_FIRST),
            RegisterSignal("level", _INPUT, 2, RegisterType.INT32, scale=0.1, unit="mm"),
            _temperature(_INPUT, 4),
            _water(_INPUT, 5),
        ),
        gauge=GaugeLayout(0.0, 13.8, reach_m=14.0, damping_s=1.0, update_ms=500, noise_mA=0.0006),
        probe=ProbeLayout(height_m=1.0, lag_s=480),
    ),
    UnitLayout(
        id="dune_loop",
        gateway="ramp",
        unit=1,
        tank="dune",
        signals=(_current(_INPUT, 0), _level_mm(_INPUT, 2), _temperature(_INPUT, 3)),
        gauge=GaugeLayout(0.0, 2.5, reach_m=2.45, damping_s=4.0, indicates=Indicates.LOOP),
        probe=ProbeLayout(height_m=0.4, lag_s=300),
    ),
    UnitLayout(
        id="finch_loop",
        gateway="ramp",
        unit=2,
        tank="finch",
        signals=(
            _current(_HOLDING, 10, Order.LOW_FIRST),
            _percent(_HOLDING, 12),
            _temperature(_HOLDING, 13),
            _water(_HOLDING, 14),
        ),
        gauge=GaugeLayout(5.6, 0.8, reach_m=4.9, distance=True, damping_s=3.0, indicates=Indicates.LOOP),
        probe=ProbeLayout(height_m=0.6, lag_s=300),
    ),
    UnitLayout(
        id="slop_loop",
        gateway="ramp",
        unit=7,
        tank="slop",
        signals=(_current(_INPUT, 0), _percent(_INPUT, 2), _temperature(_INPUT, 3)),
        gauge=GaugeLayout(0.0, 2.5, reach_m=2.6, damping_s=2.0, indicates=Indicates.LOOP),
        probe=ProbeLayout(height_m=0.3, lag_s=240),
    ),
)


def _receive(minute: float, tank: str, flow: float, to_level_m: float) -> Planned:
    return Planned(minute, Act.RECEIVE, tank, flow, to_level_m=to_level_m)


def _issue(minute: float, tank: str, flow: float, volume_m3: float) -> Planned:
    return Planned(minute, Act.ISSUE, tank, flow, volume_m3=volume_m3)


# Each tank ends its day about where it began: receipts run to a level, issues are fixed volumes.
PROGRAMME: Final = Programme(
    under_way=(
        _receive(0, "north", 108, 11.880),
        _issue(0, "palm", 66, 18),
        _issue(0, "dune", 7.2, 0.9),
    ),
    movements=(
        _issue(32, "finch", 15, 1.9),
        _issue(75, "palm", 72, 24),
        _issue(130, "north", 72, 32),
        _issue(135, "dune", 9, 3.2),
        _issue(185, "palm", 72, 30),
        _issue(240, "north", 78, 36),
        _receive(300, "dune", 48, 2.180),
        _issue(320, "finch", 15, 2.4),
        _issue(345, "ridge", 66, 26),
        _receive(410, "ridge", 120, 12.860),  # up to 40 mm below its limit `high`
        _issue(455, "palm", 72, 34),
        _issue(520, "palm", 72, 22),
        _issue(560, "dune", 9, 5.5),
        _issue(590, "palm", 60, 14),
        _receive(625, "slop", 1.2, 1.280),
        Planned(700, Act.TRANSFER, "ridge", 90, volume_m3=45, into="palm"),
        _issue(760, "north", 72, 28),
        _receive(800, "finch", 42, 3.900),
        _issue(850, "ridge", 72, 40),
        _issue(905, "dune", 9, 7.0),
        _receive(960, "palm", 260, 8.900),  # two pumps by mistake: the level rises too fast
        _issue(1010, "finch", 15, 4.2),
        _issue(1030, "ridge", 72, 48),
        Planned(1085, Act.DRAW_WATER, "ridge", 1.2, volume_m3=0.02),
        _issue(1110, "palm", 72, 30),
        _issue(1150, "slop", 3.6, 0.33),
        _issue(1190, "dune", 9, 7.5),
        _issue(1230, "ridge", 6, 2.0),  # nobody ordered it: 100 L/min for 20 minutes
        _issue(1265, "ridge", 72, 40),
        _issue(1270, "dune", 9, 7.0),
        _receive(1390, "north", 108, 11.880),
    ),
    faults=(
        PlannedFault(8 / 60, 22, "finch_loop", FaultKind.FAIL_LOW, 3.5),
        PlannedFault(48, 25, "dune_loop", FaultKind.OPEN_LOOP),
        PlannedFault(95, 25, "palm_loop", FaultKind.GAP_HIGH, 20.8),
        PlannedFault(150, 25, "slop_loop", FaultKind.GAP_LOW, 3.7),
        PlannedFault(200, 30, "ridge_gauge", FaultKind.FAIL_HIGH, 21.6),
        PlannedFault(260, 35, "dune_loop", FaultKind.SILENT),
        PlannedFault(365, 25, "north_gauge", FaultKind.SATURATED, 20.5),
        PlannedFault(440, 170, "palm_loop", FaultKind.FROZEN),
        PlannedFault(680, 45, "slop_loop", FaultKind.NOISY, 0.15),
        PlannedFault(770, 30, "north_probe", FaultKind.SILENT),
        PlannedFault(830, 30, "palm_loop", FaultKind.OPEN_LOOP),
        PlannedFault(900, 30, "finch_loop", FaultKind.EXCEPTION),
        PlannedFault(1030, 45, "ridge_gauge", FaultKind.HELD),
        PlannedFault(1160, 25, "slop_loop", FaultKind.SATURATED, 3.8),
        PlannedFault(1205, 15, "ridge_gauge", FaultKind.ECHO, 1.6),
    ),
    generator=((28, 44), (700, 760), (1140, 1200)),
)

DEMO: Final = FarmLayout(TANKS, GATEWAYS, UNITS, PROGRAMME)
