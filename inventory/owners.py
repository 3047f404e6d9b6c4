"""The owners of commingled fuel: each one's account of a product, and their shares of what was gained or lost.

Shares add up to the whole, to the last digit. Whose fuel a loss was cannot be measured: a site's rule says it.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from inventory.account import ZERO, Column, Entry, Volumes, less, size, total
from inventory.book import Sums, sums_of


class OwnerRow(NamedTuple):
    """One owner's account of a product over a month. allotted: their share of what was gained or lost; it is theirs
    only once the month is closed. closing: book + allotted."""

    product: str
    owner: str
    period: str
    opening: Volumes
    sums: Sums
    book: Volumes
    allotted: Volumes
    closing: Volumes


def owner_rows(
    product: str,
    period: str,
    openings: Mapping[str, Volumes],
    entries: Iterable[Entry],
    variance: Volumes,
    by: str,
) -> list[OwnerRow]:
    """The owners of a product's fuel in the tanks. by: "throughput" or "book", what gains and losses are shared by.

    Where nobody moved anything they are shared by the book, and where nobody owns anything equally. The shares add up
    to the variance, to the last digit.
    """
    of: dict[str, list[Entry]] = {owner: [] for owner in openings}
    for entry in entries:
        if entry.tank and entry.product == product and not entry.inner:
            of.setdefault(entry.owner, []).append(entry)
    owners = sorted(of)
    sums = [sums_of(of[owner]) for owner in owners]
    opened = [openings.get(owner, ZERO) for owner in owners]
    books = [total((opening, *own)) for opening, own in zip(opened, sums, strict=True)]
    weights = [sum(abs(size(e.volumes)) for e in of[owner] if e.column in MOVED) for owner in owners]
    if by != "throughput" or not any(weights):
        weights = [max(0.0, size(book)) for book in books]
    shares = allotted(variance, weights)
    return [
        OwnerRow(product, owner, period, opening, own, book, share, total((book, share)))
        for owner, opening, own, book, share in zip(owners, opened, sums, books, shares, strict=True)
    ]


MOVED: Final = (Column.RECEIPTS, Column.ISSUES)


def allotted(whole: Volumes, weights: Sequence[float]) -> list[Volumes]:
    """Shares of a volume by weight that add up to it exactly; the last owner takes what rounding leaves."""
    if not weights:
        return []
    all_of = sum(weights)
    fractions = [weight / all_of if all_of else 1 / len(weights) for weight in weights]
    shares: list[Volumes] = []
    for fraction in fractions[:-1]:
        shares.append(Volumes(*(None if one is None else total((Volumes(one * fraction, 0.0),))[0] for one in whole)))
    return [*shares, less(whole, total(shares))]
