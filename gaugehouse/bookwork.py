"""The stock book of a site, put together: documents and closes of the record book, stands by the kept readings.

Reads, and changes nothing. One period (a day or a month) of one product at a time: its tanks day by day, the product,
its owners, stock outside the tanks, the split of each variance and what the tank can tell of it.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final, NamedTuple

from gaugehouse.bookfill import Filled, filled
from gaugehouse.bookmoves import Moves
from gaugehouse.boundary import Boundaries, Readings
from gaugehouse.closerecords import Signed, closes_of
from gaugehouse.closeroom import DAY, MONTH
from gaugehouse.days import Days
from gaugehouse.diprecords import dips_of
from gaugehouse.documentrecords import documents_of
from gaugehouse.errors import CallError
from gaugehouse.movementrecords import movement_rows
from gaugehouse.site import Site
from history.book import BookReader
from inventory.account import (
    ZERO,
    Column,
    Entry,
    Opening,
    Physical,
    Volumes,
    entries_of,
    in_force,
    less,
    openings_of,
    total,
    unmeasured,
    volumes_of,
)
from inventory.book import Day, Row, month_row, tank_days
from inventory.crossing import crossings
from inventory.documents import Document, DocumentKind
from inventory.judging import Judged, judged_product, judged_tank
from inventory.outside import OutsideRow, outside_rows
from inventory.owners import OwnerRow, owner_rows
from inventory.tolerances import Outcome

FILLED_DAYS: Final = 40
"""Papers older than this before a month get no volume that they do not state: nothing of the month needs it."""

FARTHEST_DAYS: Final = 400
"""So far back a measurement is looked for that the first day can open with."""


NEVER: Final = "9999-12-31"

STANDS: Final = frozenset({DocumentKind.OPENING, DocumentKind.OUTSIDE})
"""Papers that state what is there, and not what came or went."""


class Period(NamedTuple):
    """A day or a month of a site. days: those that have begun, of one that is still to come all of them. end_ms: when
    its last day ends; over: that has come."""

    kind: str
    name: str
    days: tuple[str, ...]
    start_ms: int
    end_ms: int
    over: bool


class TankAccount(NamedTuple):
    """A tank over the period: its days, and the whole period with its judgement. begun: the day of its opening
    balance, where a month is asked for; days before it are no days of its book."""

    tank: str
    name: str
    days: tuple[Row, ...]
    whole: Judged
    by_day: tuple[Judged, ...]
    begun: str = ""

    def since(self, begun: str) -> "TankAccount":
        """Without the days before its book began; `begun` "": it has not begun, so there are none."""
        return self._replace(
            days=tuple(row for row in self.days if row.period >= (begun or NEVER)),
            by_day=tuple(one for one in self.by_day if one.row.period >= (begun or NEVER)),
            begun=begun,
        )


class Account(NamedTuple):
    """A product over the period. begun: the day on which its first tank's book began, "" for none. closed: the close
    that covers it. papers: open documents that it is made of."""

    product: str
    name: str
    period: Period
    tanks: tuple[TankAccount, ...]
    whole: Judged
    by_day: tuple[Judged, ...]
    owners: tuple[OwnerRow, ...]
    outside: tuple[OutsideRow, ...]
    closed: Signed | None
    closes: tuple[Signed, ...]
    papers: tuple[int, ...]
    head: str
    begun: str
    by_tank: int


def period_of(site: Site, kind: str, name: str, now_ms: int) -> Period:
    """The period of a name, `2026-01-31` or `2026-01`. Raises `CallError` for what is none."""
    example = "2026-01-31" if kind == DAY else "2026-01"
    try:
        first = date.fromisoformat(name if kind == DAY else f"{name}-01")
        if first.isoformat()[: len(name)] != name or len(name) != len(example):
            raise ValueError
        days = [first]
        while kind == MONTH and (after := days[-1] + timedelta(days=1)).month == first.month:
            days.append(after)
        calendar = Days(site.zone, site.day_starts_min)
        begin, last = calendar.on(days[0].isoformat()), calendar.on(days[-1].isoformat())
    except (ValueError, OverflowError):
        raise CallError(f"{name!r} is no {kind}; write it as {example}") from None
    named = tuple(day.isoformat() for day in days)
    begun = tuple(day for day in named if calendar.on(day).start_ms <= now_ms)
    return Period(kind, name, begun or named, begin.start_ms, last.end_ms, last.end_ms <= now_ms)


def today_of(site: Site, now_ms: int) -> str:
    return Days(site.zone, site.day_starts_min).at(now_ms).date


class Books:
    """Everything that a site's accounts are made from, read once. now_ms: the site's clock."""

    def __init__(self, site: Site, readings: Readings, book: BookReader, now_ms: int) -> None:
        self.site, self.now_ms = site, now_ms
        self._boundaries = Boundaries(site, readings, dips_of(book))
        self._days = Days(site.zone, site.day_starts_min)
        self.head = str(book.head())
        self.documents = documents_of(book)
        self._filled: dict[int, Filled] = {}
        self.closes = closes_of(book)
        self._openings = openings_of(self._fill([one for one in self.documents if one.kind is DocumentKind.OPENING]))
        self._moves = Moves(site, self._boundaries, movement_rows(book))

    def product_ids(self) -> list[str]:
        """Products that have a tank, in the site file's order."""
        held = {tank.product for tank in self.site.tanks}
        return [product.id for product in self.site.products if product.id in held]

    def account(self, product: str, period: Period) -> Account:
        tanks = [tank for tank in self.site.tanks if tank.product == product]
        closes = [one for one in self.closes if one.product == product]
        days = period.days
        month = self._month_to(days)
        ours = self._of_product(product, month[0], closes)
        found = crossings(self._moves.running([tank.id for tank in tanks], month), ours)
        entries = entries_of(ours, found.crossings)
        papers: dict[str, list[Document]] = {}
        for one in ours:
            papers.setdefault(one.day, []).append(one)
        accounts: list[TankAccount] = []
        for tank in tanks:
            known = [self._day(tank.id, day, papers.get(day, []), papers.get(_next(day), []), closes) for day in month]
            opening = self._openings.get(tank.id)
            before = self._before(tank.id, month[0], opening, closes)
            rows = tank_days(tank.id, product, opening, [*before.gap, *known], entries, before.physical)
            rows = rows[len(before.gap) :]
            water = self._water(ours, tank.id)
            judged = [judged_tank(self.site.accounts, self.site.reference_degC, row, rows, water) for row in rows]
            shown = len(rows) - len(days)
            whole = judged[-1] if period.kind == DAY else judged_tank(
                self.site.accounts, self.site.reference_degC, month_row(rows), rows, water
            )  # fmt: skip
            accounts.append(TankAccount(tank.id, tank.name, tuple(rows[shown:]), whole, tuple(judged[shown:])))
        wholes = [one.whole for one in accounts]
        inner = [self._inner(entries, day) for day in days]
        by_day = [
            judged_product(self.site.accounts, [one.by_day[n] for one in accounts], product, inner[n])
            for n in range(len(days))
        ]
        whole = judged_product(self.site.accounts, wholes, product, total(inner))
        if period.kind == MONTH and not period.over:
            accounts = [one._replace(whole=_goes_on(one.whole)) for one in accounts]
            whole = _goes_on(whole)
        begun = {tank.id: opening.day for tank in tanks if (opening := self._openings.get(tank.id)) is not None}
        if period.kind == MONTH:
            accounts = [one.since(begun.get(one.tank, "")) for one in accounts]
            by_day = [one for one in by_day if one.row.period >= min(begun.values(), default=NEVER)]
        last_close = closes[-1] if closes else None
        open_from = last_close.through if last_close is not None else ""
        return Account(
            product,
            self.site.product(product).name,
            period,
            tuple(accounts),
            whole,
            tuple(by_day),
            tuple(self._owners(product, period, entries, closes, whole.row)),
            tuple(self._outside(ours, entries, period)),
            next((c for c in closes if self._covers(c, period)), None),
            tuple(closes),
            tuple(one.number for one in self.documents if one.product == product and open_from < one.day <= days[-1]),
            self.head,
            min(begun.values(), default=""),
            self.by_tank(product, period),
        )

    def _month_to(self, days: Sequence[str]) -> list[str]:
        """The days of the month up to the last one asked for: cumulative sums begin with the month."""
        first, last = date.fromisoformat(days[-1][:8] + "01"), date.fromisoformat(days[-1])
        return [(first + timedelta(days=n)).isoformat() for n in range((last - first).days + 1)]

    @staticmethod
    def _covers(close: Signed, period: Period) -> bool:
        if period.kind == MONTH:
            return close.period == MONTH and close.name == period.name
        return close.through >= period.name

    def _degC(self, tank: str, day: str) -> float | None:
        if all(tank != one.id for one in self.site.tanks):
            return None
        return self._boundaries.at(tank, min(self._days.on(day).end_ms, self.now_ms)).temperature_degC

    def _of_product(self, product: str, first: str, closes: Sequence[Signed]) -> list[Document]:
        """The papers that make a product's book. Those that can bear on the month, and what owners had since their last
        signed month, have both their volumes, as far as they can be known."""
        ours = [one for one in in_force(self.documents) if one.product == product]
        since = (date.fromisoformat(first) - timedelta(days=FILLED_DAYS)).isoformat()
        if any(one.owner for one in ours):
            signed = [close.through for close in closes if close.period == MONTH and close.through < first]
            since = min(since, signed[-1] if signed else "")
        older = [one for one in ours if one.day < since]
        return older + self._fill([one for one in ours if one.day >= since])

    def _fill(self, documents: Sequence[Document]) -> list[Document]:
        for one in documents:
            if one.number not in self._filled:
                self._filled[one.number] = filled(self.site, one, self._degC)
        return [self._filled[one.number].document for one in documents]

    def by_tank(self, product: str, period: Period) -> int:
        """How many papers of a period had their other volume worked out by the tank's temperature."""
        return sum(
            1
            for one in self.documents
            if one.product == product
            and one.day in period.days
            and one.number in self._filled
            and self._filled[one.number].by_tank
        )

    # What was measured

    def _stand(self, tank: str, day: str, closes: Sequence[Signed]) -> Physical:
        """At the end of a day: as it was signed, else measured. A day that goes on is measured now."""
        end_ms = min(self._days.on(day).end_ms, self.now_ms)
        found = self._boundaries.at(tank, end_ms)
        for close in closes:
            if close.through == day and tank in close.stands and close.stands[tank].measured:
                signed = close.stands[tank]
                budget = found.budget if found.volumes == signed.volumes else None
                return found._replace(**{
                    name: getattr(signed, name) for name in ("time_ms", "source", "why", "volumes", "u95_m3")
                }) if budget is not None else signed  # fmt: skip
        return found

    def _day(
        self, tank: str, day: str, papers: Sequence[Document], after: Sequence[Document], closes: Sequence[Signed]
    ) -> Day:
        """papers: of that day; after: of the next. One that only states a stand says nothing of what moved."""
        told = any(one.kind not in STANDS for one in papers)
        if self._days.on(day).start_ms > self.now_ms:
            return Day(day, unmeasured(tank, "this day is still to come"), told)
        return Day(day, self._stand(tank, day, closes), told, self._moves.unpapered(tank, day, papers, after))

    def _before(self, tank: str, first: str, opening: Opening | None, closes: Sequence[Signed]) -> "Before":
        """What the first day opens with: the newest measurement before it, and the days without one since."""
        gap: list[Day] = []
        if opening is None or opening.day >= first:
            return Before(None, ())
        with_paper = {one.day for one in self.documents if one.kind not in STANDS}
        day = date.fromisoformat(first)
        for _ in range(FARTHEST_DAYS):
            day -= timedelta(days=1)
            name = day.isoformat()
            if name < opening.day:
                return Before(None, tuple(gap))
            physical = self._stand(tank, name, closes)
            if physical.measured:
                return Before(physical, tuple(gap))
            gap.insert(0, Day(name, physical, name in with_paper))
        return Before(None, ())

    # Beside the tanks

    def _water(self, documents: Sequence[Document], tank: str) -> dict[str, float]:
        drawn: dict[str, float] = {}
        for one in documents:
            water = one.details.get("water_m3")
            if one.tank == tank and one.kind is DocumentKind.WATER_DRAW and isinstance(water, int | float):
                drawn[one.day] = drawn.get(one.day, 0.0) + abs(water)
        return drawn

    @staticmethod
    def _inner(entries: Sequence[Entry], day: str) -> Volumes:
        """What went from tank to tank on a day, as a size."""
        return less(ZERO, total(
            one.volumes for one in entries
            if one.inner and one.day == day and one.column is Column.TRANSFERS
            and (one.volumes.gross_m3 or one.volumes.standard_m3 or 0.0) < 0
        ))  # fmt: skip

    def _owners(
        self, product: str, period: Period, entries: Sequence[Entry], closes: Sequence[Signed], whole: Row
    ) -> list[OwnerRow]:
        """The owners of a month; none where nobody is named."""
        if period.kind != MONTH:
            return []
        tanks = {tank.id for tank in self.site.tanks if tank.product == product}
        first = period.days[0]
        signed = [close for close in closes if close.period == MONTH and close.name < period.name]
        since = signed[-1].through if signed else ""
        openings = dict(signed[-1].owners) if signed else {}
        begun = {tank: one for tank, one in self._openings.items() if tank in tanks and since < one.day}
        for one in begun.values():
            if one.day <= period.days[-1]:
                for owner, volumes in one.owners.items():
                    openings[owner] = total((openings.get(owner, ZERO), volumes))
        for entry in entries:
            if entry.tank and not entry.inner and since < entry.day < first:
                openings[entry.owner] = total((openings.get(entry.owner, ZERO), entry.volumes))
        of_month = [entry for entry in entries if entry.day in period.days]
        if set(openings) | {entry.owner for entry in of_month} <= {""}:
            return []
        rows = owner_rows(product, period.name, openings, of_month, whole.variance, self.site.accounts.shared_by)
        return rows

    @staticmethod
    def _outside(documents: Sequence[Document], entries: Sequence[Entry], period: Period) -> list[OutsideRow]:
        if period.kind != MONTH:
            return []
        stands = [
            (one.day, str(one.details.get("place", "")), one.product, volumes_of(one))
            for one in sorted(documents, key=lambda one: one.day)
            if one.kind is DocumentKind.OUTSIDE
        ]
        return outside_rows(stands, entries, period.name)


def _goes_on(one: Judged) -> Judged:
    """A month that is not over gets no verdict: a delivery may be running whose paper comes tonight."""
    if one.verdict.outcome is Outcome.NOT_JUDGED:
        return one
    return one._replace(verdict=one.verdict._replace(outcome=Outcome.NOT_JUDGED, why="the month is not over"))


def _next(day: str) -> str:
    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


class Before(NamedTuple):
    """The newest measurement before a day, None where the opening balance comes first; days without one since."""

    physical: Physical | None
    gap: tuple[Day, ...]
