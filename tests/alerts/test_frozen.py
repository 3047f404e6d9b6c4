"""Flat signals: frozen, saturated, or "cannot tell".

Source of the figures: tests/data/alarms/stuck_signal.csv (computed; the rule itself is common practice, no source).
"""

import json
import math
import random
from collections.abc import Iterator
from itertools import pairwise
from statistics import NormalDist

import pytest

from alerts.faults import FaultTracker
from alerts.frozen import NoiseFloor, Verdict, same_step, verdict
from models.reading import OK, Sample
from tests.alerts.timelines import change_words, instant, loop, play_faults, sample
from tests.reference import rows


@pytest.mark.parametrize("row", rows("alarms/stuck_signal.csv"), ids=lambda row: row["id"])
def test_probability_of_equal_readings(row: dict[str, str]) -> None:
    sd, step, n = float(row["sigma"]), float(row["quantum"]), int(row["N_samples"])
    assert same_step(step, sd) == pytest.approx(float(row["p_same_bin"]), abs=1e-8)
    assert same_step(step, sd) ** n == pytest.approx(float(row["p_N_identical"]), rel=1e-6)
    # none of the rows is improbable enough for a verdict; where one step is more than twice the noise none can come
    expected = Verdict.CANNOT_TELL if step > 2 * sd else Verdict.LIVES
    assert verdict(step, sd, n) is expected


def test_probability_of_one_step_agrees_with_the_standard_library_s_normal_distribution() -> None:
    for step, sd in ((0.3, 1.0), (1.0, 0.7), (2.0, 1.0)):
        assert same_step(step, sd) == pytest.approx(2 * NormalDist(0, sd).cdf(step / 2) - 1, abs=1e-12)


def test_a_step_just_over_twice_the_noise_gives_no_verdict_however_long_it_lasts() -> None:
    assert verdict(2.01, 1.0, 10**6) is Verdict.CANNOT_TELL
    assert verdict(1.99, 1.0, 10**6) is Verdict.FROZEN
    assert verdict(1.99, 1.0, 50) is Verdict.LIVES  # computed: 0.680^50 = 4e-9


@pytest.mark.parametrize("step", [0.0005, 0.5, 1.0, 1.8])
def test_one_block_s_noise_is_unbiased_by_rounding_and_by_a_filling_tank(step: float) -> None:
    # independent check: the standard deviation that the readings were made with; 400 blocks, each good to 9 %
    rng = random.Random(44)
    found = []
    for _ in range(400):
        floor = NoiseFloor(step)
        readings = [round((rng.gauss(500, 1.0) + 0.5 * i) / step) * step for i in range(61)]
        for before, after in pairwise(readings):
            floor.learn(0, 0, after - before)
        assert floor.sd is not None
        found.append(floor.sd)
    assert sum(found) / len(found) == pytest.approx(1.0, rel=0.03)


@pytest.mark.parametrize("step", [0.0005, 0.5, 1.0, 1.8])
def test_noise_is_learned_from_rounded_readings(step: float) -> None:
    # independent check: the standard deviation that the readings were made with
    rng = random.Random(43)
    floor = NoiseFloor(step)
    floor_step = step
    readings = [round(rng.gauss(500 + 0.01 * i, 1.0) / step) * step for i in range(601)]
    estimates = []
    for before, after in pairwise(readings):
        if floor.learn(0, 0, after - before):
            estimates.append(floor.sd)
    assert len(estimates) == 10
    assert estimates[0] == pytest.approx(1.0, rel=0.3)
    assert 0.6 < min(estimates) <= 1.3
    assert floor.step == floor_step


def test_an_unknown_step_is_the_smallest_difference_seen() -> None:
    floor = NoiseFloor(None)
    for difference in (0.4, -0.2, 0.6):
        floor.learn(0, 3, difference)
    assert floor.step == 0.2


def test_quiet_times_take_the_noise_down_fast_and_loud_ones_raise_it_slowly() -> None:
    floor = NoiseFloor(0.1)
    for i in range(60):
        floor.learn(0, 0, (-1.0) ** i)
    loud = floor.sd
    assert loud is not None
    floor.learn(0, 10 * 60, 0.0)  # ten blocks without a single change
    assert floor.sd == pytest.approx(loud * 0.8**10)
    quiet = floor.sd
    week_ms = 7 * 86_400_000
    for i in range(60):
        floor.learn(week_ms, 0, (-1.0) ** i)
    assert floor.sd == pytest.approx(2 * quiet)


def noisy(seconds: int, sd_mA: float, step_mA: float, at_mA: float = 12.0, seed: int = 1) -> Iterator[float]:
    rng = random.Random(seed)
    for _ in range(seconds):
        yield round(round(rng.gauss(at_mA, sd_mA) / step_mA) * step_mA, 6)


def run(tracker: FaultTracker, currents: Iterator[float] | list[float], first: int = 0) -> list[str]:
    words = []
    for second, current in enumerate(currents, first):
        words += [change_words(c) for c in tracker.step(instant(second), [sample(current, second)])]
    return words


def watching(step: float | None = 0.001, **changes: object) -> FaultTracker:
    return FaultTracker([loop(watched=(("current", step),), **changes)])


@pytest.mark.parametrize("step", [0.001, None], ids=["step given", "step learned"])
def test_a_flat_stretch_of_a_noisy_loop_is_frozen_from_its_first_sample(step: float | None) -> None:
    tracker = watching(step)
    assert run(tracker, noisy(300, 0.002, 0.001)) == []
    flat = [11.9] * 301
    assert run(tracker, flat[:-1], 300) == []
    assert not tracker.out_of_trust("L1")
    assert run(tracker, flat[-1:], 600) == ["declared frozen 300- 11.9..11.9"]
    assert tracker.current() == {"L1": "frozen"}
    assert tracker.out_of_trust("L1")
    assert run(tracker, [11.9, 11.902], 601) == []
    assert not tracker.out_of_trust("L1")
    assert run(tracker, noisy(6, 0.002, 0.001, seed=2), 603) == ["ended frozen 300-602 11.9..11.9"]


def test_a_step_larger_than_twice_the_noise_gives_no_verdict() -> None:
    tracker = watching(0.01)
    assert run(tracker, noisy(3000, 0.002, 0.01, at_mA=12.003)) == []
    assert run(tracker, [12.0] * 4000, 3000) == []
    assert tracker.verdict("L1") is Verdict.CANNOT_TELL


def test_unknown_noise_gives_no_verdict() -> None:
    assert run(watching(), [12.0] * 2000) == []
    assert run(watching(None), [12.0] * 2000) == []


def test_a_flat_stretch_shorter_than_the_site_s_patience_is_never_frozen() -> None:
    tracker = watching(frozen_after_ms=600_000)
    currents = [*noisy(300, 0.002, 0.001), *[11.9] * 600, *noisy(10, 0.002, 0.001)]
    assert run(tracker, currents) == []


def test_an_untouched_tank_on_a_coarse_register_is_not_frozen_after_a_day_of_waves() -> None:
    # a receipt with waves, then a calm night: the register moves every few minutes, then stands for half an hour
    tracker = watching(0.01)
    day = noisy(3 * 3600, 0.05, 0.01)
    evening = noisy(3600, 0.004, 0.01, at_mA=12.003, seed=5)
    assert run(tracker, [*day, *evening, *[12.0] * 1800]) == []


@pytest.mark.parametrize("edge", [3.8, 20.5])
def test_a_flat_signal_at_the_end_of_the_range_is_saturated_and_never_frozen(edge: float) -> None:
    tracker = watching()
    run(tracker, noisy(300, 0.002, 0.001))
    inwards = edge + (0.002 if edge < 4 else -0.002)
    flat = [edge, inwards] * 150 + [edge] * 1001
    found = run(tracker, flat, 300)
    low, high = sorted((edge, inwards))
    assert found == [f"declared saturated 300- {low:g}..{high:g}"]
    assert tracker.current() == {"L1": "saturated"}
    assert not tracker.out_of_trust("L1")  # its readings judge themselves
    assert run(tracker, [12.0, edge, 12.0, 12.1], 1601) == []
    assert run(tracker, [12.0, 12.2, 12.1], 1605) == [f"ended saturated 300-1603 {low:g}..{high:g}"]


def test_saturation_that_passes_into_failure_gives_two_rows() -> None:
    tracker = watching(frozen_after_ms=5000)
    found = run(tracker, [20.5] * 6 + [21.5] * 5)
    assert found == [
        "declared saturated 0- 20.5..20.5",
        "ended saturated 0-6 20.5..20.5",
        "declared fail_high 6- 21.5..21.5",
    ]


def test_a_gauge_that_sticks_slips_once_and_sticks_again_makes_one_row() -> None:
    tracker = watching(frozen_after_ms=60_000)
    run(tracker, noisy(120, 0.002, 0.001))
    found = run(tracker, [11.9] * 70 + [11.95] * 70 + [11.9, 11.93, 11.91, 11.92, 11.94, 11.95], 120)
    assert found == ["declared frozen 120- 11.9..11.9", "ended frozen 120-260 11.9..11.95"]


def test_a_relapse_brings_its_extremes_into_the_row() -> None:
    tracker = FaultTracker([loop(watched=(("level", 0.0001),), frozen_after_ms=60_000)])
    rng = random.Random(9)
    found = []
    for second in range(300):
        moves = second < 100 or second == 180 or second > 280
        level_m = round(rng.gauss(5, 0.001), 4) if moves else 5.0 if second < 180 else 5.1
        current_mA = {110: 12.0, 200: 11.0, 210: 13.0}.get(second, 12.5)
        values = {"level": level_m, "current": current_mA}
        found += [change_words(c) for c in tracker.step(instant(second), [Sample("L1", 1000 * second, OK, values)])]
    assert [word.split()[0] for word in found] == ["declared", "ended"]
    assert found[1].endswith(" 11..13")


def test_a_frozen_fault_of_a_register_that_the_site_no_longer_watches_ends() -> None:
    tracker = watching(frozen_after_ms=60_000)
    run(tracker, [*noisy(250, 0.002, 0.001), *[11.9] * 100])
    again = FaultTracker([loop()])
    again.restore(tracker.save())
    assert again.declared() == {"L1": ("frozen",)}
    assert run(again, [11.9] * 5, 400) == ["ended frozen 250-400 11.9..11.9"]


def test_silence_breaks_an_undeclared_flat_stretch_and_keeps_a_declared_one() -> None:
    table = "\n".join(f"{second} s timeout |" for second in (301, 302))
    silent = f"{table}\n303 s timeout | declared no_answer 301-"
    tracker = watching(frozen_after_ms=60_000)
    run(tracker, [*noisy(250, 0.002, 0.001), *[11.9] * 51])
    play_faults(tracker, silent)
    assert run(tracker, [11.9] * 40, 304) == ["ended no_answer 301-304"]
    tracker = watching(frozen_after_ms=40_000)
    run(tracker, [*noisy(250, 0.002, 0.001), *[11.9] * 51])
    play_faults(tracker, silent)
    assert tracker.declared() == {"L1": ("no_answer", "frozen")}
    assert run(tracker, [11.9, 11.9], 304) == []
    assert tracker.out_of_trust("L1")
    assert run(tracker, [11.91, 11.92], 306) == []
    assert not tracker.out_of_trust("L1")


def test_the_finest_register_at_hand_decides() -> None:
    tracker = FaultTracker([loop(watched=(("level", 0.0001), ("current", 0.01)), frozen_after_ms=60_000)])
    rng = random.Random(7)
    second = 0

    def step(level_m: float | None, current_mA: float) -> list[str]:
        nonlocal second
        second += 1
        values = {"current": current_mA} | ({} if level_m is None else {"level": level_m})
        return [change_words(c) for c in tracker.step(instant(second), [Sample("L1", 0, OK, values)])]

    for _ in range(200):  # the current stands still all the time; the level lives
        assert step(round(rng.gauss(5, 0.0005), 4), 12.0) == []
    for _ in range(200):  # and without the level there is nothing to judge
        assert step(None, 12.0) == []
    found = [word for _ in range(100) for word in step(5.0, rng.gauss(12, 0.02))]
    assert len(found) == 1
    assert found[0].startswith("declared frozen")


def test_a_finer_register_that_appears_later_takes_over() -> None:
    tracker = FaultTracker([loop(watched=(("level", 0.0001), ("current", 0.01)))])
    tracker.step(instant(0), [sample(12.0)])
    tracker.step(instant(1), [Sample("L1", 0, OK, {"current": 12.0, "level": 5.0})])
    assert tracker.save()["L1"]["flat"]["signal"] == "level"


def test_noise_and_flat_stretches_survive_a_restart() -> None:
    currents = [*noisy(200, 0.002, 0.001), *[11.9] * 400, *noisy(10, 0.002, 0.001, seed=3)]
    whole = run(watching(), currents)
    assert whole
    for cut in (30, 199, 201, 350, 500, 599, 601, 603):
        first, second = watching(), watching()
        words = run(first, currents[:cut])
        second.restore(json.loads(json.dumps(first.save())))
        assert words + run(second, currents[cut:], cut) == whole, cut
        assert not math.isnan(second.save()["L1"]["flat"]["noise"]["sd"] or 0.0)


def test_a_flat_stretch_is_kept_over_a_crash_from_half_a_minute_on() -> None:
    tracker = watching()
    kept = {}
    for second, current in enumerate([*noisy(200, 0.002, 0.001), *[11.9] * 100]):
        tracker.step(instant(second), [sample(current, second)])
        kept |= tracker.save(changed_only=True)
    again = watching()
    again.restore(kept)
    assert run(again, [11.9] * 250, 300) == ["declared frozen 200- 11.9..11.9"]


@pytest.mark.parametrize(("sd", "step"), [(0.002, 0.001), (0.002, 0.00001), (0.001, 0.004), (0.004, 0.007)])
def test_healthy_loops_get_no_verdict_in_hours(sd: float, step: float) -> None:
    assert run(watching(step, frozen_after_ms=60_000), noisy(20_000, sd, step, at_mA=12.0005, seed=11)) == []
