"""A movement that was found, held against the one that a person ordered: in what it differs, and by how much.

Knows an order's figures and the movement's; refuses to know where orders are kept and to say which of the two is right.
"""

from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from inventory.moved import Moved
from inventory.movement import Movement, Stage

RECEIPT: Final = "receipt"
"""An order of this kind flows into the tank; every other out of it."""

QUANTITY_FRAC: Final = 0.02
"""Tank and paper never agree to the last litre: so much of the quantity is no difference (ours)."""

RATE_FRAC: Final = 0.15
"""A slow start and a valve that closes are in the mean rate (ours)."""

TANK, DIRECTION, PRODUCT, QUANTITY, RATE, TIME = "tank", "direction", "product", "quantity", "rate", "time"


class Order(NamedTuple):
    """What was ordered of a tank: at made_ms of the site's time, by whom. Rates in m3/s, None where none was agreed."""

    kind: str
    product: str
    quantity_m3: float
    rate_m3_per_s: float | None
    by: str
    made_ms: int


class Compared(NamedTuple):
    """more_m3: moved less ordered, all movements of the order up to this one; rate_ratio: mean rate by the agreed one;
    early_s: how long before the order was made it began, negative after it. differs: what is more than measurement and
    custom explain. None: not known, or not yet."""

    differs: tuple[str, ...]
    more_m3: float | None = None
    rate_ratio: float | None = None
    early_s: float | None = None


NOT_COMPARED: Final = Compared(())


def compared(movement: Movement, moved: Moved) -> Compared:
    """How a movement differs from what was ordered; nothing where nothing was planned.

    A transfer's other side may be what the order was for.
    """
    m = movement
    if m.ordered == "no":
        return Compared((DIRECTION,) if m.order is not None else () if m.pair else (TANK,))
    if m.order is None:
        return NOT_COMPARED
    order = Order(*m.order)
    more = m.sign * moved.tov_m3 + m.ordered_before_m3 - order.quantity_m3
    early_s = (order.made_ms - m.start_ms) / 1000
    ratio = None
    if m.stage is Stage.FINAL and order.rate_m3_per_s and m.end_at_ms is not None and m.end_at_ms > m.start_at_ms:
        ratio = m.sign * moved.tov_m3 / ((m.end_at_ms - m.start_at_ms) / 1000) / order.rate_m3_per_s
    return Compared(tuple(_differing(m, moved, order, more, ratio, early_s)), more, ratio, early_s)


def _differing(
    m: Movement, moved: Moved, order: Order, more_m3: float, ratio: float | None, early_s: float
) -> Iterator[str]:
    if m.product and order.product and m.product != order.product:
        yield PRODUCT
    allowed = max(moved.tov_u95_m3, QUANTITY_FRAC * order.quantity_m3)
    if more_m3 > allowed or (m.stage is Stage.FINAL and more_m3 < -allowed):
        yield QUANTITY
    if ratio is not None and abs(ratio - 1) > RATE_FRAC:
        yield RATE
    if early_s > (m.start_u95_s or 0.0) + 1:
        yield TIME


def moved_before(order: Order, others: Iterable[Movement]) -> float:
    """What earlier movements of the same order have moved, m3, positive."""
    return sum(
        abs(other.end.tov_m3 - other.start.tov_m3)
        for other in others
        if other.order is not None and other.ordered == "yes" and Order(*other.order) == order
    )
