"""Stock outside the tanks: refuellers, lines, the slop tank. Each has a line of its own at the end of a month."""

from collections.abc import Iterable
from typing import NamedTuple

from inventory.account import UNKNOWN, Entry, Volumes, less, total


class OutsideRow(NamedTuple):
    """Stock outside the tanks, a refueller, a line, the slop tank, over a month: its own line beside the tanks'.

    opening and stand are what documents state, at the newest before the month and in it; None where none does. In the
    month in which a place is stated for the first time it opens with that, once there is a later stand. Where several
    owners' fuel stands in one place each has a document: those of one day together are its stand.
    """

    place: str
    product: str
    opening: Volumes
    moved: Volumes
    book: Volumes
    stand: Volumes
    variance: Volumes
    stated_on: str


def outside_rows(
    stands: Iterable[tuple[str, str, str, Volumes]], entries: Iterable[Entry], month: str
) -> list[OutsideRow]:
    """stands: day, place, product and what stood there, oldest first; only what moved since the older stand counts."""
    stated: dict[tuple[str, str], dict[str, Volumes]] = {}
    for day, place, product, stand in stands:
        of_place = stated.setdefault((place, product), {})
        of_place[day] = total((of_place[day], stand)) if day in of_place else stand
    before: dict[tuple[str, str], tuple[str, Volumes]] = {}
    now: dict[tuple[str, str], tuple[str, Volumes]] = {}
    for key, of_place in stated.items():
        older, ours = [d for d in of_place if d[:7] < month], [d for d in of_place if d[:7] == month]
        if ours:
            now[key] = ours[-1], of_place[ours[-1]]
        if opened := older[-1:] or ours[:-1][:1]:
            before[key] = opened[0], of_place[opened[0]]
    outside = [entry for entry in entries if not entry.tank and entry.place]
    keys = dict.fromkeys([*before, *now, *((e.place, e.product) for e in outside if e.day[:7] == month)])
    rows = []
    for place, product in keys:
        since, opening = before.get((place, product), ("", UNKNOWN))
        until, stand = now.get((place, product), ("", UNKNOWN))
        moved = total(
            entry.volumes
            for entry in outside
            if (entry.place, entry.product) == (place, product)
            and since < entry.day
            and (entry.day <= until if until else entry.day[:7] <= month)
        )
        book = total((opening, moved))
        rows.append(OutsideRow(place, product, opening, moved, book, stand, less(stand, book), until))
    return rows
