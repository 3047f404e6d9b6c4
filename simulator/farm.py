"""The fuel farm: tanks, pumps, weather, gauges and a daily programme, moved on in small fixed steps of its own time.

Deterministic: the same seed, start and calls give the same farm to the last bit, however `advance` is cut up. No
sockets, no clock: whoever serves it says what time it is.
"""

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from modbus.codecs import decoder
from simulator.chance import stream
from simulator.demo.layout import DEMO
from simulator.errors import SimulatorError
from simulator.faults import fault
from simulator.gauge import SimUnit
from simulator.layout import STEP_MS, Act, FarmLayout, Planned, Programme
from simulator.movement import Movement, Stage
from simulator.tank import SimTank, Truth
from simulator.weather import DAY_MS, Sky, Weather

SETTLE_MS: Final = 20_000
_MINUTE_MS: Final = 60_000
_decoded: Final = cache(decoder)
_DAY_MINUTES: Final = DAY_MS / _MINUTE_MS


@dataclass(slots=True)
class _Running:
    planned: Planned
    pump: Movement


class Farm:
    """A farm that starts at `start_ms` (site time, UTC). `layout` is the one of the demo unless told otherwise.

    step_ms: its own step; a coarser one for runs over many days.
    """

    def __init__(
        self,
        seed: int = 1,
        start_ms: int = 0,
        layout: FarmLayout = DEMO,
        weather: Sky | None = None,
        step_ms: int = STEP_MS,
    ) -> None:
        layout.check()
        if SETTLE_MS % step_ms or any(u.gauge and u.gauge.update_ms % step_ms for u in layout.units):
            raise SimulatorError(f"step_ms {step_ms}: gauges' update_ms and {SETTLE_MS} must be whole multiples of it")
        self._step_ms, self._settle_ms = step_ms, SETTLE_MS
        self.layout = layout
        self.seed = seed
        self._start_ms = start_ms
        self._now_ms = start_ms
        self._steps = 0
        self._weather: Sky = weather or Weather(stream(seed, "weather"))
        self._tanks = {t.id: SimTank(t, seed) for t in layout.tanks}
        for tank in self._tanks.values():
            tank.settle(0.0, self._weather.at(start_ms))
        self._units = {u.id: SimUnit(u, self._tanks[u.tank], seed) for u in layout.units}
        self._air(start_ms, at_start=True)
        self._every = [(unit, unit.update_ms // step_ms) for unit in self._units.values()]
        self._running = [self._begin(planned, under_way=True) for planned in layout.programme.under_way]
        self._day = -1
        self._due: list[Planned] = []
        self._generator: list[tuple[int, bool]] = []
        self._next_day()

    @property
    def now_ms(self) -> int:
        """The time that `advance` was last told; state stands at the last whole step before it."""
        return self._now_ms

    @property
    def start_ms(self) -> int:
        return self._start_ms

    @property
    def tanks(self) -> tuple[str, ...]:
        return tuple(self._tanks)

    @property
    def instruments(self) -> tuple[str, ...]:
        return tuple(self._units)

    def advance(self, to_ms: int) -> None:
        """Move on to a time. A clock that stands or falls back changes nothing."""
        while self._start_ms + (self._steps + 1) * self._step_ms <= to_ms:
            self._steps += 1
            self._step(self._steps * self._step_ms)
        self._now_ms = max(self._now_ms, to_ms)

    def pace(self, step_ms: int, look_ms: int = 0, settle_ms: int = SETTLE_MS) -> None:
        """From now on move in steps of this: coarse ones for days that nobody watches, `STEP_MS` on the wire.

        look_ms: gauges measure no more often (0: at their own pace); settle_ms: how often tanks meet the weather.
        Raises `SimulatorError` where these do not fit each other and the time that has passed.
        """
        elapsed_ms = self._steps * self._step_ms
        if any(whole % step_ms for whole in (look_ms, settle_ms, elapsed_ms)):
            raise SimulatorError(
                f"step_ms {step_ms}: look_ms {look_ms}, settle_ms {settle_ms} and the {elapsed_ms} ms that have passed "
                "must be whole multiples of it"
            )
        self._steps, self._step_ms, self._settle_ms = elapsed_ms // step_ms, step_ms, settle_ms
        for unit in self._units.values():
            unit.pace(look_ms)
        self._every = [(unit, max(1, unit.update_ms // step_ms)) for unit in self._units.values()]

    def plan(self, programme: Programme) -> None:
        """The days that begin from now on follow this programme; the one that runs goes on as it was."""
        layout = replace(self.layout, programme=programme)
        layout.check()
        self.layout = layout

    def moving(self) -> set[str]:
        """The tanks into or out of which something runs now, or drains."""
        return {name for r in self._running for name in (r.planned.tank, r.planned.into) if name}

    def supply_degC(self, tank: str) -> float:
        """How warm the newest load of a tank is, or was."""
        return self._tanks[tank].supply_degC

    def truth(self) -> dict[str, Truth]:
        """What is really in each tank."""
        return {name: tank.truth() for name, tank in self._tanks.items()}

    def unit(self, instrument: str) -> SimUnit:
        """The Modbus unit of an instrument. Raises `SimulatorError` for one that the farm does not have."""
        try:
            return self._units[instrument]
        except KeyError:
            known = ", ".join(self._units)
            raise SimulatorError(f"the farm has no instrument {instrument!r}; it has {known}") from None

    @property
    def units(self) -> tuple[SimUnit, ...]:
        return tuple(self._units.values())

    def wire(self, instrument: str) -> dict[str, float | None] | None:
        """What a correct reader gets from an instrument now, by signal; None while it is silent or refuses."""
        unit = self.unit(instrument)
        if unit.silent or unit.refusal is not None:
            return None
        image = self.answering(unit).image()
        return {
            signal.name: _decoded(signal)([image[signal.function, signal.address + k] for k in range(signal.words)])
            for signal in unit.layout.signals
        }

    def answering(self, unit: SimUnit) -> SimUnit:
        """The unit whose registers come when this one is asked: itself, unless another takes its place."""
        if unit.impostor is None:
            return unit
        where = unit.layout.gateway, unit.impostor
        return next((u for u in self._units.values() if (u.layout.gateway, u.layout.unit) == where), unit)

    def inject(
        self,
        instrument: str,
        kind: str,
        duration_s: float | None = None,
        *,
        value: float | None = None,
        after_s: float = 0.0,
    ) -> None:
        """Break an instrument now (or later), for a while or until `clear`. `kind` and `value`: see `FaultKind`."""
        start_ms = self._elapsed_ms + round(1000 * after_s)
        end_ms = None if duration_s is None else start_ms + round(1000 * duration_s)
        self._break(instrument, kind, value, start_ms, end_ms)

    def clear(self, instrument: str) -> None:
        """Mend an instrument, and forget the faults that it still had to come."""
        unit = self.unit(instrument)
        unit.mend(self._elapsed_ms)

    def start(self, planned: Planned) -> None:
        """Start a movement now, whatever the programme says; its `minute` is not looked at."""
        for name in (planned.tank, planned.into) if planned.act is Act.TRANSFER else (planned.tank,):
            if name not in self._tanks:
                raise SimulatorError(f"the farm has no tank {name!r}; it has {', '.join(self._tanks)}")
        self._running.append(self._begin(planned))

    def stop(self, tank: str) -> None:
        """Close what runs into or out of a tank."""
        for running in self._running:
            if tank in (running.planned.tank, running.planned.into):
                running.pump.stop()

    def generator(self, runs: bool) -> None:
        """Switch the generator on or off; it shakes the tanks that stand near it."""
        for tank in self._tanks.values():
            tank.surface.vibration_m = tank.layout.vibration_m if runs else 0.0

    # Everything below counts milliseconds from the farm's start.

    @property
    def _elapsed_ms(self) -> int:
        """How far the farm is; inside of `advance` the steps are ahead of the time last told."""
        return max(self._now_ms - self._start_ms, self._steps * self._step_ms)

    def _step(self, at_ms: int) -> None:
        self._programme(at_ms)
        if self._running:
            self._pump()
        else:
            for tank in self._tanks.values():
                tank.step(self._step_ms / 1000, 0.0, 0.0, 0.0, 0.0, 0.0)
        if at_ms % self._settle_ms == 0:
            air = self._weather.at(self._start_ms + at_ms)
            for tank in self._tanks.values():
                tank.settle(self._settle_ms / 1000, air)
            self._air(self._start_ms + at_ms)
        for unit, every in self._every:
            if self._steps % every == 0:
                unit.update(at_ms)

    def _air(self, time_ms: int, *, at_start: bool = False) -> None:
        ambient, humidity = self._weather.at(time_ms).ambient_degC, self._weather.humidity_percent(time_ms)
        for unit in self._units.values():
            if unit.gauge is not None:
                unit.gauge.cabinet.air(ambient, humidity, at_start=at_start)

    def _programme(self, at_ms: int) -> None:
        if at_ms >= (self._day + 1) * DAY_MS:
            self._next_day()
        today_ms = at_ms - self._day * DAY_MS
        while self._due and self._due[-1].minute * _MINUTE_MS <= today_ms:
            self._running.append(self._begin(self._due.pop()))
        while self._generator and self._generator[-1][0] <= today_ms:
            self.generator(self._generator.pop()[1])

    def _next_day(self) -> None:
        """Lay out a day's programme, the latest first."""
        self._day += 1
        programme, base_ms = self.layout.programme, self._day * DAY_MS
        self._due = sorted(programme.movements, key=lambda planned: -planned.minute)
        switches = [(a, True) for a, _ in programme.generator] + [(b, False) for _, b in programme.generator]
        self._generator = sorted(((round(m * _MINUTE_MS), on) for m, on in switches), reverse=True)
        for one in programme.faults:
            start_ms = base_ms + round(one.minute * _MINUTE_MS)
            self._break(one.instrument, one.kind, one.value, start_ms, start_ms + round(one.minutes * _MINUTE_MS))

    def _break(self, instrument: str, kind: str, value: float | None, start_ms: int, end_ms: int | None) -> None:
        unit = self.unit(instrument)
        unit.break_down(fault(instrument, kind, value, start_ms, end_ms), self._elapsed_ms)

    def _begin(self, planned: Planned, under_way: bool = False) -> _Running:
        full_m3ps = planned.flow_m3_per_h / 3600
        if not (math.isfinite(full_m3ps) and full_m3ps > 0):
            raise SimulatorError(f"tank {planned.tank}: flow {planned.flow_m3_per_h:g} m3/h; give one above 0")
        taking_in = planned.act in (Act.RECEIVE, Act.TRANSFER)
        if planned.volume_m3 is None and planned.to_level_m is None:
            raise SimulatorError(f"tank {planned.tank}: a movement needs an end; give volume_m3 or to_level_m")
        if planned.to_level_m is not None and not taking_in:
            raise SimulatorError(f"tank {planned.tank}: only what comes in can end at a level; give volume_m3")
        if planned.act is Act.RECEIVE:
            self._tanks[planned.tank].new_supply()
        pump = Movement(
            full_m3ps,
            limit_m3=planned.volume_m3,
            slow_start=taking_in,
            drain_back_m3=0.0 if planned.act is Act.DRAW_WATER else planned.drain_back_m3,
            under_way=under_way,
        )
        return _Running(planned, pump)

    def _pump(self) -> None:
        """One step of all pumps, then of all tanks with what the pumps moved."""
        dt_s = self._step_ms / 1000
        received = dict.fromkeys(self._tanks, 0.0)
        heat = dict.fromkeys(self._tanks, 0.0)
        issued = dict.fromkeys(self._tanks, 0.0)
        inflow = dict.fromkeys(self._tanks, 0.0)
        outflow = dict.fromkeys(self._tanks, 0.0)
        for running in self._running:
            planned, pump = running.planned, running.pump
            source = self._tanks[planned.tank]
            self._ends(running)
            moved, back = pump.step(dt_s), pump.drain(dt_s)
            if planned.act is Act.DRAW_WATER:
                if moved:
                    source.draw_water(moved)
                outflow[planned.tank] += pump.flow_m3ps
                continue
            into = planned.into if planned.act is Act.TRANSFER else planned.tank
            warm = source.supply_degC if planned.act is Act.RECEIVE else source.bottom_degC
            taken_in = back if planned.act is Act.ISSUE else moved + back
            received[into] += taken_in
            heat[into] += taken_in * warm
            if planned.act is not Act.ISSUE:
                inflow[into] += pump.flow_m3ps
            if planned.act is not Act.RECEIVE:
                issued[planned.tank] += moved
                outflow[planned.tank] += pump.flow_m3ps
        for name, tank in self._tanks.items():
            warm = heat[name] / received[name] if received[name] else 0.0
            tank.step(dt_s, received[name], warm, issued[name], inflow[name], outflow[name])
        self._running = [r for r in self._running if r.pump.stage is not Stage.DONE]

    def _ends(self, running: _Running) -> None:
        """A pump stops at the level it was sent to, and before its source runs out."""
        planned, pump = running.planned, running.pump
        if pump.stage is not Stage.RUNNING:
            return
        if planned.to_level_m is not None:
            into = self._tanks[planned.into or planned.tank]
            if into.level_m >= planned.to_level_m:
                pump.stop()
        if planned.act is not Act.RECEIVE:
            source = self._tanks[planned.tank]
            if source.level_m <= source.layout.least_m:
                pump.stop()
