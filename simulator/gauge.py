"""From the surface to the registers: one Modbus unit with its level gauge, loop, indicator and probes.

Knows damping, mounting, trim errors, noise, clamps, register steps and what each fault does to them. Asks its tank
where the surface is; refuses to know sockets.
"""

import math
from collections.abc import Mapping
from typing import Final

from modbus.codecs import encode
from modbus.errors import SERVER_DEVICE_FAILURE, NotEncodable
from modbus.signals import RegisterSignal, RegisterType
from simulator.cabinet import Cabinet
from simulator.chance import stream
from simulator.faults import DEAD, Fault, FaultBook, FaultKind
from simulator.layout import CabinetLayout, GaugeLayout, Indicates, ProbeLayout, UnitLayout
from simulator.loopfaults import Disturbed
from simulator.tank import SimTank

LIVE_ZERO_MA: Final = 4.0
SPAN_MA: Final = 16.0
LOWEST_MA: Final = 3.8
HIGHEST_MA: Final = 20.5
"""A gauge that measures never leaves this range. Source: NAMUR NE 43 (2003), from secondary texts."""

CABINET_MS: Final = 1000
"""How often supply and heater are looked at, where somebody reads them or a fault depends on them."""

Image = Mapping[tuple[int, int], int]
"""What a unit's registers hold: (function, address) -> 0 to 65535."""

_LIMITS: Final = {
    RegisterType.INT16: (-(2**15), 2**15 - 1),
    RegisterType.UINT16: (0, 2**16 - 1),
    RegisterType.INT32: (-(2**31), 2**31 - 1),
    RegisterType.UINT32: (0, 2**32 - 1),
}


class LevelGauge:
    """A level gauge and its loop. `level_m`: the innage that it tells digitally; `field_mA`: what flows at the gauge
    itself; `current_mA`: what arrives at the panel.
    """

    __slots__ = (
        "_at_4mA_m",
        "_chance",
        "_damped_m",
        "_disturbed",
        "_gain",
        "_layout",
        "_span_m",
        "_span_off",
        "_tank",
        "_trim_mA",
        "_wave",
        "_wired",
        "_zero_m",
        "cabinet",
        "current_mA",
        "field_mA",
        "level_m",
    )

    def __init__(
        self, layout: GaugeLayout, tank: SimTank, seed: int, name: str, cabinet: CabinetLayout | None = None
    ) -> None:
        self._layout, self._tank = layout, tank
        self._chance = stream(seed, name, "loop")
        self._wired = cabinet is not None
        self.cabinet = Cabinet(cabinet or CabinetLayout(), stream(seed, name, "cabinet"))
        self._disturbed = Disturbed(stream(seed, name, "disturbed"), self.cabinet)
        luck = stream(seed, name, "setting")
        self._zero_m = luck.gauss(0, 0.0015)
        self._span_off = luck.gauss(0, 1.0e-4)
        self._trim_mA = luck.gauss(0, 0.0015)
        wave = stream(seed, name, "wave")
        turns_per_m = math.tau / wave.uniform(0.1, 0.5)  # lengths of a wave in m (invented)
        self._wave = (layout.wave_m, turns_per_m, wave.uniform(0, math.tau)) if layout.wave_m else None
        height = tank.layout.reference_height_m
        ends = (layout.at_4mA_m, layout.at_20mA_m)
        self._at_4mA_m, at_20mA_m = (height - ends[0], height - ends[1]) if layout.distance else ends
        self._span_m = at_20mA_m - self._at_4mA_m
        self.pace(layout.update_ms)
        self._damped_m = self.level_m = self._sight_m(tank.level_m)
        self.current_mA = self.field_mA = self._measured_mA(self._damped_m, 0.0)

    def pace(self, update_ms: int) -> None:
        """From now on a measurement every so often."""
        dt_s = update_ms / 1000
        self._gain = 1 - math.exp(-dt_s / self._layout.damping_s) if self._layout.damping_s > 0 else 1.0

    def _sight_m(self, innage_m: float) -> float:
        """What the gauge makes of a surface at an innage, with its setting and its mount as they are."""
        seen_m = innage_m * (1 + self._span_off) + self._zero_m - self._tank.mount_rise_m
        if self._wave is not None:
            size_m, turns_per_m, phase = self._wave
            seen_m += size_m * math.sin(turns_per_m * innage_m + phase)
        return min(seen_m, self._layout.reach_m)

    def _measured_mA(self, level_m: float, noise_mA: float) -> float:
        """The current of a healthy gauge; noise is its own, so that the clamp holds for the sum."""
        current = LIVE_ZERO_MA + SPAN_MA * (level_m - self._at_4mA_m) / self._span_m + self._trim_mA + noise_mA
        return min(max(current, LOWEST_MA), HIGHEST_MA)

    def of_current(self, current_mA: float) -> float:
        """The innage that an indicator reckons from a current."""
        return self._at_4mA_m + (current_mA - LIVE_ZERO_MA) / SPAN_MA * self._span_m

    def update(self, time_ms: int, faults: FaultBook) -> None:
        """One measurement of the gauge, and the current that follows from it."""
        now = faults.now
        if FaultKind.HELD not in now:
            surface_m = self._tank.level_m + self._tank.surface.height_m(time_ms)
            self._damped_m += self._gain * (self._sight_m(surface_m) - self._damped_m)
        seen = self._damped_m
        noise = self._chance.gauss(0, self._layout.noise_mA)
        if now:
            seen = self._faulty_m(seen, time_ms, faults)
            self.field_mA, self.current_mA = self._faulty_mA(seen, noise, time_ms, faults)
        else:
            self.level_m = seen
            self.current_mA = self.field_mA = self._measured_mA(seen, noise)
        if time_ms % CABINET_MS == 0 and (now or self._wired):
            self.cabinet.update(time_ms, now, self.field_mA)

    def _faulty_m(self, seen: float, time_ms: int, faults: FaultBook) -> float:
        """What the gauge takes for the level, echo and setting as they are."""
        now = faults.now
        if echo := now.get(FaultKind.ECHO):
            seen = min(seen + echo.value, self._layout.reach_m)
        if drift := now.get(FaultKind.DRIFT):
            seen += drift.value * (time_ms - drift.start_ms) / 3_600_000
        if shift := now.get(FaultKind.ZERO_SHIFT):
            seen += shift.value
        if wrong := now.get(FaultKind.SPAN_ERROR):
            seen = self._at_4mA_m + (seen - self._at_4mA_m) * (1 + wrong.value)
        if self._disturbed.near_echo(time_ms, now):
            seen = self._layout.reach_m - 0.3 * abs(self._chance.gauss(0, 1))
        forced = faults.override_mA()
        if forced is None or forced[0] not in (FaultKind.FAIL_LOW, FaultKind.FAIL_HIGH):
            self.level_m = seen  # a gauge that reports failure keeps its last figure in the level register
        return seen

    def _faulty_mA(self, level_m: float, noise: float, time_ms: int, faults: FaultBook) -> tuple[float, float]:
        """The current at the gauge and the one that arrives at the panel."""
        now, measured = faults.now, self._measured_mA(level_m, noise)
        forced = faults.override_mA()
        if forced is not None:
            kind, value = forced
            if kind is FaultKind.SATURATED:
                return value, value  # pinned by the gauge itself, so flat to the last bit
            if kind is FaultKind.BYPASSED:
                return measured, abs(noise)
            dead = kind in (FaultKind.OPEN_LOOP, FaultKind.SUPPLY_LOST)
            arrives = max(0.0, value + (abs(noise) if dead else noise))
            return (0.0 if kind is FaultKind.SHORT else arrives), arrives
        field = self._disturbed.gauge_mA(measured, time_ms, now)
        if noisy := now.get(FaultKind.NOISY):
            field += self._chance.gauss(0, noisy.value)
        if ceiling := now.get(FaultKind.CEILING):
            field = min(field, ceiling.value)
        if starved := now.get(FaultKind.STARVED):
            field = min(field, self._disturbed.most_mA(starved.value))
        panel = self._disturbed.panel_mA(field, time_ms, now)
        if offset := now.get(FaultKind.OFFSET):
            panel += offset.value
        return max(0.0, field), max(0.0, panel)


_WANDER_S: Final = 900.0
"""How long an interface that is no sharp line keeps an error (invented)."""


class Probe:
    """A thermometer of one spot or several, each late and a little wrong, and an interface probe for water."""

    __slots__ = (
        "_bias_degC", "_chance", "_lagged_degC", "_layout", "_spots_m", "_tank",
        "_wander", "_wander_m", "temperature_degC", "water_m",
    )  # fmt: skip

    def __init__(self, layout: ProbeLayout, tank: SimTank, seed: int, name: str) -> None:
        self._layout, self._tank = layout, tank
        self._chance = stream(seed, name, "probe")
        setting = stream(seed, name, "probe setting")
        self._spots_m = layout.spots_m or (layout.height_m,)
        self._bias_degC = [setting.gauss(0, layout.bias_degC) for _ in self._spots_m]
        self._lagged_degC = [tank.temperature_at(height_m) for height_m in self._spots_m]
        self.temperature_degC = self._mean_degC()
        self._wander = stream(seed, name, "interface")
        self._wander_m = self._wander.gauss(0, layout.wander_m)
        self.water_m = tank.water_m

    def _mean_degC(self) -> float:
        """Of the spots under the surface; the lowest one counts always."""
        wet = max(1, sum(height_m < self._tank.level_m for height_m in self._spots_m))
        return sum(self._lagged_degC[k] + self._bias_degC[k] for k in range(wet)) / wet

    def update(self, dt_s: float) -> None:
        layout, follows = self._layout, 1 - math.exp(-dt_s / self._layout.lag_s)
        for k, height_m in enumerate(self._spots_m):
            self._lagged_degC[k] += (self._tank.temperature_at(height_m) - self._lagged_degC[k]) * follows
        self.temperature_degC = self._mean_degC() + self._chance.gauss(0, layout.noise_degC)
        if layout.wander_m:
            share = min(1.0, dt_s / _WANDER_S)
            self._wander_m += self._wander.gauss(0, layout.wander_m * math.sqrt(2 * share)) - share * self._wander_m
        self.water_m = max(0.0, self._tank.water_m + self._wander_m + self._chance.gauss(0, 0.0006))


PROBE_MS: Final = 10_000
"""How often a probe measures: nothing that it sees moves faster."""


class SimUnit:
    """One Modbus unit: what its registers hold at this moment, or that it is silent or refuses."""

    __slots__ = ("_frozen", "_image", "_probe", "faults", "gauge", "layout", "update_ms")

    def __init__(self, layout: UnitLayout, tank: SimTank, seed: int) -> None:
        self.layout = layout
        self.faults = FaultBook()
        self.gauge = LevelGauge(layout.gauge, tank, seed, layout.id, layout.cabinet) if layout.gauge else None
        self._probe = Probe(layout.probe, tank, seed, layout.id) if layout.probe else None
        self.update_ms = layout.gauge.update_ms if layout.gauge else PROBE_MS
        self._image: Image | None = None
        self._frozen: Image | None = None

    def pace(self, least_ms: int) -> None:
        """Measure no more often than that; 0: at its own pace."""
        self.update_ms = max(least_ms, PROBE_MS if self.layout.gauge is None else self.layout.gauge.update_ms)
        if self.gauge is not None:
            self.gauge.pace(self.update_ms)

    def update(self, time_ms: int) -> None:
        """Measure anew. Call it every `update_ms`, at a whole multiple of it."""
        if self.faults.next_ms is not None and time_ms >= self.faults.next_ms:
            frozen = self._frozen or self.image()
            self.faults.turn_to(time_ms)
            self._freeze(frozen)
        if self.gauge is not None:
            self.gauge.update(time_ms, self.faults)
        if self._probe is not None and time_ms % PROBE_MS < self.update_ms:
            self._probe.update(max(PROBE_MS, self.update_ms) / 1000)
        self._image = None

    def break_down(self, fault: Fault, time_ms: int) -> None:
        """Take note of a fault; it works at once when its time has come."""
        frozen = self._frozen or self.image()
        self.faults.add(fault, time_ms)
        self._freeze(frozen)

    def mend(self, time_ms: int) -> None:
        """End all faults, and forget those still to come."""
        self.faults.clear(time_ms)
        self._freeze(None)

    def _freeze(self, image: Image | None) -> None:
        """Registers that freeze keep what they held at the moment before."""
        self._frozen = image if FaultKind.FROZEN in self.faults.now else None

    @property
    def silent(self) -> bool:
        """True while the unit does not answer at all."""
        now = self.faults.now
        if FaultKind.SILENT in now:
            return True
        gauge = self.layout.gauge
        return gauge is not None and gauge.loop_powered and not now.keys().isdisjoint(DEAD)

    @property
    def impostor(self) -> int | None:
        """The unit of the same gateway that answers in this one's place, if any does."""
        wrong = self.faults.now.get(FaultKind.WRONG_UNIT)
        return None if wrong is None else round(wrong.value)

    @property
    def refusal(self) -> int | None:
        """The exception code that the unit answers with whatever it is asked; None = it answers properly."""
        return SERVER_DEVICE_FAILURE if FaultKind.EXCEPTION in self.faults.now else None

    def values(self) -> dict[str, float]:
        """What the unit measures now in each signal's own unit, before the registers' steps."""
        known: dict[str, float] = {}
        gauge, probe = self.gauge, self._probe
        if gauge is not None:
            assert self.layout.gauge is not None
            from_gauge = self.layout.gauge.indicates is Indicates.GAUGE
            level_m = gauge.level_m if from_gauge else gauge.of_current(gauge.current_mA)
            known |= {
                "current": gauge.current_mA,
                "level": 1000 * level_m,
                "percent": (gauge.current_mA - LIVE_ZERO_MA) / SPAN_MA * 100,
            }
            if self.layout.cabinet is not None:
                cabinet = gauge.cabinet
                known |= {
                    "supply_voltage": cabinet.supply_V,
                    "heater_current": cabinet.heater_mA,
                    "field_current": gauge.field_mA,
                    "ambient_temperature": cabinet.ambient_degC,
                    "humidity": cabinet.humidity_percent,
                }
        if probe is not None:
            known |= {"temperature": probe.temperature_degC, "water": 1000 * probe.water_m}
        return {signal.name: known[signal.name] for signal in self.layout.signals}

    def image(self) -> Image:
        """The registers as the wire sees them."""
        if self._frozen is not None:
            return self._frozen
        if self._image is None:
            values = self.values()
            image: dict[tuple[int, int], int] = {}
            for signal in self.layout.signals:
                for k, word in enumerate(_words(signal, values[signal.name])):
                    image[signal.function, signal.address + k] = word
            self._image = image
        return self._image


def _words(signal: RegisterSignal, value: float) -> tuple[int, ...]:
    """An indicator's whole-number register stands still at its end instead of running over."""
    try:
        return encode(signal, value)
    except NotEncodable:
        low, high = _LIMITS[signal.type]
        raw = (value - signal.offset) / signal.scale
        return encode(signal, (low if raw < low else high) * signal.scale + signal.offset)
