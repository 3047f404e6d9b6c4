"""The lifecycle against the state model's own rows, and its laws.

Source of the rows: tests/data/alarms/alarm_*.csv, ISA-18.2 / IEC 62682 model (from memory) and OPC UA Part 9, as each
row says itself.
"""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.lifecycle import CORE, HIDDEN, IGNORED, PLAIN, TABLE, Event, Guard, Kind, Memory, State, step
from tests.reference import rows

LETTER = dict(zip("ABCDEFGHI", State, strict=True))
EVENT = {
    "CONDITION_ON": Event.RAISED, "CONDITION_OFF": Event.RETURNED, "ACK": Event.ACKNOWLEDGED,
    "RE_ALARM": Event.RAISED_AGAIN, "RESET": Event.LATCHED_RESET, "SHELVE": Event.SHELVED,
    "UNSHELVE": Event.UNSHELVED, "TIMER_EXPIRED": Event.SHELF_EXPIRED, "SUPPRESS": Event.SUPPRESSED,
    "UNSUPPRESS": Event.UNSUPPRESSED, "REMOVE_FROM_SERVICE": Event.REMOVED_FROM_SERVICE,
    "RETURN_TO_SERVICE": Event.RETURNED_TO_SERVICE,
    # shorter names in the rows of sequences
    "ON": Event.RAISED, "OFF": Event.RETURNED, "REALARM": Event.RAISED_AGAIN, "EXPIRE": Event.SHELF_EXPIRED,
    "OOS": Event.REMOVED_FROM_SERVICE, "RTS": Event.RETURNED_TO_SERVICE,
}  # fmt: skip
LATCHING = Kind(latching=True)
SELF_ACKNOWLEDGING = Kind(acknowledged_by_return=True)

HIDE = {
    State.SHELVED: {"shelved": True},
    State.SUPPRESSED_BY_DESIGN: {"suppressed": True},
    State.OUT_OF_SERVICE: {"out_of_service": True},
}


def start_of(row: dict[str, str]) -> tuple[Memory, Kind]:
    """The memory and kind of alarm that a row's guard speaks of."""
    state, guard = LETTER[row["from"]], row["guard"]
    kind = LATCHING if "latching alarm" in guard else SELF_ACKNOWLEDGING if "auto-acknowledge" in guard else PLAIN
    if state not in HIDDEN:
        return Memory(core=state), kind
    if "one-shot" in guard:
        return Memory(core=State.UNACKNOWLEDGED, shelved=True, one_shot=True), kind
    core = State.NORMAL
    if "condition true" in guard:
        core = State.UNACKNOWLEDGED
    elif "was latched" in guard:
        core = State.LATCHED_UNACKNOWLEDGED
    return Memory(core=core, **HIDE[state]), kind


TRANSITIONS = [(row, name) for row in rows("alarms/alarm_transitions.csv") for name in row["event"].split(" or ")]


@pytest.mark.parametrize(("row", "event"), TRANSITIONS, ids=[f"{row['id']}-{event}" for row, event in TRANSITIONS])
def test_every_row_of_the_state_model_is_a_move(row: dict[str, str], event: str) -> None:
    memory, kind = start_of(row)
    outcome = step(memory, EVENT[event], kind)
    assert not outcome.ignored
    assert outcome.state is LETTER[row["to"]]
    assert outcome.memory.shown is LETTER[row["to"]]


OVERLAPS = {
    (
        State.SHELVED,
        Event.RETURNED,
        State.LATCHED_UNACKNOWLEDGED,
    ),  # tr-39 of a latching alarm, by the rule of tr-40
    (State.SHELVED, Event.SUPPRESSED, State.SUPPRESSED_BY_DESIGN),
    (State.SHELVED, Event.REMOVED_FROM_SERVICE, State.OUT_OF_SERVICE),
    (State.SUPPRESSED_BY_DESIGN, Event.REMOVED_FROM_SERVICE, State.OUT_OF_SERVICE),
    (State.SUPPRESSED_BY_DESIGN, Event.UNSUPPRESSED, State.SHELVED),
    (State.OUT_OF_SERVICE, Event.RETURNED_TO_SERVICE, State.SHELVED),
    (State.OUT_OF_SERVICE, Event.RETURNED_TO_SERVICE, State.SUPPRESSED_BY_DESIGN),
}
"""Three suppressions overlap: OPC UA Part 9, 5.8.2."""


def test_the_table_has_no_visible_move_that_the_state_model_lacks() -> None:
    listed = {(LETTER[r["from"]], EVENT[e], LETTER[r["to"]]) for r, e in TRANSITIONS}
    ours = {(state, event, move.to) for (state, event), moves in TABLE.items() for move in moves if move.to != state}
    assert ours == listed | OVERLAPS


@pytest.mark.parametrize("row", rows("alarms/alarm_sequences.csv"), ids=lambda row: row["id"])
def test_every_sequence_of_the_state_model_is_walked(row: dict[str, str]) -> None:
    kind = LATCHING if "latched=1" in row["config"] else PLAIN
    memory = Memory(core=LETTER[row["start"]])
    walked = []
    for name in row["events"].split(";"):
        memory = step(memory, EVENT[name], kind).memory
        walked.append(memory.shown)
    assert walked == [LETTER[letter] for letter in row["state_after_each_event"].split(";")]


@pytest.mark.parametrize("row", rows("alarms/alarm_states.csv"), ids=lambda row: row["state"])
def test_states_mean_what_the_state_model_says(row: dict[str, str]) -> None:
    state = LETTER[row["state"]]
    assert (state in HIDDEN) is (row["annunciation"] == "suppressed")
    if state in CORE:
        assert Memory(core=state).active is (row["process_condition"] == "abnormal")
        takes_an_acknowledgement = not step(Memory(core=state), Event.ACKNOWLEDGED).ignored
        assert takes_an_acknowledgement is (row["acknowledge_status"] == "unacknowledged")


def test_table_and_ignored_pairs_are_all_pairs_and_do_not_overlap() -> None:
    assert set(TABLE) | set(IGNORED) == set(product(State, Event))
    assert not set(TABLE) & set(IGNORED)
    assert all(IGNORED.values())


def test_every_state_is_reached_from_normal() -> None:
    for kind, expected in ((PLAIN, set(State) - set(CORE[4:])), (LATCHING, set(State) - {CORE[3]})):
        seen, ahead = {Memory()}, [Memory()]
        while ahead:
            memory = ahead.pop()
            after = {step(memory, event, kind, one_shot=shot).memory for event in Event for shot in (False, True)}
            ahead += after - seen
            seen |= after
        assert {memory.shown for memory in seen} == expected


def test_every_guard_is_used() -> None:
    assert {move.guard for moves in TABLE.values() for move in moves} == set(Guard)


def test_an_illegal_act_is_answered_and_changes_nothing() -> None:
    outcome = step(Memory(), Event.ACKNOWLEDGED)
    assert outcome.memory == Memory()
    assert outcome.ignored == "nothing to acknowledge"
    assert step(Memory(core=State.LATCHED_UNACKNOWLEDGED), Event.LATCHED_RESET).ignored == "acknowledge it first"
    assert step(Memory(shelved=True), Event.RETURNED).ignored  # no guard holds: it was not on


def test_the_strongest_suppression_is_shown_and_the_others_stay_beneath() -> None:
    memory = Memory()
    for event, shown in (
        (Event.SHELVED, State.SHELVED),
        (Event.SUPPRESSED, State.SUPPRESSED_BY_DESIGN),
        (Event.REMOVED_FROM_SERVICE, State.OUT_OF_SERVICE),
        (Event.RAISED, State.OUT_OF_SERVICE),
        (Event.RETURNED_TO_SERVICE, State.SUPPRESSED_BY_DESIGN),
        (Event.SHELF_EXPIRED, State.SUPPRESSED_BY_DESIGN),
        (Event.UNSUPPRESSED, State.UNACKNOWLEDGED),
    ):
        memory = step(memory, event).memory
        assert memory.shown is shown


def test_an_alarm_that_latched_while_it_was_shelved_comes_back_latched() -> None:
    memory = Memory()
    for event in (Event.SHELVED, Event.RAISED, Event.RETURNED, Event.UNSHELVED):
        outcome = step(memory, event, LATCHING)
        memory = outcome.memory
    assert memory.shown is State.LATCHED_UNACKNOWLEDGED
    assert outcome.asks_anew


@pytest.mark.parametrize("hide", [Event.SHELVED, Event.SUPPRESSED, Event.REMOVED_FROM_SERVICE])
def test_an_alarm_that_had_returned_comes_back_normal(hide: Event) -> None:
    back = {
        Event.SHELVED: Event.UNSHELVED,
        Event.SUPPRESSED: Event.UNSUPPRESSED,
        Event.REMOVED_FROM_SERVICE: Event.RETURNED_TO_SERVICE,
    }
    hidden = step(Memory(core=State.RETURNED_UNACKNOWLEDGED), hide).memory
    assert step(hidden, back[hide]).state is State.NORMAL  # tr-33, tr-35, tr-37: nothing latched


def test_a_one_shot_shelf_of_a_latching_alarm_ends_latched() -> None:
    memory = step(Memory(core=State.ACKNOWLEDGED), Event.SHELVED, LATCHING, one_shot=True).memory
    assert step(memory, Event.RETURNED, LATCHING).state is State.LATCHED_UNACKNOWLEDGED


KINDS = st.sampled_from([PLAIN, LATCHING, SELF_ACKNOWLEDGING])


@given(KINDS, st.lists(st.tuples(st.sampled_from(Event), st.booleans()), max_size=40))
def test_laws_of_any_history(kind: Kind, events: list[tuple[Event, bool]]) -> None:
    memory, on, latched = Memory(), False, False
    for event, one_shot in events:
        before = memory
        outcome = step(memory, event, kind, one_shot=one_shot)
        memory = outcome.memory
        on = on if outcome.ignored or event not in (Event.RAISED, Event.RETURNED) else event is Event.RAISED
        assert memory.active is on  # hiding never loses the condition
        if kind.latching and event is Event.RETURNED and not outcome.ignored:
            latched = True
        if event in (Event.LATCHED_RESET, Event.RAISED) and not outcome.ignored:
            latched = False
        if latched:  # a latch is lost by nothing but a reset or a new occurrence
            assert memory.core in (State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED)
        if outcome.ignored:
            assert memory == before
        if memory.hidden:
            assert memory.core in (State.NORMAL, State.UNACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED)
        if memory.core is State.ACKNOWLEDGED and before.core is not State.ACKNOWLEDGED:
            assert event is Event.ACKNOWLEDGED
        assert outcome.asks_anew is (
            not outcome.ignored
            and not memory.hidden
            and (
                (memory.core is State.UNACKNOWLEDGED and before.shown is not State.UNACKNOWLEDGED)
                or event is Event.RAISED_AGAIN
                or (memory.core is State.LATCHED_UNACKNOWLEDGED and before.hidden)
            )
        )
