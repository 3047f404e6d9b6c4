"""A tank of the demo that stands in Miami's weather for weeks, and a leak test at the end of each of its days.

The physics are the simulator's own: six layers and currents between them, a thermometer of one or several spots that
lag and are wrong, a roof that the gauge hangs from and that the sun moves, table, tilt and settings drawn by seed,
registers of 0.1 mm and 0.1 degC. Now and then fuel goes out and other fuel comes in. What the test is given is what
the daemon would keep: readings of the core, and the movements that it found.
"""

import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final, NamedTuple

from gaugehouse.core import Tick
from gaugehouse.leakwork import BUCKET_MS, Outcome, Point, tested
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from inventory.leak import Refusal, Said
from inventory.leakrules import HOUR_MS, LeakRules
from inventory.quiet import DAY_MS, Disturbance, Stretch, touching
from models.reading import OK, TIMEOUT, Instant, Reading, Sample
from simulator.chance import stream
from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.layout import Act, Planned, Programme
from simulator.weatheryear import miami

TANK: Final = "ridge"
YEAR_MS: Final = 1_767_225_600_000  # 2026-01-01T00:00Z
TEST_HOUR: Final = 15  # 10:00 of Miami
STEP_MS: Final = 10_000
POLL_S: Final = 120
SPOTS_M: Final = tuple(0.5 + 1.1 * k for k in range(12))


class Night(NamedTuple):
    """One test: the leak that was there, its share of what the last test had stated as detectable, what was found."""

    leak_L_per_h: float
    share: float
    outcome: Outcome


class Nights:
    """One farm. several: its thermometer has a spot at each of `SPOTS_M`, each a little wrong; else one."""

    def __init__(self, seed: int, *, several: bool, day: int | None = None) -> None:
        luck = stream(seed, "nights")
        with tempfile.TemporaryDirectory() as folder:
            site = load_site(write_demo(Path(folder), [1, 2], f"{POLL_S} s"))
        self.site = replace(site, leak=LeakRules(tanks=(TANK,), averaging=(TANK,) if several else ()))
        self._core = core_of(self.site)
        start_ms = YEAR_MS + (luck.randrange(365) if day is None else day) * DAY_MS + TEST_HOUR * HOUR_MS
        sky = miami(stream(seed, "weather"))
        level_m, warm = luck.uniform(5.0, 11.5), sky.at(start_ms).ambient_degC + luck.uniform(-1.0, 1.5)
        tanks = tuple(
            replace(t, level_m=level_m, temperature_degC=warm, supply_degC=warm + luck.uniform(-1.5, 3.0),
                    evaporates_m3_per_h=2e-6)
            for t in DEMO.tanks if t.id == TANK
        )  # fmt: skip
        units = []
        for unit in DEMO.units:
            if unit.tank == TANK and unit.gauge is not None and unit.probe is not None:
                probe = replace(unit.probe, spots_m=SPOTS_M, bias_degC=0.1) if several else unit.probe
                units.append(replace(unit, gauge=replace(unit.gauge, update_ms=STEP_MS), probe=probe))
        layout = replace(DEMO, tanks=tanks, units=tuple(units), programme=Programme())
        self.farm = Farm(seed, start_ms, layout, sky, STEP_MS)
        self._luck = luck
        self._ms, self._start_ms, self._seq = start_ms, start_ms, 0
        self._sums: dict[int, list[Reading]] = {}
        self._moves: dict[int, Disturbance] = {}

    def run_to(self, to_ms: int) -> None:
        while self._ms < to_ms:
            self._ms += 1000 * POLL_S
            self.farm.advance(self._ms)
            samples = []
            for name in self.farm.instruments:
                values = self.farm.wire(name)
                samples.append(Sample(name, self._ms, TIMEOUT if values is None else OK, values or {}))
            self._seq += 1
            result = self._core.step(Tick(Instant(self._seq, self._ms, self._ms - self._start_ms), samples))
            for reading in result.readings:
                if reading.tank == TANK and reading.gsv_m3 is not None:
                    self._sums.setdefault((self._ms - 1) // BUCKET_MS, []).append(reading)
            for decision in result.decisions:
                if decision.kind == "movement":
                    self._take(dict(decision.body))

    @property
    def begun_ms(self) -> int:
        return self._start_ms

    def readings(self) -> list[Reading]:
        """Those that are still kept, oldest first."""
        return [reading for bucket in sorted(self._sums) for reading in self._sums[bucket]]

    def _take(self, body: dict[str, object]) -> None:
        number, start, end = body["number"], body["start_ms"], body["end_ms"]
        assert isinstance(number, int)
        assert isinstance(start, int)
        assert end is None or isinstance(end, int)
        if body["stage"] == "withdrawn":
            self._moves.pop(number, None)
            return
        rules = self.site.leak
        into = body["kind"] not in ("issue", "transfer_out")
        wait = rules.wait_after_receipt_ms if into else rules.wait_after_issue_ms
        self._moves[number] = Disturbance(start, end, wait, str(body["kind"]))

    def test(self, window: Stretch) -> Outcome:
        """The test of a window, as `gaugehouse.leakwork.leak` does it from what is kept."""
        found = touching(window, self._moves.values())
        if found:
            return Outcome(TANK, window, None, (Said(Refusal.DISTURBED, found[0].what),), None)
        buckets = range(window.start_ms // BUCKET_MS, window.end_ms // BUCKET_MS)
        return tested(self.site, TANK, [_point(b, self._sums[b]) for b in buckets if b in self._sums], window)

    def exchange(self) -> None:
        """Fuel goes out and as much other fuel comes in."""
        volume = self._luck.uniform(20, 60)
        self.farm.start(Planned(0, Act.ISSUE, TANK, 72, volume_m3=volume))
        self.run_to(self._ms + 2 * HOUR_MS)
        self.farm.start(Planned(0, Act.RECEIVE, TANK, 90, volume_m3=volume))

    def days(self, count: int, cycle: int, share_of: Callable[[int], float]) -> Iterator[Night]:
        """A test after each day. cycle: every so many days fuel is exchanged. share_of: the leak of the k-th quiet day,
        as a share of the rate that the last test stated as detectable; none before there was one."""
        stated: float | None = None
        quiet = 0
        for day in range(count):
            begun_ms = self._ms
            leak = share = 0.0
            if day % cycle == 0:
                self.run_to(begun_ms + 2 * HOUR_MS)
                self.exchange()
            elif day % cycle > 1:
                share = share_of(quiet) if stated is not None else 0.0
                leak = share * (stated or 0.0)
                quiet += 1
            if leak > 0:
                self.farm.start(Planned(0, Act.ISSUE, TANK, leak / 1000, volume_m3=1000.0, drain_back_m3=0.0))
            self.run_to(begun_ms + DAY_MS)
            if leak > 0:
                self.farm.stop(TANK)
            outcome = self.test(Stretch(begun_ms, self._ms))
            if outcome.test is not None:
                stated = 1000 * outcome.test.detectable_m3_per_h
            yield Night(leak, share, outcome)
            self._sums.clear()


def _point(bucket: int, readings: list[Reading]) -> Point:
    """A mean of ten minutes, as a trend of the store gives it."""

    def mean(column: str) -> float:
        return math.fsum(getattr(reading, column) for reading in readings) / len(readings)

    water = mean("water_m") if all(reading.water_m is not None for reading in readings) else None
    names = ("gsv_m3", "tov_m3", "level_m", "temperature_degC")
    return Point(bucket * BUCKET_MS + BUCKET_MS // 2, *(mean(name) for name in names), water)
