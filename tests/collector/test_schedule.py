import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.schedule import PATIENCE, PROBE_MS, Roster, Slot, choose, owe_the_others, pause_ticks, phase_ms


def test_phases_are_the_same_at_every_start() -> None:
    """Computed once: BLAKE2b of the name, modulo the period. A change would move every site's grid."""
    assert [phase_ms(name, 1000) for name in ("LT-1", "LT-2", "LT-3")] == [477, 389, 182]


def test_phases_are_spread_over_the_period() -> None:
    tenths = {phase_ms(f"LT-{n}", 1000) // 100 for n in range(200)}
    assert tenths == set(range(10))


@given(st.text(min_size=1, max_size=32), st.integers(1, 3_600_000), st.integers(0, 10**12))
def test_the_first_tick_is_on_the_grid_and_within_a_period(name: str, period_ms: int, now_ms: int) -> None:
    slot = Slot(name, period_ms, now_ms)
    assert now_ms <= slot.due_ms < now_ms + period_ms
    assert slot.due_ms % period_ms == phase_ms(name, period_ms)


@given(
    st.integers(10, 20_000),
    st.lists(st.tuples(st.integers(0, 50_000), st.booleans()), min_size=1, max_size=40),
)
def test_ticks_stay_on_the_grid_and_each_is_used_skipped_or_missed(
    period_ms: int, polls: list[tuple[int, bool]]
) -> None:
    slot = Slot("LT-1", period_ms, 0)
    first, used, paused, now = slot.due_ms, 0, 0, 0
    for takes_ms, answered in polls:
        now = max(now, slot.due_ms)
        started = now
        now += takes_ms
        slot.done(started, now, answered)
        used += 1
        paused += pause_ticks(slot.failures, period_ms) - 1
        assert slot.due_ms % period_ms == slot.phase_ms
        assert slot.due_ms > now - period_ms
    assert (slot.due_ms - first) // period_ms == used + paused + slot.missed
    assert 0 <= paused - slot.spared < pause_ticks(slot.failures, period_ms)
    slot.done(slot.due_ms, slot.due_ms, answered=True)
    assert slot.spared == paused, "what was left out counts when the pause is over"


@pytest.mark.parametrize("period_ms", [200, 1000, 5000, 9999, 10_000, 60_000])
def test_three_failures_come_at_the_normal_period_then_probes_thin_out_to_ten_seconds(period_ms: int) -> None:
    pauses = [pause_ticks(failures, period_ms) * period_ms for failures in range(30)]
    assert pauses[:PATIENCE] == [period_ms] * PATIENCE
    assert pauses == sorted(pauses)
    assert max(pauses) <= max(PROBE_MS, period_ms)
    assert pauses[-1] > max(PROBE_MS, period_ms) - period_ms


def test_a_poll_that_runs_into_its_next_tick_is_followed_by_it_and_misses_none() -> None:
    slot = Slot("LT-1", 1000, 0)
    due = slot.due_ms
    slot.done(due, due + 1900, answered=True)
    assert (slot.due_ms, slot.missed) == (due + 1000, 0)
    slot.done(due + 1900, due + 4100, answered=True)
    assert (slot.due_ms, slot.missed) == (due + 4000, 2)


def test_a_poll_asked_for_between_two_ticks_leaves_the_grid_alone() -> None:
    slot = Slot("LT-1", 1000, 0)
    due = slot.due_ms
    slot.asked = True
    assert choose([slot], due - 1) is slot
    slot.done(due - 1, due - 1, answered=True)
    assert slot.due_ms == due
    assert choose([slot], due - 1) is None


def test_the_longest_due_goes_first_but_whoever_is_owed_a_turn_before_that() -> None:
    failing, first, second = Slot("LT-7", 1000, 0), Slot("LT-8", 1000, 0), Slot("LT-9", 1000, 0)
    failing.due_ms, first.due_ms, second.due_ms = 100, 300, 200
    slots = [failing, first, second]
    assert choose(slots, 99) is None
    assert choose(slots, 1000) is failing
    failing.failures = 1
    owe_the_others(slots, failing)
    assert choose(slots, 1000) is second
    second.done(1000, 1000, answered=True)
    second.due_ms = 150
    assert choose(slots, 1000) is first
    first.done(1000, 1000, answered=True)
    assert choose(slots, 1000) is failing


def test_a_neighbour_that_fails_too_is_owed_nothing() -> None:
    one, other = Slot("LT-1", 1000, 0), Slot("LT-2", 1000, 0)
    other.failures = 1
    owe_the_others([one, other], one)
    assert not other.owed


def test_after_the_line_is_back_a_failing_one_is_asked_at_its_next_tick() -> None:
    slot = Slot("LT-1", 1000, 0)
    for _ in range(8):
        slot.done(slot.due_ms, slot.due_ms, answered=False)
    now = slot.due_ms - 7500
    slot.hurry(now)
    assert now <= slot.due_ms < now + 1000
    assert slot.due_ms % 1000 == slot.phase_ms


@given(
    st.integers(1, 6),
    st.lists(
        st.tuples(st.integers(0, 900), st.integers(0, 700), st.booleans(), st.sampled_from(["", "want", "hurry"])),
        max_size=60,
    ),
)
def test_a_roster_chooses_whom_a_look_at_every_slot_would_choose(
    count: int, moves: list[tuple[int, int, bool, str]]
) -> None:
    """The plain account: `choose` and `owe_the_others` over all slots, as they are defined."""
    plain = [Slot(f"LT-{n}", 500, 0) for n in range(count)]
    roster = Roster([Slot(f"LT-{n}", 500, 0) for n in range(count)])
    now_ms = 0
    for waits_ms, takes_ms, answered, act in moves:
        now_ms += waits_ms
        if act == "want":
            plain[waits_ms % count].asked = True
            roster.want(roster.slots[waits_ms % count])
        elif act == "hurry":
            for slot in plain:
                slot.hurry(now_ms)
            roster.hurry(now_ms)
        assert roster.next_ms == min(slot.due_ms for slot in plain)
        wanted, found = choose(plain, now_ms), roster.choose(now_ms)
        if wanted is None or found is None:
            assert wanted is found
            continue
        assert found.instrument == wanted.instrument
        started_ms, now_ms = now_ms, now_ms + takes_ms
        wanted.done(started_ms, now_ms, answered)
        if not answered:
            owe_the_others(plain, wanted)
        roster.done(found, started_ms, now_ms, answered)
        for one, other in zip(plain, roster.slots, strict=True):
            assert all(getattr(one, name) == getattr(other, name) for name in Slot.__slots__)


def test_a_roster_without_slots_has_nobody_to_ask() -> None:
    assert Roster([]).choose(10**9) is None
    assert Roster([]).next_ms is None
