"""The receipts that are not decided yet: a room of the core, so that they outlive a crash in the middle of a delivery.

Numbers them 1, 2, 3 ...; what is decided is in the record book and leaves the room. No I/O, no clock.
"""

from collections.abc import Mapping
from typing import Any, Final

from inventory.receipts import Receipt, Stage, receipt_of

_NEXT: Final = "next"
_PAPERS: Final = "papers"
MOST_PAPERS: Final = 50
"""So many decided receipts are at hand for a delivery note to be made of their papers; the oldest gives way."""


class Receipts:
    """Open receipts by number."""

    def __init__(self) -> None:
        self._open: dict[int, Receipt] = {}
        self._next = 1
        self._papers: dict[int, dict[str, Any]] = {}
        self._dirty: set[int] = set()
        self._papers_dirty = False

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

    def paper(self, number: int) -> dict[str, Any] | None:
        """What the papers of a decided receipt state, as the fields of a delivery note; None once one was made."""
        return self._papers.get(number)

    def keep_paper(self, number: int, fields: dict[str, Any] | None) -> None:
        """fields: None when its delivery note is in the book."""
        if fields is None:
            self._papers.pop(number, None)
        else:
            self._papers[number] = fields
            for oldest in sorted(self._papers)[:-MOST_PAPERS]:
                del self._papers[oldest]
        self._papers_dirty = True

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        numbers = sorted(self._dirty) if changed_only else sorted(self._open)
        self._dirty.clear()
        saved: dict[str, Any] = {
            str(number): self._open[number].json() if number in self._open else None for number in numbers
        }
        if numbers:
            saved[_NEXT] = self._next
        if self._papers_dirty or (self._papers and not changed_only):
            saved[_PAPERS] = {str(number): fields for number, fields in self._papers.items()}
            self._papers_dirty = False
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for key, state in sorted(saved.items()):
            if key == _NEXT:
                self._next = int(state)
            elif key == _PAPERS:
                self._papers = {int(number): fields for number, fields in state.items()}
            elif state is not None:
                self._open[int(key)] = receipt_of(state)
        self._open = dict(sorted(self._open.items()))
