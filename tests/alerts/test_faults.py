"""Loop faults in time: what is declared when, which rows come out, what survives a restart.

Source of the bands: tests/data/signal/ne43_bands.csv (NAMUR NE 43, limits published; edges are our own choice); of the
dwell: 4 s, a secondary text on NE 43. Timelines are the house's own rules, written out.
"""

import json

import pytest

from alerts.engine import CONDITION_OF_FAULT
from alerts.errors import BadSavedState, BadSetup
from alerts.faults import NE107, FaultTracker
from alerts.frozen import Verdict
from alerts.shown import failure
from alerts.spec import LoopFacts
from models.reading import OK, TIMEOUT, Sample
from tests.alerts.timelines import START_MS, instant, loop, play_faults, sample, samples_of
from tests.reference import rows

CLASS_OF_BAND = {"FAIL_LOW": "fail_low", "GAP_LOW": "gap_low", "GAP_HIGH": "gap_high", "FAIL_HIGH": "fail_high"}


def tracker(**changes: object) -> FaultTracker:
    return FaultTracker([loop(**changes)])


@pytest.mark.parametrize("row", rows("signal/ne43_bands.csv"), ids=lambda row: row["id"])
def test_a_current_that_stays_in_a_band_is_declared_as_its_class_or_not_at_all(row: dict[str, str]) -> None:
    t = tracker()
    for second in range(6):
        t.step(instant(second), samples_of(second, [row["current_mA"]]))
        assert t.out_of_trust("L1") is (row["expected_band"] in CLASS_OF_BAND)
    expected = CLASS_OF_BAND.get(row["expected_band"])
    assert t.current() == ({} if expected is None else {"L1": expected})


def test_a_failure_is_declared_after_4_s_and_ends_at_its_first_measuring_sample() -> None:
    play_faults(
        tracker(),
        """
        0   s 12  |
        1   s 3.5 |
        2   s 3.4 |
        4.9 s 3.5 |
        5   s 3.5 | declared fail_low 1- 3.4..3.5
        9   s 3.3 |
        10  s 12  |
        13.9 s 12 |
        14  s 12  | ended fail_low 1-10 3.3..3.5
        """,
    )


def test_the_dwell_needs_two_samples_and_is_judged_at_foreign_ticks_too() -> None:
    play_faults(
        tracker(),
        """
        0   s 21.5 |
        6   s      |
        10  s 21.5 | declared fail_high 0- 21.5..21.5
        11  s 12   |
        15  s      | ended fail_high 0-11 21.5..21.5
        20  s 21.5 |
        21  s 21.6 |
        24.5 s     | declared fail_high 20- 21.5..21.6
        """,
    )


def test_a_short_excursion_is_no_fault_but_takes_the_trust_away_at_once() -> None:
    t = tracker()
    for second, current, trusted in ((0, "12", True), (1, "3.5", False), (2, "3.5", False), (3, "12", True)):
        assert t.step(instant(second), samples_of(second, [current])) == []
        assert t.out_of_trust("L1") is not trusted
    assert t.open_faults() == []
    assert not t.out_of_trust("unknown")


def test_a_gap_that_passes_into_failure_is_one_row_with_the_worse_class() -> None:
    play_faults(
        tracker(),
        """
        0 s 3.7 |
        4 s 3.7 | declared gap_low 0- 3.7..3.7
        5 s 3.5 | worsened fail_low 0- 3.5..3.7
        6 s 3.7 |
        7 s 12  |
        11 s 12 | ended fail_low 0-7 3.5..3.7
        20 s 20.6 |
        21 s 21.2 |
        24 s 20.6 | declared fail_high 20- 20.6..21.2
        """,
    )


def test_rows_of_one_side_less_than_4_s_apart_are_one_row() -> None:
    play_faults(
        tracker(),
        """
        0  s 3.5 |
        4  s 3.5 | declared fail_low 0- 3.5..3.5
        5  s 12  |
        8.9 s 3.2 |
        9  s 12  |
        12 s 3.4 |
        20 s 3.4 |
        21 s 12  |
        25 s 3.4 | ended fail_low 0-21 3.2..3.5
        29 s 3.4 | declared fail_low 25- 3.4..3.4
        """,
    )


def test_the_other_side_is_another_row() -> None:
    play_faults(
        tracker(),
        """
        0 s 3.5  |
        4 s 3.5  | declared fail_low 0- 3.5..3.5
        5 s 21.5 |
        8 s 21.5 |
        9 s 21.5 | ended fail_low 0-5 3.5..3.5, declared fail_high 5- 21.5..21.5
        """,
    )


def test_a_loose_terminal_that_swings_between_both_sides_is_declared_as_soon_as_any_fault() -> None:
    play_faults(
        tracker(),
        """
        0 s 3.5  |
        1 s 21.5 |
        2 s 3.5  |
        3 s 21.5 |
        4 s 3.5  | declared fail_low 0- 3.5..21.5
        5 s 21.5 |
        6 s 3.5  |
        7 s 12   |
        11 s 12  | ended fail_low 0-7 3.5..21.5
        """,
    )
    play_faults(tracker(), "0 s 3.5 |\n2 s 20.7 |\n4 s 20.7 | declared fail_low 0- 3.5..20.7")


def test_a_short_swing_to_the_other_side_does_not_part_a_fault_in_two() -> None:
    play_faults(
        tracker(),
        """
        0 s 3.5  |
        5 s 3.5  | declared fail_low 0- 3.5..3.5
        6 s 21.5 |
        7 s 21.5 |
        8 s 3.4  |
        20 s 3.5 |
        21 s 12  |
        25 s 12  | ended fail_low 0-21 3.4..3.5
        """,
    )


LEVEL_LOOP = LoopFacts("L1", "current", level_signals=("level",), possible={"level": (-150.0, 1e12)})
PERCENT_LOOP = LoopFacts("L1", None, level_signals=("percent",), percent_signal="percent")


@pytest.mark.parametrize(
    ("facts", "outcome", "values", "expected"),
    [
        (LEVEL_LOOP, "ok", {"current": 12.0, "level": None}, "wrong_reply"),
        (LEVEL_LOOP, "exception-02", {"current": 12.0}, "wrong_reply"),
        (LEVEL_LOOP, "timeout", {"current": 12.0}, "no_answer"),
        (LEVEL_LOOP, "ok", {"current": 12.0}, "no_answer"),
        (LEVEL_LOOP, "ok", {"current": 12.0, "level": -3000.0}, "wrong_reply"),
        (LEVEL_LOOP, "ok", {"current": 3.5, "level": None}, "fail_low"),
        (LEVEL_LOOP, "ok", {"current": 12.0, "level": 6000.0}, ""),
        (PERCENT_LOOP, "ok", {"percent": -25.0}, "fail_low"),  # 0 mA reads as -25 % of span
        (PERCENT_LOOP, "ok", {"percent": 107.0}, "fail_high"),  # 21.12 mA
        (PERCENT_LOOP, "ok", {"percent": -1.25}, ""),  # 3.8 mA
        (PERCENT_LOOP, "ok", {"percent": None}, "wrong_reply"),
    ],
)
def test_a_tank_whose_level_is_bad_always_has_a_fault(
    facts: LoopFacts, outcome: str, values: dict[str, float | None], expected: str
) -> None:
    watch = FaultTracker([facts])
    for second in range(8):
        watch.step(instant(second, second + 1), [Sample("L1", START_MS + second * 1000, outcome, values)])
    assert watch.current().get("L1", "") == expected


@pytest.mark.parametrize(
    ("polls", "fault"),
    [
        ("timeout timeout timeout", "no_answer"),
        ("wrong-reply timeout timeout", "no_answer"),
        ("wrong-reply exception-02 timeout", "wrong_reply"),
        ("exception-02 exception-02 exception-04", "wrong_reply"),
        ("nan nan nan", "wrong_reply"),
    ],
)
def test_three_failed_polls_in_a_row_are_a_fault_from_the_first_of_them(polls: str, fault: str) -> None:
    first, second, third = polls.split()
    play_faults(
        tracker(),
        f"""
        0 s 12 |
        1 s {first} |
        2 s 12 |
        3 s {first} |
        4 s {second} |
        5 s {third} | declared {fault} 3-
        6 s {first} |
        7 s 12 |
        11 s 12 | ended {fault} 3-7
        """,
    )


def test_one_failed_poll_just_after_an_outage_does_not_prolong_it_but_three_do() -> None:
    play_faults(
        tracker(),
        """
        0 s timeout |
        1 s timeout |
        2 s timeout | declared no_answer 0-
        3 s 12      |
        4 s timeout |
        5 s 12      |
        6 s timeout |
        7 s timeout |
        8 s timeout |
        9 s 12      |
        12 s timeout |
        13 s timeout |
        14 s 12      | ended no_answer 0-9
        """,
    )


def test_failed_polls_neither_prove_nor_end_a_failure_of_the_current() -> None:
    play_faults(
        tracker(),
        """
        0 s 3.5     |
        1 s timeout |
        4 s timeout |
        5 s timeout | declared no_answer 1-
        6 s 3.5     | declared fail_low 0- 3.5..3.5
        10 s 12     | ended no_answer 1-6
        14 s 12     | ended fail_low 0-10 3.5..3.5
        """,
    )


def test_a_loop_that_failed_and_then_fell_silent_has_both_faults() -> None:
    t = tracker()
    for second, word in enumerate("3.5 3.5 3.5 3.5 3.5 timeout timeout timeout".split()):
        t.step(instant(second), samples_of(second, [word]))
    assert t.declared() == {"L1": ("no_answer", "fail_low")}
    assert t.current() == {"L1": "no_answer"}
    assert [f.fault_class for f in t.open_faults()] == ["no_answer", "fail_low"]


LEVEL_ONLY = LoopFacts("L1", None, watched=(("level", 0.001),))
NOTHING_WATCHED = LoopFacts("L1", None)


@pytest.mark.parametrize(
    ("facts", "outcome", "values", "expected"),
    [
        (loop(), OK, {"current": 12.0}, ""),
        (loop(), OK, {"level": 3.0}, ""),  # a recording that simply has no current
        (loop(), "exception-02", {"level": 3.0}, "wrong_reply"),  # the block with the current failed
        (loop(), TIMEOUT, {"level": 3.0}, "no_answer"),
        (loop(), TIMEOUT, {"current": 12.0}, ""),  # another block failed
        (loop(), OK, {"current": None, "level": 3.0}, "wrong_reply"),
        (LEVEL_ONLY, OK, {"level": 3.0}, ""),
        (LEVEL_ONLY, "wrong-reply", {"temperature": 15.0}, "wrong_reply"),
        (LEVEL_ONLY, "wrong-reply", {"level": 3.0}, ""),
        (LEVEL_ONLY, OK, {"level": None, "temperature": 15.0}, "wrong_reply"),
        (NOTHING_WATCHED, "wrong-reply", {"temperature": 15.0}, ""),
        (NOTHING_WATCHED, TIMEOUT, {}, "no_answer"),
        (NOTHING_WATCHED, OK, {}, "wrong_reply"),
    ],
)
def test_what_counts_as_a_failed_poll(
    facts: LoopFacts, outcome: str, values: dict[str, float | None], expected: str
) -> None:
    assert failure(facts, Sample("L1", 0, outcome, values)) == expected


def test_the_current_is_converted_from_its_declared_unit() -> None:
    t = tracker(current_factor=1000.0, current_constant=0.5)
    for second in (0, 4):
        changes = t.step(instant(second), samples_of(second, ["0.003"]))
    assert (changes[0].fault.fault_class, changes[0].fault.min_mA) == ("fail_low", 3.5)


def test_every_class_has_its_alarm_and_its_ne_107_letter() -> None:
    # Source: NE 107 has F failure, C function check, S out of specification, M maintenance (abstracts of the standard)
    assert NE107.keys() == CONDITION_OF_FAULT.keys()
    assert set(NE107.values()) <= set("FCSM")


def test_changes_of_one_tick_come_in_the_order_of_the_site() -> None:
    site = list("ZAYBXCWD")
    t = FaultTracker([loop(instrument=i) for i in site])
    for second in (0, 4):
        changes = t.step(instant(second, 9), [sample(3.5, second, instrument=i) for i in ("nobody", *sorted(site))])
    assert [c.fault.instrument for c in changes] == site
    assert (changes[0].time_ms, changes[0].seq) == (START_MS + 4000, 9)


def test_a_fault_begun_before_a_restart_ends_as_one_row_with_its_extremes() -> None:
    t = tracker()
    for second, current in enumerate((3.5, 3.4, 3.5, 3.5, 3.5)):
        t.step(instant(second), [sample(current, second)])
    kept = t.save(changed_only=True)
    t.step(instant(5), [sample(3.1, 5)])
    kept |= t.save(changed_only=True)
    again = tracker()
    assert again.restore(json.loads(json.dumps(kept))) == []
    assert again.current() == {"L1": "fail_low"}
    assert again.out_of_trust("L1")
    play_faults(again, "3600 s 12 |\n3604 s 12 | ended fail_low 0-3600 3.1..3.5")


def test_save_gives_only_what_is_worth_keeping() -> None:
    t = FaultTracker([loop(), loop(instrument="L2")])
    assert set(t.save()) == {"L1", "L2"}
    for second in range(60):
        t.step(instant(second), [sample(12 + second % 7 / 100, second)])
        assert t.save(changed_only=True) == {}
    t.step(instant(60), [sample(3.5, 60)])
    assert set(t.save(changed_only=True)) == {"L1"}
    for second in range(61, 65):
        t.step(instant(second), [sample(3.5, second)])
    assert set(t.save(changed_only=True)) == {"L1"}
    t.step(instant(65), [sample(3.5, 65)])
    assert t.save(changed_only=True) == {}  # the row is the same as before


def test_saved_faults_that_nobody_wrote_are_refused_and_strangers_are_named() -> None:
    with pytest.raises(BadSavedState, match="L1"):
        tracker().restore({"L1": {"number": 1}})
    assert tracker().restore({"L7": {}}) == ["L7"]


def test_an_instrument_given_twice_is_refused() -> None:
    with pytest.raises(BadSetup, match="L1 is given twice"):
        FaultTracker([loop(), loop()])


def test_a_stretch_of_unknown_noise_proves_nothing() -> None:
    assert tracker().verdict("L1") is Verdict.CANNOT_TELL
    assert tracker().verdict("unknown") is Verdict.CANNOT_TELL


def test_clock_steps_do_not_touch_durations() -> None:
    t = tracker()
    first = instant(0)
    t.step(first, [sample(3.5, 0)])
    back = first._replace(time_ms=first.time_ms - 3_600_000, elapsed_ms=first.elapsed_ms + 4000)
    (declared,) = t.step(back, [Sample("L1", back.time_ms, OK, {"current": 3.5})])
    assert declared.fault.start_ms == first.time_ms
