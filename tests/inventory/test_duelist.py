"""The due list: the state of each row, and the order in which they want attention."""

from hypothesis import given
from hypothesis import strategies as st

from inventory.duelist import DAY_MS, ORDER, Due, DueState, counted, listed

NOW = 1_000 * DAY_MS


def due(from_ms: int | None, until_ms: int | None, about: str = "palm") -> Due:
    return Due("drain check", about, "look for water", from_ms, until_ms, "operator", "/water")


def test_each_state() -> None:
    assert due(None, None).state(NOW) is DueState.OVERDUE
    assert due(NOW - 2, NOW).state(NOW) is DueState.OVERDUE
    assert due(NOW, NOW + 1).state(NOW) is DueState.DUE
    assert due(None, NOW + 1).state(NOW) is DueState.DUE
    assert due(NOW + 1, NOW + DAY_MS).state(NOW) is DueState.COMING
    assert due(NOW + 7 * DAY_MS, NOW + 8 * DAY_MS).state(NOW) is DueState.COMING
    assert due(NOW + 7 * DAY_MS + 1, NOW + 8 * DAY_MS).state(NOW) is DueState.LATER


def test_what_was_never_done_stands_before_all() -> None:
    rows = listed([due(NOW, NOW + 9, "a"), due(None, None, "b"), due(0, 5, "c"), due(0, 3, "d")], NOW)
    assert [row.about for _, row in rows] == ["b", "d", "c", "a"]
    assert counted(rows) == {"overdue": 3, "due": 1, "coming": 0, "later": 0}


times = st.none() | st.integers(NOW - 20 * DAY_MS, NOW + 20 * DAY_MS)


@given(st.lists(st.tuples(times, times), max_size=30))
def test_nothing_is_lost_and_the_order_holds(pairs: list[tuple[int | None, int | None]]) -> None:
    rows = listed([due(*pair) for pair in pairs], NOW)
    assert len(rows) == len(pairs)
    places = [ORDER[state] for state, _ in rows]
    assert places == sorted(places)
    assert sum(counted(rows).values()) == len(pairs)
