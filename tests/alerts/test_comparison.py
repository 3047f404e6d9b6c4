"""Two settings over the same past: what counts as raised, missed, new and later. The house's own rules."""

import pytest

from alerts.alarm import Transition
from alerts.comparison import Stretch, compared, side_by_side, stretches
from alerts.lifecycle import Event, State


def spans(*pairs: tuple[int, int | None]) -> list[Stretch]:
    return [Stretch(start, end) for start, end in pairs]


@pytest.mark.parametrize(
    ("first", "other", "raised", "missed", "new", "later_s"),
    [
        (spans((0, 9_000)), spans((2_000, 8_000)), 1, 0, 0, 2.0),
        (spans((0, 9_000)), spans((9_000, 12_000)), 1, 0, 0, 9.0),
        (spans((0, 9_000)), spans((9_001, 12_000)), 1, 1, 1, None),
        (spans((5_000, None)), spans((3_000, None)), 1, 0, 0, -2.0),
        (spans((0, 1_000), (5_000, 6_000)), spans((0, 6_000)), 1, 0, 0, -2.5),
        (spans((0, 6_000)), spans((0, 1_000), (5_000, 6_000)), 2, 0, 0, 0.0),
        (spans((0, 1_000), (5_000, None)), [], 0, 2, 0, None),
        ([], spans((1, 2)), 1, 0, 1, None),
    ],
)
def test_a_stretch_is_missed_where_the_other_setting_has_none_that_overlaps(
    first: list[Stretch], other: list[Stretch], raised: int, missed: int, new: int, later_s: float | None
) -> None:
    found = compared(first, other)
    assert (found.raised, len(found.missed), len(found.new), found.later_s) == (raised, missed, new, later_s)


def test_stretches_go_from_raised_to_returned_also_while_hidden() -> None:
    def told(time_ms: int, event: Event, state: State) -> Transition:
        return Transition(time_ms, 0, "T1", "high", 2, event, state, 1)

    found = stretches(
        [
            told(1, Event.SHELVED, State.SHELVED),
            told(2, Event.RAISED, State.SHELVED),
            told(3, Event.UNSHELVED, State.UNACKNOWLEDGED),
            told(4, Event.RETURNED, State.RETURNED_UNACKNOWLEDGED),
            told(5, Event.RAISED, State.UNACKNOWLEDGED),
        ]
    )
    assert found == {"T1.high": spans((2, 4), (5, None))}


def test_every_alarm_that_any_setting_raised_has_its_line() -> None:
    lines = side_by_side({"a.high": spans((0, 1))}, [{"b.low": spans((0, 1))}, {}])
    assert list(lines) == ["a.high", "b.low"]
    raised, (first, second) = lines["a.high"]
    assert (raised, len(first.missed), len(second.missed)) == (1, 1, 1)
    assert len(lines["b.low"][1][0].new) == 1
