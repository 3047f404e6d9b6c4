"""The table of tank states: whole, without overlap, every state reachable, and drawn as the documentation has it."""

from itertools import product
from pathlib import Path

import pytest

from inventory import statusdiagram
from inventory.status import IGNORED, MAY_ISSUE, TABLE, UNMET, E, Facts, G, NoMove, S, move

DOC = Path(__file__).parents[2] / "docs" / "tank-status.md"


def test_every_pair_of_state_and_event_is_a_move_or_is_ignored_with_words():
    assert set(TABLE) | set(IGNORED) == set(product(S, E))
    assert not set(TABLE) & set(IGNORED)
    assert all(IGNORED.values())


def test_a_pair_whose_guards_may_all_fail_has_words_for_it_and_no_other_has():
    open_ended = {pair for pair, moves in TABLE.items() if moves[-1][0] is not G.ALWAYS}
    assert set(UNMET) == open_ended


def test_what_stands_after_a_move_without_a_condition_would_never_be_taken():
    for pair, moves in TABLE.items():
        assert all(guard is not G.ALWAYS for guard, _ in moves[:-1]), pair


def test_every_state_can_be_reached_from_a_tank_of_which_nothing_is_known():
    reached, grown = {S.AWAITING_TEST}, True
    while grown:
        more = {to for (status, _), moves in TABLE.items() if status in reached for _, to in moves}
        grown = not more <= reached
        reached |= more
    assert reached == set(S)


def test_only_a_person_leads_to_a_state_that_may_issue_unless_it_was_so_before():
    for (status, event), moves in TABLE.items():
        for guard, to in moves:
            if to in MAY_ISSUE and status not in MAY_ISSUE:
                assert event is E.RELEASE or guard in (G.WAS_RELEASED, G.WAS_IN_USE)


@pytest.mark.parametrize("status", [S.SETTLING, S.AWAITING_TEST, S.RELEASED, S.IN_USE])
def test_a_receipt_voids_whatever_was_there(status):
    assert move(status, E.FLOW_IN, Facts()) is S.RECEIVING


def test_a_tank_that_settles_is_released_only_where_the_site_allows_the_person():
    assert isinstance(move(S.SETTLING, E.RELEASE, Facts(settling=True)), NoMove)
    assert move(S.SETTLING, E.RELEASE, Facts(settling=True, early=True)) is S.RELEASED


@pytest.mark.parametrize(
    ("facts", "to"),
    [
        (Facts(receives=True, settling=True), S.RECEIVING),
        (Facts(settling=True), S.SETTLING),
        (Facts(), S.AWAITING_TEST),
    ],
)
def test_after_a_quarantine_it_is_where_the_flow_and_the_countdown_say_and_never_released(facts, to):
    assert move(S.QUARANTINED, E.LIFT, facts) is to
    assert move(S.OUT_OF_SERVICE, E.RETURN, facts) is to


def test_the_page_is_what_the_table_gives():
    told = "run: python -m inventory.statusdiagram > docs/tank-status.md"
    assert DOC.read_text(encoding="utf-8") == statusdiagram.document(), told


def test_the_page_has_a_row_for_every_move_and_the_picture_every_state():
    assert statusdiagram.move_rows().count("\n| ") + 1 == sum(len(moves) for moves in TABLE.values())
    assert all(
        f" : {letter} {status.value}" in statusdiagram.picture() for status, letter in statusdiagram.LETTERS.items()
    )
