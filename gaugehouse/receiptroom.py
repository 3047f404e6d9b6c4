"""The receipts that are not decided yet: a room of the core, so that they outlive a crash in the middle of a delivery.

Numbers them 1, 2, 3 ...; what is decided is in the record book and leaves the room. No I/O, no clock.
"""

from collections.abc import Mapping
from typing import Any, Final

from inventory.receipts import Receipt, Stage, receipt_of

_NEXT: Final = "next"


class Receipts:
    """Open receipts by number."""

    def __init__(self) -> None:
        self._open: dict[int, Receipt] = {}
        self._next = 1
        self._dirty: set[int] = set()

    def __bool__(self) -> bool:
        return bool(self._open)

    def all(self) -> list[Receipt]:
        return list(self._open.values())

    def get(self, number: int) -> Receipt | None:
        return self._open.get(number)

    @property
    def next_number(self) -> int:
        return self._next

    def running(self, tank: str | None = None) -> list[Receipt]:
        """Those that were started: one a tank, as a tank has one plan."""
        return [r for r in self._open.values() if r.stage is Stage.STARTED and tank in (None, r.tank)]

    def add(self, receipt: Receipt) -> None:
        """Take in a receipt that bears the next number."""
        self._open[receipt.number] = receipt
        self._next = receipt.number + 1
        self._dirty.add(receipt.number)

    def changed(self, receipt: Receipt) -> None:
        """Say that something of it is to be kept."""
        self._dirty.add(receipt.number)

    def leave(self, receipt: Receipt) -> None:
        """It is decided, or called off."""
        del self._open[receipt.number]
        self._dirty.add(receipt.number)

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        numbers = sorted(self._dirty) if changed_only else sorted(self._open)
        self._dirty.clear()
        saved: dict[str, Any] = {
            str(number): self._open[number].json() if number in self._open else None for number in numbers
        }
        return saved | {_NEXT: self._next} if numbers else saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for key, state in sorted(saved.items()):
            if key == _NEXT:
                self._next = int(state)
            elif state is not None:
                self._open[int(key)] = receipt_of(state)
        self._open = dict(sorted(self._open.items()))
