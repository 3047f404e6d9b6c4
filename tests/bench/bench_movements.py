"""Movements found on simulated farms: what is found, what is found that was none, how late, how well known.

Detection limit: the smallest volume of which 95 % are found while there is at most one false movement in a tank-month.
A year is that of Miami (NREL's typical year TMY2, open data, shipped by the package pvlib) at a poll of 10 s, a farm of
its own each month, nearly full to nearly empty by turns. Weather of quiet farms is invented, every other one swings by
16.5 K. Coverage is judged twice: by farms with errors as large as the site file says, and by farms with errors that it
does not know (`movementfarms.Drawn`). The first tells that the budget adds up, the second whether its assumptions hold.
"""

import argparse
import math
import statistics
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Final, NamedTuple

from simulator.chance import stream
from simulator.layout import STEP_MS, Act, Planned
from simulator.movement import SLOW_FRAC, Movement, Stage
from simulator.weather import Weather
from simulator.weatheryear import miami
from tests.bench.movementfarms import COARSE_MS, TANK, Drawn, Watched, sky_of

FIRST_SEED: Final = 7_000
BUILDING_SEED: Final = 300
"""Seeds for judging stand apart from those that thresholds and models were made with."""
DAY_S: Final = 86_400
YEAR_STEP_MS: Final = 10_000
MONTHS: Final = 12
MONTH_LEVELS_M: Final = (11.5, 8.5, 5.5, 2.5)
LIMIT_M3: Final = 0.30
"""What is tried as the limit: 3.8 mm of a tank of 10 m."""
SHARES: Final = (0.5, 1.0, 1.5, 2.0, 3.0)
RATES: Final = (1000, 100, 20)
AREA_M2: Final = 78.54
NOISE_M: Final = 0.00042
"""Register step (1 mm / sqrt(12)) and ripple (0.3 mm) of the simulated gauge: computed."""
AT_REST_S: Final = 45_000
"""Longer than the site's time after which liquid counts as at rest."""


def quiet(tank_days: int, farms: int, seed: int = FIRST_SEED) -> int:
    """False movements in so many days of farms in which nothing moves; every other one in air of 16.5 K up and down."""
    false = 0
    for k in range(farms):
        weather = Weather(stream(seed + k, "weather"), swing_degC=16.5) if k % 2 else None
        watched = Watched(seed + k, 10, weather, step_ms=COARSE_MS)
        watched.run(tank_days * DAY_S // farms)
        false += len(watched.found)
    return false


class Month(NamedTuple):
    """False movements, and by how much the level went up and down meanwhile, in mm: the day's, the largest."""

    false: int
    day_mm: float
    most_mm: float


def month(number: int, days: int, seed: int = FIRST_SEED) -> Month:
    """Days from the first of a month of Miami's typical year, nothing moving, at a level of its own."""
    start_ms = round(datetime(2023, number, 1, tzinfo=UTC).timestamp() * 1000)
    watched = Watched(
        seed + 600 + number, 10, miami(stream(seed + number, "clouds")), step_ms=YEAR_STEP_MS,
        level_m=MONTH_LEVELS_M[number % len(MONTH_LEVELS_M)], drawn=Drawn.BUDGET, start_ms=start_ms,
    )  # fmt: skip
    swings = []
    for _ in range(days):
        levels = []
        for _ in range(24):
            watched.run_long(3600)
            levels.append(watched.truth().level_m)
        swings.append(1000 * (max(levels) - min(levels)))
    return Month(len(watched.found), statistics.median(swings), max(swings))


def recall(share: float, movements: int, seed: int) -> tuple[int, int]:
    """(found, movements) of a volume, in and out in turns at 6 to 72 m3/h, one an hour."""
    chance, hits, done = stream(seed, "recall"), 0, 0
    watched = Watched(seed, 10, step_ms=COARSE_MS)
    watched.run(3600)
    volume = LIMIT_M3 * share
    while done < movements:
        begun_s = watched.second
        act = Act.ISSUE if done % 2 else Act.RECEIVE
        flow = chance.choice((6.0, 24.0, 72.0))
        watched.farm.start(Planned(0, act, TANK, flow, volume_m3=volume, drain_back_m3=0.0))
        watched.run(3600)
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


def allowed_s(litres_per_min: float, poll_s: int, damping_s: float) -> float:
    """max(2 polls + known lag, 3 x noise / rate of rise): the house's rule."""
    return max(2 * poll_s + damping_s, 3 * NOISE_M / (litres_per_min / 60_000 / AREA_M2))


class Covered(NamedTuple):
    """One movement: errors and told expanded uncertainties of GSV, GOV and TOV, m3."""

    errors: tuple[float, float, float]
    u95: tuple[float, float, float]


def coverage(farms: int, seed: int = FIRST_SEED, drawn: Drawn = Drawn.BUDGET) -> list[Covered]:
    """Of one movement a farm, every error drawn anew: a receipt, or an issue from a tank that has lain at rest."""
    told = []
    for k in range(farms):
        chance = stream(seed + 500 + k, "coverage")
        level_m, volume = chance.uniform(3.0, 11.0), chance.uniform(5, 60)
        sky = sky_of(seed + 500 + k) if drawn is Drawn.OUTSIDE else None
        watched = Watched(seed + 500 + k, 10, sky, level_m=level_m, step_ms=COARSE_MS, drawn=drawn)
        act = Act.ISSUE if k % 2 else Act.RECEIVE
        watched.run(1800 if act is Act.RECEIVE else AT_REST_S)
        before = watched.truth()
        watched.farm.start(Planned(0, act, TANK, 60, volume_m3=volume))
        watched.run(math.ceil(volume * 6) * 10 + 2400)
        after = watched.truth()
        for one in watched.finals()[-1:]:
            true = (
                after.standard_m3 - before.standard_m3,
                after.volume_m3 - after.water_m3 - before.volume_m3 + before.water_m3,
                after.volume_m3 - before.volume_m3,
            )
            names = ("gsv", "gov", "tov")
            off = [one.body[f"{name}_m3"] - value for name, value in zip(names, true, strict=True)]
            u95 = [one.body[f"{name}_u95_m3"] for name in names]
            told.append(Covered((off[0], off[1], off[2]), (u95[0], u95[1], u95[2])))
    return told


def unordered(litres_per_min: int, seed: int) -> float:
    """How long an issue runs until it is told as begun, in s."""
    watched = Watched(seed, 10)
    watched.run(3600)
    watched.farm.start(Planned(0, Act.ISSUE, TANK, litres_per_min * 0.06, volume_m3=100))
    begun_s = watched.second
    while not watched.found and watched.second < begun_s + 7200:
        watched.run(10)
    return watched.second - begun_s


# What is printed


def tell_quiet(seed: int, short: bool) -> None:
    days, farms = (4, 2) if short else (120, 12)
    false = quiet(days, farms, seed)
    print(f"quiet: {false} false movements in {days} tank-days of {farms} farms", flush=True)


def tell_year(seed: int, short: bool) -> None:
    print("year of Miami, poll 10 s: month, days, level m, false movements, level by night and day: median, most mm")
    false = days = 0
    begun = time.process_time()
    for number in range(1, MONTHS + 1):
        if short and number not in (1, 6):
            continue
        some = 2 if short else 30 + (number % 2)
        one = month(number, some, seed)
        false, days = false + one.false, days + some
        level = MONTH_LEVELS_M[number % len(MONTH_LEVELS_M)]
        print(f"  {number:2} {some:3} {level:5.1f} {one.false:3}   {one.day_mm:.1f} {one.most_mm:.1f}", flush=True)
    print(f"  {false} false movements in {days} tank-days: {false / days * 365:.1f} a tank-year", flush=True)
    print(f"  ({time.process_time() - begun:.0f} s of a core)", flush=True)


def tell_recall(seed: int, short: bool) -> None:
    each, farms = (10, 1) if short else (100, 3)
    print(f"recall by volume; 1 = {1000 * LIMIT_M3:.0f} L, {1000 * LIMIT_M3 / AREA_M2:.1f} mm of a tank of 10 m")
    for share in SHARES:
        hits = total = 0
        for k in range(farms):
            found, tried = recall(share, each, seed + 100 + k)
            hits, total = hits + found, total + tried
        print(f"  {share:3.1f}  {hits} of {total}  {100 * hits / total:.1f} %", flush=True)


def tell_timing(seed: int, short: bool) -> None:
    print("timing, s: L/min, poll, time constant; worst |error| of start and of end of issues, of receipts; allowed")
    print(f"  (a receipt starts with {SLOW_FRAC:.0%} of its flow: what is allowed of its start, by that rate, last)")
    for rate in RATES:
        for poll in (5,) if short else (1, 5):
            for damping in (3.0,) if short else (0.0, 10.0, 30.0):
                errors = [list(timing(rate, poll, damping, seed + 300 + k)) for k in range(1 if short else 4)]
                cells = []
                for act in (0, 1):
                    for side in (0, 1):
                        worst = max((abs(farm[act][side]) for farm in errors if len(farm) == 2), default=math.nan)
                        cells.append(f"{worst:5.0f}")
                lost = sum(len(farm) != 2 for farm in errors)
                most, slow = allowed_s(rate, poll, damping), allowed_s(rate * SLOW_FRAC, poll, damping)
                print(
                    f"  {rate:5} {poll:3} {damping:4.0f}  {' '.join(cells)}   {most:4.0f} {slow:4.0f}"
                    f"   of {len(errors)} farms, {lost} with another count",
                    flush=True,
                )


def tell_unordered(seed: int, short: bool) -> None:
    for rate, rule in ((100, 600), (20, 3600)):
        took = [unordered(rate, seed + 400 + k) for k in range(1 if short else 6)]
        print(f"told as begun, {rate} L/min: after {min(took):.0f} to {max(took):.0f} s (rule: {rule} s)", flush=True)


def tell_coverage(seed: int, short: bool) -> None:
    for drawn in (Drawn.BUDGET, Drawn.OUTSIDE):
        print(f"coverage, errors {drawn.value}:", flush=True)
        _tell_covered(coverage(10 if short else 240, seed, drawn))


def _tell_covered(some: Sequence[Covered]) -> None:
    for place, name in enumerate(("GSV", "GOV", "TOV")):
        off, u95 = [one.errors[place] for one in some], [one.u95[place] for one in some]
        held = sum(abs(error) <= told for error, told in zip(off, u95, strict=True))
        spread = 2 * math.sqrt(sum(error * error for error in off) / len(off))
        print(
            f"  {name}: {held} of {len(off)}, {100 * held / len(off):.1f} %; median u95 "
            f"{statistics.median(u95):.3f} m3, twice the true spread {spread:.3f} m3, ratio "
            f"{statistics.median(u95) / spread:.2f}",
            flush=True,
        )


PARTS: Final = {
    "quiet": tell_quiet, "year": tell_year, "recall": tell_recall, "timing": tell_timing, "unordered": tell_unordered,
    "coverage": tell_coverage,
}  # fmt: skip


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--building", action="store_true", help="the seeds that thresholds were made with")
    parser.add_argument("--part", choices=tuple(PARTS))
    args = parser.parse_args(argv)
    seed = BUILDING_SEED if args.building else FIRST_SEED
    for name, tell in PARTS.items():
        if args.part in (None, name):
            tell(seed, args.short)


if __name__ == "__main__":
    main()
