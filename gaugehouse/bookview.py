"""One answer about the stock book: the accounts of a period, whole, for the page, the API and the commands.

What a paper or a sheet of figures prints later is taken from here: everything that is shown stands in the answer.
"""

import hashlib
import json
from typing import Any, NamedTuple

from gaugehouse.bookclose import close_fields, obstacles, remarks
from gaugehouse.bookjson import judged_json, outside_json, owner_json, split_json
from gaugehouse.bookwork import Account, Books, period_of, today_of
from gaugehouse.boundary import Readings
from gaugehouse.closeroom import DAY
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.site import Site
from history.book import BookReader

Json = dict[str, Any]


def book_json(
    site: Site,
    readings: Readings,
    book: BookReader,
    now_ms: int,
    kind: str,
    name: str,
    product: str | None = None,
    tank: str | None = None,
) -> Json:
    """The accounts of a period. name "": the day or month that goes on. Raises `CallError` for what there is not."""
    accounts = accounts_of(site, Books(site, readings, book, now_ms), kind, name, product, tank)
    period, rule = accounts[0].period, site.accounts.rule
    return {
        "kind": period.kind,
        "period": period.name,
        "from": iso_ms(period.start_ms),
        "to": iso_ms(period.end_ms),
        "over": period.over,
        "time": iso_ms(now_ms),
        "reference_degC": site.reference_degC,
        "edition": str(site.volume_correction),
        "rule": None if rule is None else {
            "name": rule.name, "words": rule.words, "source": rule.source, "base": rule.base.value,
            "standard": rule.standard,
        },
        "head": accounts[0].head,
        "products": [account_json(site, account, tank) for account in accounts],
    }  # fmt: skip


def accounts_of(
    site: Site, books: Books, kind: str, name: str, product: str | None = None, tank: str | None = None
) -> list[Account]:
    if not name:
        today = today_of(site, books.now_ms)
        name = today if kind == DAY else today[:7]
    period = period_of(site, kind, name, books.now_ms)
    return [books.account(one, period) for one in _products(site, books, product, tank)]


def _products(site: Site, books: Books, product: str | None, tank: str | None) -> list[str]:
    known = books.product_ids()
    if tank is not None:
        tanks = [one.id for one in site.tanks]
        if tank not in tanks:
            raise CallError(f"{site.path}: no tank {tank!r}; there are {', '.join(tanks)}")
        known = [site.tank(tank).product]
    if product is not None:
        if product not in known:
            raise CallError(f"{site.path}: no product {product!r} here; there are {', '.join(known)}")
        known = [product]
    return known


def account_json(site: Site, account: Account, tank: str | None = None) -> Json:
    closed = account.closed
    monthly = account.period.kind != DAY
    return {
        "product": account.product,
        "name": account.name,
        "begun": account.begun or None,
        "whole": judged_json(account.whole),
        "split": split_json(account.whole),
        "days": [judged_json(one) for one in account.by_day] if monthly else [],
        "tanks": [
            {
                "tank": one.tank,
                "name": one.name,
                "begun": one.begun or None,
                "whole": judged_json(one.whole),
                "split": split_json(one.whole),
                "days": [judged_json(day) for day in one.by_day] if monthly else [],
            }
            for one in account.tanks
            if tank in (None, one.tank)
        ],
        "owners": [owner_json(one) for one in account.owners],
        "outside": [outside_json(one) for one in account.outside],
        "papers": len(account.papers),
        "seal": seal_of(account),
        "obstacles": obstacles(site, account),
        "remarks": remarks(site, account),
        "closed": None if closed is None else {
            "entry": closed.entry, "time": iso_ms(closed.time_ms), "by": closed.by, "comment": closed.comment,
            "head": closed.head, "period": closed.period, "name": closed.name,
            "rows": closed.body["rows"],
        },
    }  # fmt: skip


class Closing(NamedTuple):
    """What signing a period of a product would be. obstacles: what stands in its way, unless it was closed already."""

    obstacles: list[str]
    fields: Json
    seal: str

    def refusal(self, seal: str | None) -> str:
        """Why it is not signed, "" where it may be. seal: of the figures that the person saw."""
        if self.obstacles:
            return "; ".join(self.obstacles)
        if seal is not None and seal != self.seal:
            return "the figures have changed since they were shown; look at them again, then sign"
        return ""


def closing(
    site: Site,
    readings: Readings,
    book: BookReader,
    now_ms: int,
    kind: str,
    name: str,
    product: str,
    by: str,
    comment: str,
    simulated: bool,
) -> Closing:
    """What signing a period of a product would be, with the fields of its act."""
    (account,) = accounts_of(site, Books(site, readings, book, now_ms), kind, name, product)
    in_the_way = [] if account.closed is not None else obstacles(site, account)
    return Closing(in_the_way, close_fields(site, account, by, comment, simulated), seal_of(account))


def seal_of(account: Account) -> str:
    """A short mark of the figures that would be signed: another figure or paper gives another mark."""
    rows = [judged_json(one.whole) for one in account.tanks] + [judged_json(account.whole)]
    content = [
        account.product,
        account.period.name,
        list(account.papers),
        rows,
        [owner_json(o) for o in account.owners],
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True, allow_nan=False).encode()).hexdigest()[:16]
