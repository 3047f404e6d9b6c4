"""`gaugehouse stock --book` and `gaugehouse close`: the stock book printed, and signed by name."""

from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from console.stock_csv import book_csv
from console.stock_words import OPENED, PARTS, TELLING, verdict_words
from gaugehouse.acting import perform, printed
from gaugehouse.bookview import book_json, closing
from gaugehouse.closeroom import DAY, MONTH
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.looking import SIMULATED
from gaugehouse.printing import as_json, table
from gaugehouse.simulatedbook import is_simulated, now_of_readings
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings

Json = dict[str, Any]

SUMS: Final = ("receipts", "issues", "transfers", "draws", "adjustments")


def book(args: Namespace) -> int:
    """The book of a day or a month; 1 where a tank's end of it is not measured or the book is incomplete."""
    if args.at is not None:
        raise CallError("--at is of the stock sheet; the book takes --day or --month")
    site = load_site(Path(args.site))
    kind = DAY if args.month is None else MONTH
    with look_into_readings(site) as store, look_into_book(site) as records:
        name = (args.day if args.month is None else args.month) or ""
        now_ms = now_of_readings(site, store, records)
        answer = book_json(site, store, records, now_ms, kind, name, args.product, args.tank)
        simulated = is_simulated(records)
    if args.json:
        print(as_json(answer))
    elif args.csv:
        print(book_csv(answer), end="")
    else:
        print("\n".join(text_of(site, answer, simulated)))
    whole = [product["whole"] for product in answer["products"]]
    return 0 if all(row["complete"] for row in whole) else 1


def close(args: Namespace) -> int:
    """Look at what would be signed; with `--sign` sign it. 1 where something stands in the way."""
    site = load_site(Path(args.site))
    if args.sign and not args.by:
        raise CallError("--sign needs --by NAME: say who signs")
    with look_into_readings(site) as store, look_into_book(site) as records:
        now_ms, simulated = now_of_readings(site, store, records), is_simulated(records)
        answer = book_json(site, store, records, now_ms, args.period, args.name, args.product)
        if len(answer["products"]) > 1:
            named = ", ".join(product["product"] for product in answer["products"])
            raise CallError(f"--product is missing: each product is closed by itself; there are {named}")
        product = answer["products"][0]["product"]
        found = closing(
            site, store, records, now_ms, args.period, args.name, product, args.by or "", args.comment, simulated
        )
    if not args.sign or found.obstacles:
        print(as_json(answer) if args.json else "\n".join(text_of(site, answer, simulated)))
        if args.sign:
            raise CouldNot(f"not signed: {found.refusal(None)}")
        return 1 if found.obstacles else 0
    said = perform(site, "close_stock", found.fields)
    if not printed(args, said):
        print("\n".join(text_of(site, answer, simulated)))
        print(f"\n{args.name} of {product} closed by {args.by} at {said.body['time']}")
        print(f"made from the record book at {said.body['head']}")
    return 0


def text_of(site: Site, answer: Json, simulated: bool) -> Iterator[str]:
    """The book for people, in m3."""
    if simulated:
        yield SIMULATED
    going = "" if answer["over"] else ", which goes on: figures as of now"
    yield f"{site.name} ({site.id}): stock book of {answer['period']}{going}"
    rule = answer["rule"]
    yield f"standard volume at {answer['reference_degC']:g} degC by {answer['edition']}; +- at 95 %; volumes in m3"
    named = "no rule of tolerance is named in the site file"
    yield named if rule is None else f"rule: {rule['words']} ({rule['source']})"
    yield f"record book {answer['head']}"
    for product in answer["products"]:
        yield from _product(product)


def _product(product: Json) -> Iterator[str]:
    yield ""
    yield f"{product['name']} ({product['product']})"
    rows: list[Json] = []
    for tank in product["tanks"]:
        rows += [_line(row) for row in (*tank["days"], tank["whole"])]
    rows.append(_line(product["whole"], "all"))
    yield table(tuple(rows[0]), rows)
    for name, one in [(tank["name"], tank) for tank in product["tanks"]] + [("all", product)]:
        yield from _judgement(name, one["whole"])
    yield "what the variance is made of, as measured:"
    yield table(("part", "m3", "+-", "why"), [
        {"part": PARTS[term["part"]], "m3": _fixed(term["amount_m3"]), "+-": _fixed(term["u95_m3"]),
         "why": term["why"]}
        for term in product["split"]
    ])  # fmt: skip
    for owner in product["owners"]:
        yield (
            f"owner {owner['owner'] or 'not named'}: book {_told(owner['book_standard_m3'])}, share of the variance "
            f"{_told(owner['allotted_standard_m3'])}, closing {_told(owner['closing_standard_m3'])} (standard)"
        )
    for place in product["outside"]:
        yield (
            f"outside the tanks, {place['place']}: book {_told(place['book_gross_m3'])}, stands at "
            f"{_told(place['stand_gross_m3'])} on {place['stated_on'] or 'no day of this month'}, variance "
            f"{_told(place['variance_gross_m3'])} (as measured)"
        )
    for remark in product["remarks"]:
        yield f"note: {remark}"
    closed = product["closed"]
    if closed is not None:
        yield f"closed by {closed['by']} at {closed['time']}, entry {closed['entry']}, made from {closed['head']}"
    elif product["obstacles"]:
        yield "cannot be closed now:"
        yield from (f"  {one}" for one in product["obstacles"])
    else:
        yield "can be closed: `gaugehouse close ... --sign --by NAME`"


def _line(row: Json, name: str = "") -> Json:
    return {
        "account": name or row["account"],
        "period": row["period"],
        "opening": _fixed(row["opening_standard_m3"]),
        **{column: _fixed(row[f"{column}_standard_m3"]) for column in SUMS},
        "book": _fixed(row["book_standard_m3"]),
        "physical": _fixed(row["physical_standard_m3"]),
        "variance": _fixed(row["variance_standard_m3"]),
        "+-": _fixed(row["variance_u95_m3"]),
        "as measured": _fixed(row["variance_gross_m3"]),
        "cumulative": _fixed(row["cumulative_standard_m3"]),
        "%": None if row["percent"] is None else f"{row['percent']:.3f}",
        "": "; ".join([*row["missing"], *([] if row["opening_from"] != "book" else [f"opens {OPENED['book']}"])]),
    }


def _judgement(name: str, row: Json) -> Iterator[str]:
    allowed = "" if row["allowed_m3"] is None else f", allowed {_fixed(row['allowed_m3'])}"
    why = f" ({row['verdict_why']})" if row["verdict_why"] else ""
    telling = TELLING[row["telling"]].format(
        difference=f"{_fixed(row['disputed_m3'])} m3", u95=f"{_fixed(row['disputed_u95_m3'])} m3",
        limit=f"{_fixed(row['allowed_m3'])} m3",
    )  # fmt: skip
    yield f"{name}: {verdict_words(row)}{why}{allowed}; {telling}"


def _fixed(value: float | None) -> str | None:
    return None if value is None else f"{value:.3f}"


def _told(value: float | None) -> str:
    """In a sentence, where an empty cell would read as nothing."""
    return _fixed(value) or "not known"
