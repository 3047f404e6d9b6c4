"""The account of a month as it is signed at its end: products, tanks, days, what the variance is made of, owners."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from console.report_views import moment
from console.stock_words import PARTS
from gaugehouse.bookview import book_json
from gaugehouse.reports.bookcolumns import DAY, SUMS, by_product, remarks_of, row_of, rule_field
from gaugehouse.reports.model import Column, Field, Kind, Period, Report, Signature, Table, identity, table, volume
from gaugehouse.reports.sources import Sources, bearing_of

Json = dict[str, Any]

TITLE: Final = "Stock account of a month"

SPLIT: Final = (
    Column("name", "Account", share=1.2),
    identity("account"),
    Column("part", "Part", share=1.3),
    volume("amount_m3", "Explains", signed=True),
    volume("u95_m3", "±"),
    Column("why", "How it is known", share=5),
)
OWNERS: Final = (
    Column("product", "Product", share=1.2),
    Column("owner", "Owner", share=1.5),
    volume("opening_standard_m3", "Opening"),
    *(volume(f"{name}_standard_m3", name.capitalize(), signed=True) for name in SUMS),
    volume("book_standard_m3", "= Book"),
    volume("allotted_standard_m3", "Share of\nvariance", signed=True),
    volume("closing_standard_m3", "Closing"),
)
OUTSIDE: Final = (
    Column("product", "Product", share=1.2),
    Column("place", "Place", share=1.5),
    volume("opening_gross_m3", "Opening"),
    volume("moved_gross_m3", "Moved", signed=True),
    volume("book_gross_m3", "= Book"),
    volume("stand_gross_m3", "Stands at"),
    volume("variance_gross_m3", "Variance", signed=True),
    Column("stated_on", "Stated on", Kind.DAY, share=1.2),
)
JUDGED: Final = (
    Column("name", "Account", share=1.2),
    identity("account"),
    volume("base_m3", "Base"),
    volume("allowed_m3", "Allowed"),
    volume("variance_gross_m3", "Variance as\nmeasured", signed=True),
    volume("variance_gross_u95_m3", "±"),
    Column("verdict", "Verdict", share=2.4),
    Column("telling", "Can the tank tell", share=5),
)


def report(sources: Sources, period: Period) -> Report:
    site = sources.site
    bearing = bearing_of(sources)
    answer = book_json(site, sources.readings, sources.book, sources.now_ms, "month", period.name)
    products = answer["products"]
    signed = [_closed(product, ZoneInfo(site.zone)) for product in products]
    return Report(
        "account", TITLE, bearing, period,
        [
            by_product("month", "The month, at the reference temperature", products),
            _judged(products), _days(products), _split(products), _owners(products), _outside(products),
        ],
        [
            rule_field(answer["rule"]),
            *(Field(f"Close of {product['name']}", text or "NOT CLOSED") for product, text in
              zip(products, signed, strict=True)),
            Field("±", "expanded uncertainty, 95 %"),
        ],
        [text for product in products for text in _not_done(product, period)],
        remarks_of(sources, products),
        [Signature("Stock keeper", bearing.made_by), Signature("Checked by")],
    )  # fmt: skip


def _closed(product: Json, zone: ZoneInfo) -> str:
    closed = product["closed"]
    if closed is None:
        return ""
    return (
        f"by {closed['by']}, {moment(closed['time'], zone)}, entry {closed['entry']} of the record book, "
        f"made from {closed['head']}"
    )


def _not_done(product: Json, period: Period) -> list[str]:
    """What this account still lacks: its close, and days without papers or without a measurement."""
    told = []
    if product["closed"] is None:
        why = "; ".join(product["obstacles"]) or "nothing stands in the way of signing it"
        told.append(f"{product['name']}: {period.name} is not closed and signed: {why}")
    for tank in product["tanks"]:
        days = [day["period"] for day in tank["days"] if not day["complete"]]
        if days:
            told.append(f"{tank['name']}: book incomplete on {len(days)} d, first {days[0]}")
        unseen = [day["period"] for day in tank["days"] if day["physical_standard_m3"] is None]
        if unseen:
            told.append(f"{tank['name']}: not measured at the end of {len(unseen)} d, first {unseen[0]}")
    return told


def _accounts(product: Json) -> list[tuple[str, Json]]:
    """The tanks of a product and then the product, by the names of their rows."""
    return [*((tank["name"], tank) for tank in product["tanks"]), (f"all {product['name']}", product)]


def _judged(products: list[Json]) -> Table:
    rows = [row_of(one["whole"], name) for product in products for name, one in _accounts(product)]
    return table("judged", "Held against the rule", JUDGED, rows)


def _days(products: list[Json]) -> Table:
    rows = [
        row_of(day, tank["name"]) for product in products for tank in product["tanks"] for day in tank["days"]
    ]  # fmt: skip
    wholes = [tank["whole"] for product in products for tank in product["tanks"]]
    sums: dict[str, float | None] = {}
    for name in SUMS:  # what moved adds up over the days; a stand does not
        for side in ("standard", "gross"):
            told = [whole[f"{name}_{side}_m3"] for whole in wholes]
            sums[f"{name}_{side}_m3"] = None if any(one is None for one in told) else sum(told)
    return table("days", "Day by day, at the reference temperature", DAY, rows, sums=sums)


def _split(products: list[Json]) -> Table:
    rows: list[Json] = []
    strong: set[int] = set()
    for product in products:
        for name, one in _accounts(product):
            for term in one["split"]:
                if term["part"] == "unexplained":
                    strong.add(len(rows))
                rows.append(term | {"name": name, "account": one["whole"]["account"], "part": PARTS[term["part"]]})
    return table("split", "What the variance is made of, as measured", SPLIT, rows, strong=frozenset(strong))


def _owners(products: list[Json]) -> Table:
    rows = [
        one | {"product": product["name"], "owner": one["owner"] or "not named"}
        for product in products for one in product["owners"]
    ]  # fmt: skip
    return table("owners", "Owners", OWNERS, rows, empty="no owner is named")


def _outside(products: list[Json]) -> Table:
    rows = [one | {"product": product["name"]} for product in products for one in product["outside"]]
    return table("outside", "Stock outside the tanks, as measured", OUTSIDE, rows, empty="none is stated")
