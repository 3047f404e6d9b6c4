"""In what a movement differs from the one that was ordered. Reference: orders and movements that are made up here."""

import json
from dataclasses import replace

import pytest

from inventory.moved import Moved
from inventory.movement import Movement, Stage, Stand, movement_of
from inventory.ordered import Compared, Order, compared, moved_before

MADE_MS = 1_769_846_400_000
ORDER = Order("receipt", "jet", 30.0, 60 / 3600, "Ann", MADE_MS)


def movement(**changes: object) -> Movement:
    """30 m3 received in half an hour, ten minutes after it was ordered."""
    stand = Stand(6.0, 470.0, 470.0, None, None)
    whole = Movement(
        "elm", 1, 1, 0, MADE_MS + 600_000, 10.0, stand, stand._replace(tov_m3=500.0, volume_m3=500.0), 1_800_000,
        MADE_MS + 2_400_000, 10.0, Stage.FINAL, ordered="yes", order=tuple(ORDER), product="jet",
    )  # fmt: skip
    return replace(whole, **changes)  # type: ignore[arg-type]  # the fields by name


def test_one_that_is_as_ordered_differs_in_nothing() -> None:
    assert compared(movement(), Moved(30.1, 0.2)) == Compared(
        (), pytest.approx(0.1), pytest.approx(1.0033, abs=1e-4), -600.0
    )


@pytest.mark.parametrize(
    ("changes", "tov_m3", "differs"),
    [
        ({}, 31.0, ("quantity",)),
        ({}, 29.0, ("quantity",)),
        ({"stage": Stage.MOVING, "end_at_ms": None}, 12.0, ()),  # so far
        ({"stage": Stage.MOVING, "end_at_ms": None}, 31.0, ("quantity",)),
        ({"ordered_before_m3": 18.0}, 12.0, ("rate",)),  # the second load of one order
        ({"end_at_ms": 1_200_000}, 30.0, ("rate",)),
        ({"start_ms": MADE_MS - 120_000}, 30.0, ("time",)),
        ({"product": "avgas"}, 30.0, ("product",)),
        ({"ordered": "no"}, 30.0, ("direction",)),
        ({"ordered": "no", "order": None}, 30.0, ("tank",)),
        ({"ordered": "no", "order": None, "pair": "oak:1"}, 30.0, ()),  # the other side of what was ordered
        ({"ordered": "", "order": None}, 30.0, ()),
    ],
)
def test_what_differs_is_named(changes: dict[str, object], tov_m3: float, differs: tuple[str, ...]) -> None:
    assert compared(movement(**changes), Moved(tov_m3, 0.2)).differs == differs


def test_what_the_tank_cannot_resolve_is_no_difference() -> None:
    assert compared(movement(), Moved(31.0, 1.5)).differs == ()
    assert compared(movement(), Moved(31.0, 1.5)).more_m3 == pytest.approx(1.0)


def test_an_issue_is_compared_by_what_left() -> None:
    issue = movement(sign=-1, order=tuple(ORDER._replace(kind="issue")))
    told = compared(issue, Moved(-34.0, 0.2))
    assert told.differs == ("quantity",)
    assert told.more_m3 == pytest.approx(4.0)


def test_earlier_movements_of_the_same_order_count() -> None:
    kept = movement_of(json.loads(json.dumps(movement().json())))  # an order outlives a restart
    other = movement(order=tuple(ORDER._replace(made_ms=MADE_MS - 1)))
    assert moved_before(ORDER, [kept, other, movement(ordered="no")]) == pytest.approx(30.0)
