"""What is closed of the stock book: days and months of each product, signed by whom. A Room of the core.

A month is closed in its order and never opened again; what was wrong is put right by new documents of open days. The
signed figures themselves are in the record book; here stands only what decides whether the next close may come.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

DAY, MONTH = "day", "month"


class Closed(NamedTuple):
    """The newest close of a product. through: the last day that it closes; name: the day or the month."""

    period: str
    name: str
    through: str
    by: str
    time_ms: int


class Closes:
    """See the file's own words."""

    def __init__(self) -> None:
        self._newest: dict[str, Closed] = {}
        self._months: dict[str, Closed] = {}
        self._dirty: set[str] = set()

    def newest(self, product: str) -> Closed | None:
        return self._newest.get(product)

    def closed(self, product: str, period: str, name: str) -> Closed | None:
        """The close that covers a day or a month: of a day also one of a later day or of its month."""
        month = self._months.get(product)
        if period == MONTH:
            return month if month is not None and name <= month.name else None
        newest = self._newest.get(product)
        return newest if newest is not None and name <= newest.through else None

    def sign(self, product: str, closed: Closed) -> None:
        before = self._newest.get(product)
        if before is None or closed.through >= before.through:
            self._newest[product] = closed
        if closed.period == MONTH:
            self._months[product] = closed
        self._dirty.add(product)

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = set(self._dirty) if changed_only else {*self._newest, *self._months}
        self._dirty.clear()
        return {
            name: {
                "newest": list(self._newest[name]) if name in self._newest else None,
                "month": list(self._months[name]) if name in self._months else None,
            }
            for name in sorted(names)
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if state["newest"] is not None:
                self._newest[name] = Closed(*state["newest"])
            if state["month"] is not None:
                self._months[name] = Closed(*state["month"])
