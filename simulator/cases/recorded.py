"""Runs a farm and writes down what its readers see: each loop once a period, the signals around it every five seconds.

Knows rows; refuses to know what they mean. Nothing in a row is taken from the truth, except the meter's flow, which
gets an error of its own.
"""

from collections.abc import Sequence
from random import Random
from typing import Final, NamedTuple

from simulator.chance import stream
from simulator.farm import Farm

AROUND_EVERY: Final = 5
OK: Final = "ok"
TIMEOUT: Final = "timeout"


class Row(NamedTuple):
    """One poll of a loop. level_m: what its indicator makes of it (or the gauge's own digital level)."""

    time_ms: int
    outcome: str
    current_mA: float | None
    level_m: float | None


class Seen(NamedTuple):
    """A signal of the surroundings at one moment."""

    time_ms: int
    value: float


class Dip(NamedTuple):
    """A dip by hand, and what the loop showed then. Both are innages."""

    time_ms: int
    dip_m: float
    gauge_m: float


class Loop(NamedTuple):
    """What was seen of one loop. around: by name of the signal. metered: m3/h of what a meter saw, + fills its tank."""

    rows: list[Row]
    around: dict[str, list[Seen]]
    metered: list[Seen]


class Case(NamedTuple):
    """A labelled loop. pointed_ms: the moment at which somebody looks who saw that something is wrong.

    noise_mA: the gauge's own.
    area_m2: cross-section of the tank by its drawing. shares_supply, shares_bus: names of other loops of the case.
    """

    label: str
    seed: int
    loop: Loop
    others: dict[str, Loop]
    pointed_ms: int
    at_4mA_m: float
    at_20mA_m: float
    blocking_m: float | None
    loop_powered: bool
    step_mA: float | None
    noise_mA: float
    area_m2: float
    shares_supply: tuple[str, ...]
    dips: list[Dip]


class Recorder:
    """Moves a farm on and keeps what its readers see. metered: tanks whose flow a meter tells."""

    def __init__(
        self, farm: Farm, seed: int, *, missed_frac: float, metered: Sequence[str] = (), period_s: int = 1
    ) -> None:
        self.farm = farm
        self.loops = {name: Loop([], {}, []) for name in farm.instruments if farm.unit(name).gauge is not None}
        self._missed_frac = missed_frac
        self._metered = metered
        self._chance = stream(seed, "missed")
        self._meter_gain = {name: stream(seed, name, "meter").gauss(1, 0.002) for name in farm.tanks}
        self._period_s = period_s
        self._second = 0

    def run(self, seconds: int) -> None:
        """So many seconds, or the few more until the next poll."""
        until = self._second + seconds
        while self._second < until:
            self._second += self._period_s
            at = self.farm.start_ms + 1000 * self._second
            self.farm.advance(at)
            for name, loop in self.loops.items():
                loop.rows.append(self._row(at, name))
            if self._second % AROUND_EVERY == 0:
                self._look_around(at)

    def _row(self, at: int, name: str) -> Row:
        read = None if self._chance.random() < self._missed_frac else self.farm.wire(name)
        if read is None:
            return Row(at, TIMEOUT, None, None)
        level = read.get("level")
        return Row(at, OK, read["current"], None if level is None else level / 1000)

    def _look_around(self, at: int) -> None:
        truth = self.farm.truth() if self._metered else {}
        for name, loop in self.loops.items():
            unit = self.farm.unit(name)
            gauge, tank = unit.gauge, unit.layout.tank
            assert gauge is not None  # only such loops are recorded
            cabinet, chance = gauge.cabinet, self._chance
            for signal, value in (
                ("heater_current", max(0.0, cabinet.heater_mA + chance.gauss(0, 0.2))),
                ("supply_voltage", max(0.0, cabinet.supply_V + chance.gauss(0, 0.02))),
                ("field_current", max(0.0, gauge.field_mA + chance.gauss(0, 0.004))),
                ("humidity", cabinet.humidity_percent + chance.gauss(0, 1.5)),
                ("ambient_temperature", cabinet.ambient_degC + chance.gauss(0, 0.3)),
            ):
                loop.around.setdefault(signal, []).append(Seen(at, value))
            if tank in self._metered:
                flow = (truth[tank].inflow_m3_per_h - truth[tank].outflow_m3_per_h) * self._meter_gain[tank]
                loop.metered.append(Seen(at, flow))

    def dip(self, instrument: str, person: Random) -> Dip | None:
        """Somebody dips the tank of an instrument now; None where the loop shows nothing, or while the tank is moved:
        nobody opens a hatch then. Two readings that agree.
        """
        unit = self.farm.unit(instrument)
        row = self.loops[instrument].rows[-1]
        if row.current_mA is None or unit.gauge is None:
            return None
        truth = self.farm.truth()[unit.layout.tank]
        if truth.inflow_m3_per_h or truth.outflow_m3_per_h:
            return None
        return Dip(
            row.time_ms, round(truth.level_m + person.gauss(0, 0.0009), 3), unit.gauge.of_current(row.current_mA)
        )
