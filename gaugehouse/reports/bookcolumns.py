"""How reports tell the stock book: its columns, a row in them, tanks with their product, and the rule it is held to."""

from collections.abc import Sequence
from typing import Any, Final

from console.stock_words import SOURCES, TELLING, verdict_words
from gaugehouse.reports.model import Column, Field, Kind, Table, identity, number, table, volume
from gaugehouse.reports.sources import Sources

Json = dict[str, Any]

SUMS: Final = ("receipts", "issues", "transfers", "draws", "adjustments")
LARGE: Final = ("receipts", "issues")
HEADS: Final = ("Receipts", "Issues", "Transfers", "Drawn off", "Adjust-\nments")


def book_columns(first: Sequence[Column], *, daily: bool = False) -> tuple[Column, ...]:
    """daily: without the verdict on paper, as a rule is of a month.

    Standard volumes for people; those as measured beside them in files."""
    standard = [
        volume(f"{name}_standard_m3", head, signed=True, share=1.2 if name in LARGE else 0.9)
        for name, head in zip(SUMS, HEADS, strict=True)
    ]
    gross = [
        volume(f"{name}_gross_m3", f"{name.capitalize()} as measured", signed=name not in STANDS, wide=True)
        for name in ("opening", *SUMS, "book", "physical", "variance", "cumulative")
    ]
    return (
        *first,
        volume("opening_standard_m3", "Opening", share=1.2),
        *standard,
        volume("book_standard_m3", "= Book", share=1.2),
        volume("physical_standard_m3", "Physical", share=1.2),
        volume("variance_standard_m3", "Variance", signed=True),
        volume("variance_u95_m3", "±", share=0.8),
        volume("cumulative_standard_m3", "Cumu-\nlative", signed=True),
        number("percent", "Of base", "%", 3, shown=2, signed=True, share=0.8),
        Column("source", "Measured\nby", share=0.9),
        *gross,
        Column("physical_time", "Measured at", Kind.TIME, wide=True),
        volume("base_m3", "Base of the rule", wide=True),
        volume("allowed_m3", "Allowed", wide=True),
        Column("verdict", "Verdict", share=1.7, wide=daily),
        Column("telling", "Can the tank tell", wide=True),
        Column("missing", "Missing", share=1.0 if not daily else 1.5),
    )


STANDS: Final = frozenset({"opening", "book", "physical"})
ROW: Final = book_columns([Column("name", "Account", share=1.3), identity("account")])
DAY: Final = book_columns(
    [Column("name", "Tank", share=1.1), identity("account"), Column("period", "Day", Kind.DAY, share=1.2)], daily=True
)


def row_of(row: Json, name: str) -> Json:
    """A row of `gaugehouse.bookview.book_json` in these columns."""
    why = f": {row['verdict_why']}" if row["verdict_why"] else ""
    return row | {
        "name": name,
        "source": SOURCES.get(row["physical_source"], row["physical_source"]),
        "verdict": f"{verdict_words(row)}{why}",
        "telling": _telling(row),
        "missing": row["missing"] or ("" if row["complete"] else "book incomplete"),
    }


def by_product(name: str, title: str, products: Sequence[Json]) -> Table:
    """The tanks of each product, with the product's own row below them."""
    rows: list[Json] = []
    strong: set[int] = set()
    for product in products:
        rows += [row_of(tank["whole"], tank["name"]) for tank in product["tanks"]]
        strong.add(len(rows))
        rows.append(row_of(product["whole"], f"all {product['name']}"))
    return table(name, title, ROW, rows, strong=frozenset(strong))


def rule_field(rule: Json | None) -> Field:
    return Field("Rule of tolerance", "none is named" if rule is None else f"{rule['words']} ({rule['source']})")


def remarks_of(sources: Sources, products: Sequence[Json]) -> list[str]:
    return [f"{product['name']}: {sources.named(text)}" for product in products for text in product["remarks"]]


def _telling(row: Json) -> str:
    """Whether the tank can settle a dispute about it at all."""
    return TELLING[row["telling"]].format(
        difference=_m3(row["disputed_m3"]), u95=_m3(row["disputed_u95_m3"]), limit=_m3(row["allowed_m3"])
    )


def _m3(value: float | None) -> str:
    return "–" if value is None else f"{abs(value):.3f} m³"
