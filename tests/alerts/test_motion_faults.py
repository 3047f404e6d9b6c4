"""Levels that move faster than their tank can, and signals far noisier than they use to be.

No published text gives these rules; the timelines are the house's own, written out (common practice, no source). What a
tank can do is computed by hand beside each case.
"""

import json
import random
from pathlib import Path

import pytest

from alerts.faults import FaultTracker
from alerts.loud import LOUD_BLOCKS
from alerts.noise import BLOCK
from alerts.spec import LoopFacts
from gaugehouse.site import load_site
from models.reading import OK, Instant, Sample
from simulator.demo import write_demo
from simulator.farm import Farm
from tests.alerts.timelines import START_MS, change_words, instant, play_faults

# 16 mA over 8 m: 1 mA is 0.5 m. A rise of 10 mm/s is 0.02 mA/s; waves of 100 mm are 0.2 mA.
TANK = LoopFacts(
    "L1", "current", watched=(("current", 0.0001),), m_per_unit={"current": 0.5}, fastest_m_per_s=0.01, waves_m=0.1
)


def test_a_jump_is_declared_after_the_dwell_and_ends_when_the_tank_could_have_got_there() -> None:
    # From 12 to 13 mA are 500 mm: less 100 mm of waves, 400 mm at 10 mm/s take 40 s from the last possible sample.
    play_faults(
        FaultTracker([TANK]),
        """
        0  s 12    |
        1  s 13    |
        4  s 13.01 |
        5  s 13    | declared rate_impossible 1- 13..13.01
        39 s 13    |
        40 s 13    |
        44 s 13    | ended rate_impossible 1-40 13..13.01
        """,
    )


@pytest.mark.parametrize(
    ("timeline", "why"),
    [
        ("0 s 12 |\n1 s 15 |\n2 s 12 |\n9 s 12 |", "one reading alone is a spike and no fault"),
        ("0 s 12 |\n1 s 12.2 |\n2 s 12.0 |\n8 s 12.2 |", "waves of 100 mm are allowed"),
        ("0 s 12 |\n60 s 13.3 |\n70 s 13.3 |", "650 mm in 60 s are within 600 mm and the waves"),
        ("0 s 12 |\n1 s timeout |\n80 s 13.7 |\n90 s 13.7 |", "a level that was not seen had time to move"),
        ("0 s 12 |\n1 s 13 |\n2 s 12 |\n3 s 13 |\n4 s 12 |\n5 s 13 |", "each return begins the dwell anew"),
    ],
)
def test_what_a_tank_can_do_is_no_fault(timeline: str, why: str) -> None:
    play_faults(FaultTracker([TANK]), timeline)


def test_a_relapse_within_the_hold_is_the_same_row() -> None:
    play_faults(
        FaultTracker([TANK]),
        """
        0  s 12 |
        1  s 14 |
        5  s 14 | declared rate_impossible 1- 14..14
        6  s 12 |
        8  s 14.5 |
        9  s 12 |
        13 s 12 | ended rate_impossible 1-9 14..14.5
        """,
    )


def test_an_instrument_without_a_tank_is_not_judged_by_a_rate() -> None:
    play_faults(FaultTracker([LoopFacts("L1", "current")]), "0 s 5 |\n1 s 19 |\n9 s 19 |")


def test_a_frozen_value_is_no_level_so_the_jump_out_of_it_is_no_second_fault() -> None:
    t = FaultTracker([TANK])
    rng = random.Random(4)
    for second in range(600):  # the loop's noise is learned: 5 uA on steps of 0.1 uA
        t.step(instant(second), [told(second, round(12 + rng.gauss(0, 0.005), 4))])
    for second in range(600, 1800):
        t.step(instant(second), [told(second, 12.0)])
    assert t.declared() == {"L1": ("frozen",)}
    changes = [c for s in range(1800, 1830) for c in t.step(instant(s), [told(s, 16.0 + rng.gauss(0, 0.005))])]
    # 4 mA are 2 m: at 10 mm/s 190 s, and the frozen stretch lasted 1200 s
    assert [(c.change, c.fault.fault_class) for c in changes] == [("ended", "frozen")]


def test_a_jump_fault_under_way_outlives_a_restart() -> None:
    t = FaultTracker([TANK])
    for second, current in ((0, 12.0), (1, 14.0), (5, 14.0)):
        t.step(instant(second), [told(second, current)])
    again = FaultTracker([TANK])
    again.restore(json.loads(json.dumps(t.save(changed_only=True))))
    assert again.current() == {"L1": "rate_impossible"}
    play_faults(again, "60 s 14.2 |\n200 s 14 |\n204 s 14 | ended rate_impossible 1-200 14..14.2")


def told(second: float, current_mA: float) -> Sample:
    return Sample("L1", START_MS + round(second * 1000), OK, {"current": current_mA})


NOISE_MA = 0.004
QUIET_S = 2 * 86_400
"""The floor is known after a day."""

POLL_S = 10


def noisy_loop(seed: int = 1, **changes: object) -> tuple[FaultTracker, random.Random, int]:
    """A loop that has learned its noise in two days of healthy samples; its tracker and the second after them."""
    facts = LoopFacts("L1", "current", m_per_unit={"current": 0.5}, **changes)  # type: ignore[arg-type]
    t, rng = FaultTracker([facts]), random.Random(seed)
    assert play_noise(t, rng, 0, QUIET_S, NOISE_MA) == []
    return t, rng, QUIET_S


def play_noise(t: FaultTracker, rng: random.Random, start_s: int, end_s: int, sd_mA: float) -> list[str]:
    found = []
    for second in range(start_s, end_s, POLL_S):
        for change in t.step(instant(second), [told(second, 12 + rng.gauss(0, sd_mA))]):
            found.append(change_words(change).rsplit(" ", 1)[0])
    return found


def test_a_signal_far_noisier_than_it_uses_to_be_is_declared_and_ends_when_it_is_quiet_again() -> None:
    t, rng, now = noisy_loop()
    block_s = BLOCK * POLL_S
    start = now + -(now // POLL_S - 1) % BLOCK * POLL_S  # the first block that is wholly loud begins there
    found = play_noise(t, rng, now, start + 6 * block_s, 0.1)
    assert found == [f"declared noisy {found[0].split()[-1][:-1]}-"]
    assert abs(float(found[0].split()[-1][:-1]) - start) <= block_s
    assert t.declared() == {"L1": ("noisy",)}
    found = play_noise(t, rng, start + 6 * block_s, start + 12 * block_s, NOISE_MA)
    assert len(found) == 1
    assert found[0].startswith("ended noisy")
    ended_s = float(found[0].rsplit("-", 1)[1])
    assert start + 5 * block_s <= ended_s <= start + 7 * block_s


def test_noise_that_does_not_matter_for_the_level_is_no_fault() -> None:
    t, rng, now = noisy_loop(noisy_above_m=0.10)  # 0.1 mA are 50 mm
    assert play_noise(t, rng, now, now + 20 * BLOCK * POLL_S, 0.1) == []


def test_one_loud_block_alone_is_a_bump_and_no_fault() -> None:
    assert LOUD_BLOCKS == 2
    t, rng, now = noisy_loop()
    now += POLL_S * (1 - QUIET_S // POLL_S % BLOCK)  # the first sample gives no difference: a block begins here
    later = now + BLOCK * POLL_S
    assert play_noise(t, rng, QUIET_S, now, NOISE_MA) == []
    assert play_noise(t, rng, now, later, 0.2) == []
    assert play_noise(t, rng, later, later + 10 * BLOCK * POLL_S, NOISE_MA) == []


def test_a_noisy_fault_under_way_outlives_a_restart() -> None:
    t, rng, now = noisy_loop()
    later = now + 5 * BLOCK * POLL_S
    (declared,) = play_noise(t, rng, now, later, 0.1)
    again = FaultTracker([LoopFacts("L1", "current", m_per_unit={"current": 0.5})])
    again.restore(json.loads(json.dumps(t.save())))
    assert again.current() == {"L1": "noisy"}
    (ended,) = play_noise(again, rng, later, later + 3 * BLOCK * POLL_S, NOISE_MA)
    assert ended.startswith(declared.replace("declared", "ended"))


def test_a_false_echo_on_the_simulated_farm_is_a_level_that_moves_faster_than_its_tank(tmp_path: Path) -> None:
    """The farm's physics are its own: 1.5 m more within one update of the gauge, gone after a minute."""
    start_ms = 1_769_846_400_000
    farm = Farm(7, start_ms)
    site = load_site(write_demo(tmp_path, [1, 2], "1 s"))
    t = FaultTracker(site.loops)
    told = []
    for second in range(400):
        ms = start_ms + second * 1000
        farm.advance(ms)
        if second == 200:
            farm.inject("north_gauge", "echo", 60)
        samples = [
            Sample(loop.instrument, ms, OK if wire is not None else "timeout", wire or {})
            for loop in site.loops
            for wire in [farm.wire(loop.instrument)]
        ]
        changes = t.step(Instant(second, ms, second * 1000), samples)
        told += [(c.change, c.fault.fault_class, second) for c in changes if c.fault.instrument == "north_gauge"]
    # The jump up, and the one back: with the generous default of the site file the tank could soon have got there.
    assert [change[:2] for change in told] == [(c, "rate_impossible") for c in ("declared", "ended")] * 2
    assert 200 < told[0][2] <= 210
    assert 260 < told[2][2] <= 270
