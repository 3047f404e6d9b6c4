"""What the record book's entries say of closes of the stock book: how they are read back."""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from history.book import BookReader
from inventory.account import Physical, Volumes

CLOSE: Final = "stock_close"

Json = dict[str, Any]


class Signed(NamedTuple):
    """One close as it was signed. entry: its number in the record book. stands: what each tank held at its end, as it
    was signed; owners: what each owner had then, a month only."""

    entry: int
    time_ms: int
    period: str
    name: str
    product: str
    through: str
    by: str
    comment: str
    head: str
    stands: Mapping[str, Physical]
    owners: Mapping[str, Volumes]
    body: Json


def closes_of(book: BookReader) -> list[Signed]:
    """Every close, oldest first."""
    return [_signed(entry.n, entry.time_ms, dict(entry.body)) for entry in book.entries([CLOSE])]


def _signed(n: int, time_ms: int, body: Json) -> Signed:
    stands = {tank: _stand(tank, stand, body["by"]) for tank, stand in body["stands"].items()}
    owners = {owner: Volumes(*pair) for owner, pair in body["owners"].items()}
    return Signed(
        n, time_ms, body["period"], body["name"], body["product"], body["through"], body["by"], body["comment"],
        body["head"], stands, owners, body,
    )  # fmt: skip


def _stand(tank: str, stand: Json, by: str) -> Physical:
    volumes = Volumes(stand["gross_m3"], stand["standard_m3"])
    return Physical(tank, stand["time_ms"], stand["source"], f"signed by {by}", volumes, stand["u95_m3"])
