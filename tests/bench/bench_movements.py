"""Movements found on simulated farms: what is found, what is found that was none, how late, how well known.

The farm's physics is harder than what the tracker assumes and is none of ours (`simulator`): layers, a probe that lags
and sits in one place, a roof that the gauge hangs from, table and tilt drawn by seed, 1 mm registers, ramps.
Detection limit: the smallest volume of which 95 % are found while there is at most one false movement in a tank-month.
Every other quiet farm stands in air of 16.5 K up and down, the demo's own is 4.5 K.
"""

import argparse
import math
import statistics
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from gaugehouse.core import Tick
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Instant, Sample
from simulator.chance import stream
from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.layout import STEP_MS, Act, Planned, Programme, UnitLayout
from simulator.movement import Movement, Stage
from simulator.tank import Truth
from simulator.weather import Weather

START_MS: Final = 1_700_000_000_000
FIRST_SEED: Final = 7_000
"""Apart from the seeds that tests and thresholds were made with."""
DAY_S: Final = 86_400
TANK: Final = "north"
COARSE_MS: Final = 2000
"""The farm's own step where many days are watched at a poll of 10 s."""
LIMIT_M3: Final = 0.36
"""What is tried as the limit: 4.6 mm of a tank of 10 m."""
SHARES: Final = (0.5, 1.0, 1.5, 2.0, 3.0)


class Found(NamedTuple):
    """A movement as the newest entry tells it."""

    body: dict[str, Any]

    @property
    def end_s(self) -> float:
        return float((self.body["end_ms"] - START_MS) / 1000)

    @property
    def start_s(self) -> float:
        return float((self.body["start_ms"] - START_MS) / 1000)


def _gauged(unit: UnitLayout, damping_s: float | None, step_ms: int) -> UnitLayout:
    gauge = unit.gauge
    if gauge is None:
        return unit
    damping_s = gauge.damping_s if damping_s is None else damping_s
    return replace(unit, gauge=replace(gauge, damping_s=damping_s, update_ms=max(gauge.update_ms, step_ms)))


class Watched:
    """One tank of the demo and a core that reads it."""

    def __init__(
        self,
        seed: int,
        poll_s: int = 10,
        swing_degC: float | None = None,
        damping_s: float | None = None,
        level_m: float | None = None,
        step_ms: int = STEP_MS,
    ) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = write_demo(Path(folder), [1, 2], f"{poll_s} s")
            if damping_s is not None:
                text = path.read_text(encoding="utf-8")
                path.write_text(text.replace('damping = "2 s"', f'damping = "{damping_s:g} s"', 1), encoding="utf-8")
            site = load_site(path)
        self._core = core_of(site)
        tanks = tuple(
            replace(tank, level_m=tank.level_m if level_m is None else level_m)
            for tank in DEMO.tanks
            if tank.id == TANK
        )
        units = tuple(_gauged(unit, damping_s, step_ms) for unit in DEMO.units if unit.tank == TANK)
        layout = replace(DEMO, tanks=tanks, units=units, programme=Programme())
        weather = None if swing_degC is None else Weather(stream(seed, "weather"), swing_degC=swing_degC)
        self.farm = Farm(seed, START_MS, layout, weather, step_ms)
        self._poll_s, self.second, self._seq = poll_s, 0, 0
        self.found: dict[int, Found] = {}

    def run(self, seconds: int) -> None:
        for _ in range(seconds // self._poll_s):
            self.second += self._poll_s
            ms = START_MS + 1000 * self.second
            self.farm.advance(ms)
            samples = []
            for name in self.farm.instruments:
                values = self.farm.wire(name)
                samples.append(Sample(name, ms, TIMEOUT if values is None else OK, values or {}))
            self._seq += 1
            for decision in self._core.step(Tick(Instant(self._seq, ms, 1000 * self.second), samples)).decisions:
                if decision.kind == "movement":
                    self.found[decision.body["number"]] = Found(dict(decision.body))

    def truth(self) -> Truth:
        return self.farm.truth()[TANK]

    def finals(self) -> list[Found]:
        return [one for one in self.found.values() if one.body["stage"] == "final"]


def quiet(tank_days: int, farms: int) -> int:
    """False movements in so many days of farms in which nothing moves; every other one in air of 16.5 K up and down."""
    false = 0
    for k in range(farms):
        watched = Watched(FIRST_SEED + k, 10, 16.5 if k % 2 else None, step_ms=COARSE_MS)
        watched.run(tank_days * DAY_S // farms)
        false += len(watched.finals())
    return false


def recall(share: float, movements: int, seed: int) -> tuple[int, int]:
    """(found, movements) of a volume, in and out in turns at 6 to 72 m3/h, one each hour and a half."""
    chance, hits, done = stream(seed, "recall"), 0, 0
    watched = Watched(seed, 10, step_ms=COARSE_MS)
    watched.run(3600)
    volume = LIMIT_M3 * share
    while done < movements:
        begun_s = watched.second
        act = Act.ISSUE if done % 2 else Act.RECEIVE
        watched.farm.start(Planned(0, act, TANK, chance.choice((6.0, 24.0, 72.0)), volume_m3=volume, drain_back_m3=0.0))
        watched.run(5400)
        sign = -1 if act is Act.ISSUE else 1
        hits += any(
            begun_s - 600 <= one.start_s < begun_s + 900 and one.body["tov_m3"] * sign > 0 for one in watched.finals()
        )
        done += 1
    return hits, done


def ends(flow: float, volume_m3: float, act: Act) -> float:
    """How long after its start a pump stands still, in s, by the farm's own pump, stepped apart from any tank."""
    pump, seconds = Movement(flow / 3600, limit_m3=volume_m3, slow_start=act is Act.RECEIVE), 0.0
    while pump.stage in (Stage.RUNNING, Stage.STOPPING):
        pump.step(STEP_MS / 1000)
        seconds += STEP_MS / 1000
    return seconds


def timing(litres_per_min: int, poll_s: int, damping_s: float, seed: int) -> Iterator[tuple[float, float]]:
    """Errors in s of start and end of an issue and a receipt: found less true."""
    flow = litres_per_min * 0.06
    volume = litres_per_min / 1000 * (15 if litres_per_min > 50 else 60)
    watched = Watched(seed, poll_s, damping_s=damping_s)
    watched.run(2400)
    for act in (Act.ISSUE, Act.RECEIVE):
        begun_s, before = watched.second, set(watched.found)
        watched.farm.start(Planned(0, act, TANK, flow, volume_m3=volume, drain_back_m3=0.0))
        took_s = ends(flow, volume, act)
        watched.run((round(took_s) + 2700) // 10 * 10)
        for number, one in watched.found.items():
            if number not in before and one.body["stage"] == "final":
                yield one.start_s - begun_s, one.end_s - begun_s - took_s


def coverage(farms: int) -> tuple[list[float], list[float], list[float]]:
    """Of one movement a farm, biases drawn anew: error of GSV and its told u95, both in m3, and u95 of GOV."""
    errors, told, gross = [], [], []
    for k in range(farms):
        chance = stream(FIRST_SEED + 500 + k, "coverage")
        watched = Watched(FIRST_SEED + 500 + k, 10, level_m=chance.uniform(3.0, 11.0), step_ms=COARSE_MS)
        watched.run(1800)
        before = watched.truth()
        act = Act.ISSUE if k % 2 else Act.RECEIVE
        volume = chance.uniform(5, 60)
        watched.farm.start(Planned(0, act, TANK, 60, volume_m3=volume))
        watched.run(math.ceil(volume * 6) * 10 + 2400)
        after = watched.truth()
        for one in watched.finals()[:1]:
            errors.append(one.body["gsv_m3"] - (after.standard_m3 - before.standard_m3))
            told.append(one.body["gsv_u95_m3"])
            gross.append(one.body["gov_u95_m3"])
    return errors, told, gross


def unordered(litres_per_min: int, seed: int) -> float:
    """How long an issue runs until it is told as begun, in s."""
    watched = Watched(seed, 10)
    watched.run(3600)
    watched.farm.start(Planned(0, Act.ISSUE, TANK, litres_per_min * 0.06, volume_m3=100))
    begun_s = watched.second
    while not watched.found and watched.second < begun_s + 7200:
        watched.run(10)
    return watched.second - begun_s


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--part", choices=("quiet", "recall", "timing", "unordered", "coverage"))
    args = parser.parse_args(argv)
    short = args.short

    def wanted(part: str) -> bool:
        return args.part in (None, part)

    if wanted("quiet"):
        days, farms = (8, 4) if short else (120, 12)
        false = quiet(days, farms)
        print(
            f"quiet: {false} false movements in {days} tank-days of {farms} farms: {false / days * 365:.1f} a tank-year"
        )
    if wanted("recall"):
        each, farms = (20, 1) if short else (75, 2)
        print(f"recall by volume; 1 = {1000 * LIMIT_M3:.0f} L, {1000 * LIMIT_M3 / 78.54:.1f} mm of a tank of 10 m")
        for share in SHARES:
            hits = total = 0
            for k in range(farms):
                found, tried = recall(share, each, FIRST_SEED + 100 + k)
                hits, total = hits + found, total + tried
            print(f"  {share:3.1f}  {hits} of {total}  {100 * hits / total:.1f} %", flush=True)
    if wanted("timing"):
        print("timing: worst and median |error| in s, of start and of end; L/min, poll s, damping s")
        for rate in (1000, 100, 20):
            for poll in (5,) if short else (1, 5):
                for damping in (3.0,) if short else (0.0, 10.0, 30.0):
                    seeds = range(FIRST_SEED + 300, FIRST_SEED + (301 if short else 302))
                    errors = [pair for seed in seeds for pair in timing(rate, poll, damping, seed)]
                    starts, stops = ([abs(pair[k]) for pair in errors] for k in (0, 1))
                    cells = "  ".join(f"{max(some):6.0f} {statistics.median(some):5.0f}" for some in (starts, stops))
                    print(f"  {rate:5} {poll:3} {damping:4.0f}   {cells}   of {len(errors)}", flush=True)
    if wanted("unordered"):
        for rate, rule in ((100, 600), (20, 3600)):
            took = [unordered(rate, FIRST_SEED + 400 + k) for k in range(1 if short else 6)]
            print(
                f"told as begun, {rate} L/min: after {min(took):.0f} to {max(took):.0f} s (rule: {rule} s)", flush=True
            )
    if wanted("coverage"):
        off, told, gross = coverage(10 if short else 200)
        held = sum(abs(error) <= u95 for error, u95 in zip(off, told, strict=True))
        spread = 2 * math.sqrt(sum(error * error for error in off) / len(off))
        print(
            f"coverage of GSV: {held} of {len(off)}, {100 * held / len(off):.1f} %; median u95 "
            f"{statistics.median(told):.3f} m3, twice the true spread {spread:.3f} m3, ratio "
            f"{statistics.median(told) / spread:.2f}; median u95 of GOV {statistics.median(gross):.3f} m3"
        )


if __name__ == "__main__":
    main()
