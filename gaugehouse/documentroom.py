"""The documents of days that are not closed, their numbers, and what must be remembered of the closed ones.

A Room of the core. Numbers rise from 1 and are never used twice, also not that of a document that was undone. A day is
closed for one product, and every day before it with it: the book of a day begins where the day before ended. No I/O,
no clock.
"""

from collections.abc import Collection, Iterator, Mapping
from statistics import median
from typing import Any, Final, NamedTuple

from inventory.documentguards import Read, Same
from inventory.documents import Document, DocumentKind, document_from, document_json

USUAL_OF: Final = 30
USUAL_FROM: Final = 5
"""The usual volume is the median of up to 30 papers of a kind at a tank, once there are 5: our own choice."""

REMEMBERED: Final = 20_000
"""Paper numbers of closed days that are remembered to find a paper that comes twice; the oldest are forgotten."""

Key = tuple[str, str, str]


class Opening(NamedTuple):
    """The opening balance of a tank and owner."""

    number: int
    day: str


class Mark(NamedTuple):
    """A place to rewind to."""

    next_number: int
    sizes: dict[str, list[tuple[int, float]]]
    reads: dict[str, list[Read]]
    openings: dict[str, Opening]
    taken_out: dict[str, list[int]]


class Documents:
    """See the file's own words."""

    def __init__(self) -> None:
        self._next = 1
        self._open: dict[int, Document] = {}
        self._days: dict[tuple[str, DocumentKind], dict[int, Document]] = {}
        self._closed: dict[str, str] = {}
        self._openings: dict[str, Opening] = {}
        self._reads: dict[str, list[Read]] = {}
        self._sizes: dict[str, list[tuple[int, float]]] = {}
        self._kept: dict[str, list[list[Any]]] = {}
        self._papers: dict[tuple[str, str], list[Same]] = {}
        self._taken_out: dict[str, list[int]] = {}
        self._dirty: set[str] = set()

    def __len__(self) -> int:
        return len(self._open)

    @property
    def next_number(self) -> int:
        return self._next

    def get(self, number: int) -> Document | None:
        """A document of a day that is not closed."""
        return self._open.get(number)

    def all(self) -> Iterator[Document]:
        """Documents of days that are not closed, by number."""
        return iter(list(self._open.values()))

    def of_day(self, day: str, *kinds: DocumentKind) -> list[Document]:
        """Documents of some kinds and one day, as long as it is not closed for their product."""
        return [one for kind in kinds for one in self._days.get((day, kind), {}).values()]

    def is_closed(self, day: str, product: str) -> bool:
        return day <= self._closed.get(product, "")

    def closed_through(self, product: str) -> str:
        """The last day that is closed for a product, "" for none."""
        return self._closed.get(product, "")

    def close(self, day: str, product: str) -> list[Document]:
        """Close a day, and all before it, for a product. Answers the documents that are fixed by it."""
        if self.is_closed(day, product):
            return []
        self._closed[product] = day
        self._dirty.add("closed")
        gone = [one for one in self._open.values() if one.product == product and one.day <= day]
        for one in gone:
            self._leave(one)
            self._dirty.add(str(one.number))
            if one.paper and one.details.get("reverses") is None:
                self._kept.setdefault(one.day, []).append([one.kind.value, one.paper, one.number, one.tank])
                self._dirty.add(f"papers:{one.day}")
        self._forget()
        return gone

    def _forget(self) -> None:
        """Let the oldest paper numbers go."""
        count = sum(map(len, self._kept.values()))
        for day in sorted(self._kept):
            if count <= REMEMBERED:
                return
            for kind, paper, number, _ in self._kept[day]:
                self._drop_paper(kind, paper, number)
            count -= len(self._kept.pop(day))
            self._dirty.add(f"papers:{day}")

    def add(self, document: Document) -> None:
        """Take a document in; its number is `next_number`."""
        if document.number != self._next:
            raise ValueError(f"document {document.number} out of turn; the next is {self._next}")
        self._next += 1
        self._enter(document)
        self._dirty |= {"next", str(document.number)}
        self._note(document)
        said = size_of(document)
        if said and document.details.get("reverses") is None:
            key = usual_key(document)
            self._sizes[key] = [*self._sizes.get(key, ()), (document.number, said)][-USUAL_OF:]
            self._dirty.add(f"usual:{key}")
        if document.kind is DocumentKind.OPENING:
            self._openings[opening_key(document.tank, document.owner)] = Opening(document.number, document.day)
            self._dirty.add("openings")
        meter, closing = document.details.get("meter"), document.details.get("meter_closing_m3")
        if meter is not None and closing is not None and document.details.get("reverses") is None:
            reads = [*self._reads.get(meter, ()), Read(document.number, document.day, closing)]
            self._reads[meter] = sorted(reads, key=lambda read: (read.day, read.number))[-USUAL_OF:]
            self._dirty.add(f"read:{meter}")

    def _enter(self, document: Document) -> None:
        self._open[document.number] = document
        self._days.setdefault((document.day, document.kind), {})[document.number] = document

    def _leave(self, document: Document) -> None:
        del self._open[document.number]
        key = (document.day, document.kind)
        del self._days[key][document.number]
        if not self._days[key]:
            del self._days[key]

    def _note(self, document: Document) -> None:
        if document.paper and document.details.get("reverses") is None:
            key = (document.kind.value, document.paper.casefold())
            self._papers.setdefault(key, []).append(Same(document.number, document.tank))

    def _drop_paper(self, kind: str, paper: str, number: int) -> None:
        key = (kind, paper.casefold())
        left = [same for same in self._papers.get(key, ()) if same.number != number]
        if left:
            self._papers[key] = left
        else:
            self._papers.pop(key, None)

    def undo(self, number: int) -> Document:
        """Take a document of an open day out again. Raises KeyError where there is none."""
        document = self._open[number]
        self._leave(document)
        self._dirty.add(str(number))
        self._drop_paper(document.kind.value, document.paper, number)
        key = usual_key(document)
        if key in self._sizes:
            self._sizes[key] = [one for one in self._sizes[key] if one[0] != number]
            self._dirty.add(f"usual:{key}")
        if document.kind is DocumentKind.OPENING:
            self._openings.pop(opening_key(document.tank, document.owner), None)
            self._dirty.add("openings")
        meter = document.details.get("meter")
        if meter in self._reads:
            self._reads[meter] = [read for read in self._reads[meter] if read.number != number]
            self._dirty.add(f"read:{meter}")
        for old, by in list(self._taken_out.items()):
            if number in by:
                self._taken_out[old] = [one for one in by if one != number]
                if not self._taken_out[old]:
                    del self._taken_out[old]
                self._dirty.add("taken_out")
        return document

    def take_out(self, number: int, by: int) -> None:
        """Remember that a document of a closed day was taken out, or put right, by a newer document."""
        self._taken_out.setdefault(str(number), []).append(by)
        self._dirty.add("taken_out")

    def taken_out_by(self, number: int) -> list[int]:
        """Documents that take out or put right a document of a closed day."""
        return list(self._taken_out.get(str(number), ()))

    def mark(self) -> "Mark":
        """Where the room stands, to `rewind` to in the same tick."""
        taken = {key: list(some) for key, some in self._taken_out.items()}
        return Mark(self._next, dict(self._sizes), dict(self._reads), dict(self._openings), taken)

    def rewind(self, mark: "Mark") -> None:
        """As if nothing had been added since the mark; what was undone since must have been added since."""
        for number in range(mark.next_number, self._next):
            if number in self._open:
                self.undo(number)
        self._next = mark.next_number
        self._sizes, self._reads, self._openings = dict(mark.sizes), dict(mark.reads), dict(mark.openings)
        self._taken_out = mark.taken_out

    def same_paper(self, kind: DocumentKind, paper: str) -> list[Same]:
        """Documents that stand with a paper's number; one that was taken out again counts no more."""
        found = self._papers.get((kind.value, paper.casefold()), ()) if paper else ()
        return sorted(same for same in found if str(same.number) not in self._taken_out)

    def opening(self, tank: str, owner: str) -> Opening | None:
        return self._openings.get(opening_key(tank, owner))

    def usual_m3(self, kind: DocumentKind, tank: str) -> float | None:
        sizes = self._sizes.get(f"{kind.value}|{tank}", ())
        return median(size for _, size in sizes) if len(sizes) >= USUAL_FROM else None

    def last_read(self, meter: str, day: str, ignoring: Collection[int] = ()) -> Read | None:
        """The newest reading of a totaliser up to a day, but for some documents."""
        reads = reversed(self._reads.get(meter, ()))
        return next((read for read in reads if read.day <= day and read.number not in ignoring), None)

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = set(self._dirty) if changed_only else self._names()
        self._dirty.clear()
        return {name: self._state(name) for name in sorted(names)}

    def _names(self) -> set[str]:
        names = {"next", "closed", "openings", "taken_out", *map(str, self._open)}
        names |= {f"usual:{key}" for key in self._sizes} | {f"read:{key}" for key in self._reads}
        return names | {f"papers:{day}" for day in self._kept}

    def _state(self, name: str) -> Any:
        kind, _, key = name.partition(":")
        match kind:
            case "next":
                return self._next
            case "closed":
                return dict(self._closed)
            case "openings":
                return {key: list(one) for key, one in self._openings.items()}
            case "taken_out":
                return {key: list(some) for key, some in self._taken_out.items()}
            case "usual":
                return self._sizes.get(key) or None
            case "read":
                return [list(one) for one in self._reads.get(key, ())] or None
            case "papers":
                return self._kept.get(key)
            case _:
                document = self._open.get(int(name))
                return None if document is None else document_json(document)

    def restore(self, saved: Mapping[str, Any]) -> None:
        self._next = saved.get("next", 1)
        self._closed = dict(saved.get("closed", {}))
        self._openings = {key: Opening(*one) for key, one in saved.get("openings", {}).items()}
        self._taken_out = {key: list(some) for key, some in saved.get("taken_out", {}).items()}
        numbers = sorted(int(name) for name in saved if name.isdigit())
        self._open, self._days, self._papers = {}, {}, {}
        for number in numbers:
            self._enter(document_from(saved[str(number)]))
        for name, state in saved.items():
            kind, _, key = name.partition(":")
            if kind == "usual":
                self._sizes[key] = [(int(number), float(size)) for number, size in state]
            elif kind == "read":
                self._reads[key] = [Read(*one) for one in state]
            elif kind == "papers":
                self._kept[key] = [list(one) for one in state]
                for what, paper, number, tank in state:
                    self._papers.setdefault((what, paper.casefold()), []).append(Same(number, tank))
        for document in self._open.values():
            self._note(document)


def size_of(document: Document) -> float:
    """How much a paper is about, without a sign: observed, or standard where it gives no observed volume."""
    drawn = document.details.get("drawn_m3")
    said = drawn if drawn is not None else document.observed_m3
    return abs(float(said if said is not None else document.standard_m3 or 0.0))


def usual_key(document: Document) -> str:
    return f"{document.kind.value}|{document.tank}"


def opening_key(tank: str, owner: str) -> str:
    return f"{tank}|{owner}"
