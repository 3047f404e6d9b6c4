"""The stock book: what came and went by documents, beside what was measured, day by day and by the month.

book = opening + receipts - issues +/- transfers +/- adjustments; variance = physical - book (US Army QM5200 and QM5097,
stock accounting). The opening of a day is the closing of the day before: what was measured, or the book where nothing
was. Movements that the gauges saw are in no sum. Sums are exact to 0.1 L (`inventory.account`). No I/O, no clock.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from inventory.account import (
    UNKNOWN,
    ZERO,
    Column,
    Entry,
    Opening,
    Physical,
    Volumes,
    less,
    size,
    total,
)

BY_MEASURE: Final = "measured"
BY_BOOK: Final = "book"
BY_DOCUMENT: Final = "document"
NO_OPENING: Final = ""

INCOMPLETE: Final = "book incomplete"
NOT_MEASURED: Final = "not measured"
NO_BOOK: Final = "no opening balance"


class Sums(NamedTuple):
    """The columns of an account; signed, into it positive: issues are negative."""

    receipts: Volumes = ZERO
    issues: Volumes = ZERO
    transfers: Volumes = ZERO
    draws: Volumes = ZERO
    adjustments: Volumes = ZERO


def summed(sums: Iterable[Sums]) -> Sums:
    return Sums(*(total(column) for column in zip(*(list(sums) or [Sums()]), strict=True)))


def sums_of(entries: Iterable[Entry]) -> Sums:
    every = list(entries)
    return Sums(*(total(e.volumes for e in every if e.column is column) for column in Column))


class Row(NamedTuple):
    """An account over a day or a month: of a tank, or of all tanks of a product.

    opening_from: what the opening rests on ("measured", "book", "document", "" for none). physical: at the end.
    variance: physical - book. cumulative: of the month up to this row. against: the measurement that the opening rests
    on, None for a document. out: all that left, a base of tolerances. missing: what keeps the row from being complete,
    in words; remarks: what papers and gauges do not agree on. since_days: how many days the variance covers; metered:
    what meters counted meanwhile, in and out as sizes.
    """

    account: str
    product: str
    period: str
    opening: Volumes
    opening_from: str
    sums: Sums
    book: Volumes
    physical: Physical
    variance: Volumes
    cumulative: Volumes
    against: Physical | None
    out: Volumes
    missing: tuple[str, ...] = ()
    since_days: int = 1
    metered: Volumes = ZERO
    remarks: tuple[str, ...] = ()

    @property
    def closing(self) -> Volumes:
        """What the next row opens with."""
        return self.physical.volumes if self.physical.measured else self.book

    @property
    def complete(self) -> bool:
        return not self.missing


class Day(NamedTuple):
    """What is known of one site day of a tank. papers: whether its product has a document of that day. moved: what the
    gauge saw without any document, in words."""

    name: str
    physical: Physical
    papers: bool
    moved: tuple[str, ...] = ()


def tank_days(
    tank: str,
    product: str,
    opening: Opening | None,
    days: Sequence[Day],
    entries: Iterable[Entry],
    before: Physical | None = None,
) -> list[Row]:
    """The tank's account day by day, in order and without holes, from the first day that is asked for.

    before: what was measured at the end of the day before the first one, where the book had begun by then. Days before
    the opening balance have no book. Cumulative sums begin anew with every month.
    """
    of_day: dict[str, list[Entry]] = {}
    for entry in entries:
        if entry.tank == tank:
            of_day.setdefault(entry.day, []).append(entry)
    rows: list[Row] = []
    closing, closing_from, against = UNKNOWN, NO_OPENING, before
    if before is not None and before.measured:
        closing, closing_from = before.volumes, BY_MEASURE
    cumulative, month, since, metered = ZERO, "", 0, ZERO
    for day in days:
        if opening is not None and opening.day == day.name:
            closing, closing_from, against, since, metered = opening.volumes, BY_DOCUMENT, None, 0, ZERO
        if day.name[:7] != month:
            month, cumulative = day.name[:7], ZERO
        booked = of_day.get(day.name, [])
        sums = sums_of(booked)
        book = total((closing, *sums))
        variance = less(day.physical.volumes, book)
        since += 1
        metered = total((metered, _metered(booked)))
        if variance.known:
            cumulative = total((cumulative, variance))
        row = Row(
            tank, product, day.name, closing, closing_from, sums, book, day.physical, variance, cumulative, against,
            _out(booked), _missing(day, closing_from), since, metered, day.moved,
        )  # fmt: skip
        rows.append(row)
        if closing_from:
            closing, closing_from = row.closing, BY_MEASURE if day.physical.measured else BY_BOOK
            if day.physical.measured:
                against, since, metered = day.physical, 0, ZERO
    return rows


def _missing(day: Day, opening_from: str) -> tuple[str, ...]:
    if not opening_from:
        return (NO_BOOK,)
    papers = () if day.papers else (INCOMPLETE,)
    return (*papers, *(() if day.physical.measured else (NOT_MEASURED,)))


def _out(entries: Iterable[Entry]) -> Volumes:
    """What left by issue or transfer, positive: the flow-through of a tank."""
    left = [
        entry.volumes for entry in entries
        if entry.column is Column.ISSUES or (entry.column is Column.TRANSFERS and size(entry.volumes) < 0)
    ]  # fmt: skip
    return less(ZERO, total(left))


def _metered(entries: Iterable[Entry]) -> Volumes:
    """Fuel that a meter or a delivery's meter counted, in and out together as sizes: errors of scale add up."""
    sizes = [
        e.volumes if size(e.volumes) > 0 else less(ZERO, e.volumes)
        for e in entries
        if e.column in (Column.RECEIPTS, Column.ISSUES)
    ]
    return total(sizes)


def month_row(days: Sequence[Row]) -> Row:
    """The days of one account as one row: from the first opening to the last measurement.

    Its variance is the sum of the days', to the last digit, where the month's last day was measured.
    """
    first, last = days[0], days[-1]
    booked = next((place for place, row in enumerate(days) if row.opening_from), None)
    if booked is not None:
        first, days = days[booked], days[booked:]
    sums = summed(row.sums for row in days)
    book = total((first.opening, *sums))
    missing: dict[str, list[str]] = {}
    for row in days:
        for what in row.missing:
            if what != NOT_MEASURED or row is last:
                missing.setdefault(what, []).append(row.period)
    variance = less(last.physical.volumes, book)
    return Row(
        first.account, first.product, last.period[:7], first.opening, first.opening_from, sums, book, last.physical,
        variance, variance, first.against, total(row.out for row in days),
        tuple(f"{what} on {_list(on)}" for what, on in missing.items()), len(days),
        total(_day_metered(days)), tuple(f"{row.period}: {what}" for row in days for what in row.remarks),
    )  # fmt: skip


def _day_metered(days: Sequence[Row]) -> Iterable[Volumes]:
    """Each day's own: a row's is counted from the last measurement."""
    before = ZERO
    for row in days:
        yield row.metered if row.since_days == 1 else less(row.metered, before)
        before = row.metered


def _list(days: Sequence[str]) -> str:
    """Days as people list them: not more than three by name."""
    return ", ".join(days) if len(days) <= 3 else f"{', '.join(days[:2])} and {len(days) - 2} more days"


def product_row(tanks: Sequence[Row], inner_out: Volumes = ZERO) -> Row:
    """All tanks of a product in one row of one period. inner_out: what went from tank to tank, no flow-through here."""
    first = tanks[0]
    physical = total(row.physical.volumes for row in tanks)
    why = ", ".join(row.account for row in tanks if not row.physical.measured)
    waters = [row.physical.water_m3 for row in tanks]
    measured = Physical(
        "", first.physical.time_ms, "sum" if not why else "", f"not measured: {why}" if why else "", physical,
        water_m3=None if None in waters else sum(one for one in waters if one is not None),
    )  # fmt: skip
    return Row(
        first.product, first.product, first.period, total(row.opening for row in tanks),
        NO_OPENING if any(not row.opening_from for row in tanks) else first.opening_from,
        summed(row.sums for row in tanks), total(row.book for row in tanks), measured,
        total(row.variance for row in tanks), total(row.cumulative for row in tanks), None,
        less(total(row.out for row in tanks), inner_out),
        tuple(f"{row.account}: {what}" for row in tanks for what in row.missing),
        max(row.since_days for row in tanks), total(row.metered for row in tanks),
        tuple(f"{row.account}: {what}" for row in tanks for what in row.remarks),
    )  # fmt: skip
