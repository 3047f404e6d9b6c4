"""What a farm consists of: tanks, gauges on their gateways, and the programme of a day. Plain descriptions, no state.

The one that comes with the program is `simulator.demo.layout`; tests describe others.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from modbus.signals import RegisterSignal
from simulator.errors import SimulatorError
from simulator.faults import FaultKind
from simulator.geometry import Shape
from simulator.liquid import Product

STEP_MS: Final = 500
"""The farm's own step; whatever updates itself does so in a multiple of it."""

GAUGE_SIGNALS: Final = ("current", "level", "percent")
PROBE_SIGNALS: Final = ("temperature", "water")
CABINET_SIGNALS: Final = (
    "supply_voltage", "heater_current", "field_current", "ambient_temperature", "humidity",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TankLayout:
    """A tank on the day the farm starts. `shape` is what the calibration certificate says; the truth is drawn by seed.

    least_m: innage at which issues stop by themselves. supply_degC: temperature of what is pumped in. roof_mounted: the
    gauge hangs from the roof and moves with the shell. generator_hz: what shakes the surface while the generator runs.
    """

    id: str
    name: str
    product: Product
    shape: Shape
    reference_height_m: float
    level_m: float
    temperature_degC: float
    supply_degC: float
    top_warmer_degC: float = 1.5
    water_m: float = 0.0
    least_m: float = 0.5
    roof_mounted: bool = True
    ripple_m: float = 0.0003
    generator_hz: float = 24.8
    vibration_m: float = 0.0
    evaporates_m3_per_h: float = 0.0


class Indicates(StrEnum):
    """Where an indicator's level register comes from."""

    GAUGE = "gauge"  # the gauge's own digital figure; blind to what happens in the loop
    LOOP = "loop"  # reckoned from the current that arrives


@dataclass(frozen=True, slots=True)
class GaugeLayout:
    """A level gauge with its 4-20 mA loop. at_4mA_m and at_20mA_m are innages, or distances down from the reference.

    reach_m: the highest innage that the gauge sees (blocking distance, flange); above it the reading stands still.
    wave_m: how far it may be from straight over its range, a slow wave drawn by seed.
    """

    at_4mA_m: float
    at_20mA_m: float
    reach_m: float
    distance: bool = False
    damping_s: float = 3.0
    update_ms: int = 1000
    noise_mA: float = 0.001
    wave_m: float = 0.0
    indicates: Indicates = Indicates.GAUGE
    loop_powered: bool = False


@dataclass(frozen=True, slots=True)
class ProbeLayout:
    """A spot thermometer in a pocket of the shell, and an interface probe for free water.

    spots_m: heights of an averaging thermometer's spots instead of `height_m`; those under the surface count.
    bias_degC: spread from which each spot's own error is drawn. wander_m: standard deviation of the interface's slow
    wander.
    """

    height_m: float = 1.2
    lag_s: float = 600.0
    noise_degC: float = 0.03
    spots_m: tuple[float, ...] = ()
    bias_degC: float = 0.25
    wander_m: float = 0.0


@dataclass(frozen=True, slots=True)
class CabinetLayout:
    """What feeds the loop, and the heater of the gauge's window on the same supply (heater_mA 0: none).

    source_ohm: how much the supply sags under load. period_s and duty: of the heater's thermostat.
    """

    supply_V: float = 24.0
    source_ohm: float = 6.0
    heater_mA: float = 100.0
    period_s: float = 400.0
    duty: float = 0.5


@dataclass(frozen=True, slots=True)
class UnitLayout:
    """One Modbus unit. Its signals are known by the conventional names: current, level, percent, temperature, water,
    and by those of its cabinet.
    """

    id: str
    gateway: str
    unit: int
    tank: str
    signals: tuple[RegisterSignal, ...]
    gauge: GaugeLayout | None = None
    probe: ProbeLayout | None = None
    cabinet: CabinetLayout | None = None

    def check(self) -> None:
        """Raise `SimulatorError` for a signal that nothing here measures, and for an update between two steps."""
        measured = (GAUGE_SIGNALS if self.gauge else ()) + (PROBE_SIGNALS if self.probe else ())
        measured += CABINET_SIGNALS if self.cabinet else ()
        for signal in self.signals:
            if signal.name not in measured:
                raise SimulatorError(
                    f"instrument {self.id}: nothing measures {signal.name!r}; give it a gauge or a probe"
                )
        if self.gauge is not None and (self.gauge.update_ms <= 0 or self.gauge.update_ms % STEP_MS):
            raise SimulatorError(
                f"instrument {self.id}: update_ms {self.gauge.update_ms}; take a multiple of {STEP_MS}"
            )


@dataclass(frozen=True, slots=True)
class GatewayLayout:
    """A TCP gateway. missed_frac: requests that get lost on the serial side behind it, for no unit's fault."""

    id: str
    latency_ms: float = 4.0
    missed_frac: float = 0.0


class Act(StrEnum):
    """What people do with a tank."""

    RECEIVE = "receive"
    ISSUE = "issue"
    TRANSFER = "transfer"
    DRAW_WATER = "draw_water"


@dataclass(frozen=True, slots=True)
class Planned:
    """A movement of the daily programme, `minute` after the farm's own day began.

    Ends at `volume_m3`, or for what comes in at `to_level_m`, whichever comes first. into: where a transfer goes.
    """

    minute: float
    act: Act
    tank: str
    flow_m3_per_h: float
    volume_m3: float | None = None
    to_level_m: float | None = None
    into: str = ""
    drain_back_m3: float = 0.03


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault of the daily programme."""

    minute: float
    minutes: float
    instrument: str
    kind: FaultKind
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Programme:
    """A day of the farm, counted from its start and repeated. `under_way` is already running when the farm starts.

    generator: stretches (from, to) in minutes during which the generator runs.
    """

    under_way: tuple[Planned, ...] = ()
    movements: tuple[Planned, ...] = ()
    faults: tuple[PlannedFault, ...] = ()
    generator: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class FarmLayout:
    """The whole farm."""

    tanks: tuple[TankLayout, ...]
    gateways: tuple[GatewayLayout, ...]
    units: tuple[UnitLayout, ...]
    programme: Programme = Programme()

    def check(self) -> None:
        """Raise `SimulatorError` where the parts do not fit each other."""
        tanks = {t.id for t in self.tanks}
        gateways = {g.id for g in self.gateways}
        units = {u.id for u in self.units}
        if len(tanks) < len(self.tanks) or len(gateways) < len(self.gateways) or len(units) < len(self.units):
            raise SimulatorError("two tanks, gateways or instruments of the layout share an id")
        if len({(u.gateway, u.unit) for u in self.units}) < len(self.units):
            raise SimulatorError("two instruments of the layout share a unit id on one gateway")
        for unit in self.units:
            if unit.tank not in tanks or unit.gateway not in gateways:
                raise SimulatorError(f"instrument {unit.id}: no tank {unit.tank!r} or no gateway {unit.gateway!r}")
            unit.check()
        for planned in self.programme.under_way + self.programme.movements:
            if planned.tank not in tanks or (planned.act is Act.TRANSFER and planned.into not in tanks):
                raise SimulatorError(f"programme, minute {planned.minute:g}: unknown tank")
        for fault in self.programme.faults:
            if fault.instrument not in units:
                raise SimulatorError(f"programme, minute {fault.minute:g}: no instrument {fault.instrument!r}")
