"""Stock as people read it: what the tanks hold, and the stock book. Knows words and units; refuses to count."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NOTHING, moment, number, plainly, with_unit, written
from console.stock_words import BOOK_PAGE, OPENED, PARTS, SOURCES, TELLING, told_beyond, verdict_words
from console.words import DAYS, MONTHS, REASONS

SIGN: Final = re.compile(r"level is Bad: (\w+)")
"""How the core tells why a level is not known."""


def sheet(stock: Json, now: str, zone: ZoneInfo) -> Json:
    """What the tanks hold at this moment: a line each, then the sums of the products."""
    names = {line["tank"]: line["name"] for line in stock["tanks"]}
    return {
        "at": moment(stock["time"], now, zone),
        "tanks": [
            {
                "tank": line["tank"],
                "name": line["name"],
                "product": line["product"],
                "read": moment(line["time"], now, zone),
                "uncertain": line["stock_quality"] == "Uncertain",
                "why": _reason(line["why"]),
                **{name: written(name, line[name]) for name in ("level_m", "temperature_degC", "gov_m3", "gsv_m3")},
                "u95": _within(line["gsv_u95_m3"]),
                "mass_kg": written("mass_kg", line["mass_kg"]),
            }
            for line in stock["tanks"]
        ],
        "products": [
            {
                "product": line["product"],
                **{name: written(name, line[name]) for name in ("gov_m3", "gsv_m3", "mass_kg")},
                "u95": _within(line["gsv_u95_m3"]),
                "missing": ", ".join(names.get(one, one) for one in line["missing"]),
            }
            for line in stock["products"]
        ],
    }


def _reason(why: str) -> str:
    """Why a level is not known, in words where the core gives its sign: `level is Bad: BadNoCommunication`, which
    more may follow."""
    return SIGN.sub(lambda found: REASONS.get(found[1], found[0]), why)


def _within(u95_m3: float | None) -> str:
    return NOTHING if u95_m3 is None else f"± {written('gsv_u95_m3', u95_m3)}"


SUMS: Final = ("receipts", "issues", "transfers", "draws", "adjustments")
FIGURES: Final = ("opening", *SUMS, "book", "physical", "variance", "cumulative")
SIGNED: Final = frozenset({*SUMS, "variance", "cumulative", "allotted", "moved"})


def book(answer: Json, now: str, zone: ZoneInfo) -> Json:
    """The accounts of a day or a month."""
    rule = answer["rule"]
    return {
        "kind": answer["kind"],
        "period": answer["period"],
        "title": _title(answer["period"]),
        "going": not answer["over"],
        "nav": _nav(answer["kind"], answer["period"]),
        "paper": _paper(answer["kind"], answer["period"]),
        "rule": BOOK_PAGE["no_rule"] if rule is None else f"{rule['words']} ({rule['source']})",
        "ruled": rule is not None,
        "reference": number(answer["reference_degC"], 0 if answer["reference_degC"] == 15 else 2),
        "edition": answer["edition"],
        "head": answer["head"],
        "products": [_product(product, answer["kind"], answer["period"], now, zone) for product in answer["products"]],
    }


def _begun(product: Json, period: str) -> str:
    """Since when there is a book, where that is within the month or after what was asked for."""
    begun = product["begun"]
    if begun is None:
        return BOOK_PAGE["no_book"]
    if begun[:7] == period or begun[: len(period)] > period:
        return BOOK_PAGE["begun"].format(day=_title(begun))
    return ""


def _product(product: Json, kind: str, period: str, now: str, zone: ZoneInfo) -> Json:
    closed = product["closed"]
    names = {tank["tank"]: tank["name"] for tank in product["tanks"]}

    def worded(texts: list[str]) -> list[str]:
        return [_worded(text, names, period, now, zone) for text in texts]

    return {
        "product": product["product"],
        "name": product["name"],
        "rows": [
            _row(tank["whole"], tank["name"], worded) | {"largest": _largest(tank), "papers": _papers(tank, period)}
            for tank in product["tanks"]
        ],
        "whole": _row(product["whole"], f"All {product['name']}", worded),
        "begun": _begun(product, period),
        "tanks": [
            {"tank": tank["tank"], "name": tank["name"], "split": [_term(term) for term in tank["split"]],
             "days": [
                 _row(day, _short(day["period"]), worded) | {"papers": _papers(tank, day["period"])}
                 for day in tank["days"]
             ],
             "begun": BOOK_PAGE["tank_begun"].format(day=_short(tank["begun"]))
             if tank["begun"] and tank["begun"][:7] == period else ""}
            for tank in product["tanks"]
        ],
        "split": [_term(term) for term in product["split"]],
        "owners": [
            {"owner": one["owner"] or BOOK_PAGE["no_owner"],
             **_figures(one, ("opening", *SUMS, "book", "allotted", "closing"))}
            for one in product["owners"]
        ],
        "outside": [
            {"place": one["place"], "on": _short(one["stated_on"]) if one["stated_on"] else BOOK_PAGE["no_stand"],
             **_figures(one, ("opening", "moved", "book", "stand", "variance"))}
            for one in product["outside"]
        ],
        "remarks": worded(product["remarks"]),
        "obstacles": worded(product["obstacles"]),
        "beyond": any(told_beyond(one["whole"]) for one in (product, *product["tanks"])),
        "closable": not product["obstacles"] and closed is None,
        "closed": "" if closed is None else BOOK_PAGE["closed"].format(
            by=closed["by"], time=moment(closed["time"], now, zone), entry=closed["entry"], head=closed["head"]
        ),
        "seal": product["seal"],
        "papers": product["papers"],
        "month": kind == "month",
    }  # fmt: skip


def _worded(text: str, names: dict[str, str], period: str, now: str, zone: ZoneInfo) -> str:
    """A sentence of the core with tanks by their names, and days as people say them."""
    tank, colon, rest = text.partition(": ")
    if colon and tank in names:
        text = f"{names[tank]}: {rest}"
    return plainly(text.replace(period, _title(period)) if len(period) == 7 and text.startswith(period) else text,
                   now, zone)  # fmt: skip


def _papers(tank: Json, period: str) -> str:
    """Where the papers of a tank's day are."""
    if len(period) != 10:
        return ""
    after = date.fromisoformat(period) + timedelta(days=1)
    return f"/documents?first={period}&before={after}&tank={tank['tank']}#written"


def _largest(tank: Json) -> Json | None:
    """The day that a month's variance comes from most, where the tank can tell both; None of a day and for none."""
    if tank["whole"]["telling"] not in ("both", "difference"):
        return None
    told = [
        day for day in tank["days"]
        if day["variance_standard_m3"] is not None and day["variance_u95_m3"] is not None
        and abs(day["variance_standard_m3"]) > day["variance_u95_m3"]
    ]  # fmt: skip
    if not told:
        return None
    day = max(told, key=lambda day: abs(day["variance_standard_m3"]))
    words = BOOK_PAGE["largest"].format(
        day=_short(day["period"]),
        variance=with_unit("volume_m3", day["variance_standard_m3"], signed=True),
        u95=_within(day["variance_u95_m3"]),
    )
    return {"words": words, "papers": _papers(tank, day["period"])}


def _row(row: Json, name: str, worded: Callable[[list[str]], list[str]]) -> Json:
    percent = row["percent"]
    return {
        "name": name,
        "papers": "",
        "largest": None,
        **_figures(row, FIGURES),
        "u95": _within(row["variance_u95_m3"]),
        "gross_u95": _within(row["variance_gross_u95_m3"]),
        "source": SOURCES.get(row["physical_source"], row["physical_source"]),
        "why": _reason(row["physical_why"]),
        "opened": OPENED[row["opening_from"]],
        "percent": NOTHING if percent is None else number(percent, 2, signed=True),
        "base": _litres(row["base_m3"], False),
        "allowed": _litres(row["allowed_m3"], False),
        "verdict": verdict_words(row),
        "verdict_why": _reason(row["verdict_why"]),
        "beyond": told_beyond(row),
        "telling": TELLING[row["telling"]].format(
            difference=_with_unit(row["disputed_m3"]), u95=_with_unit(row["disputed_u95_m3"]),
            limit=_with_unit(row["allowed_m3"]),
        ),
        "missing": worded(row["missing"]),
        "since": _since(row),
    }  # fmt: skip


def _since(row: Json) -> str:
    """That a day's variance is one of several days."""
    told = row["since_days"] > 1 and len(row["period"]) > 7 and row["variance_standard_m3"] is not None
    return BOOK_PAGE["since"].format(days=row["since_days"]) if told else ""


def _figures(row: Json, names: tuple[str, ...]) -> Json:
    """Each twice: at the reference temperature, and as it was measured."""
    return {
        name: {"standard": _litres(row[f"{name}_standard_m3"], name in SIGNED),
               "gross": _litres(row[f"{name}_gross_m3"], name in SIGNED)}
        for name in names
    }  # fmt: skip


def _term(term: Json) -> Json:
    return {
        "name": PARTS[term["part"]],
        "amount": _litres(term["amount_m3"], True),
        "u95": _within(term["u95_m3"]),
        "why": term["why"],
        "last": term["part"] == "unexplained",
    }


def _litres(value_m3: float | None, signed: bool) -> str:
    return written("volume_m3", value_m3, signed=signed)


def _with_unit(value_m3: float | None) -> str:
    return with_unit("volume_m3", None if value_m3 is None else abs(value_m3))


def _title(period: str) -> str:
    if len(period) == 7:
        return f"{MONTHS[int(period[5:]) - 1]} {period[:4]}"
    day = date.fromisoformat(period)
    return f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def _short(period: str) -> str:
    return f"{int(period[8:])} {MONTHS[int(period[5:7]) - 1]}"


def _nav(kind: str, period: str) -> list[Json]:
    """Where to go from here: the period before and after, and the other kind."""
    first = date.fromisoformat(period if kind == "day" else f"{period}-01")
    if kind == "day":
        before, after = first - timedelta(days=1), first + timedelta(days=1)
        links = [(f"day={before}", _short(f"{before}")), (f"day={after}", _short(f"{after}"))]
        return [*_links(links), {"href": f"/stock?month={period[:7]}", "name": BOOK_PAGE["whole_month"]}]
    before, after = first - timedelta(days=1), (first + timedelta(days=32)).replace(day=1)
    links = [(f"month={f'{one}'[:7]}", _title(f"{one}"[:7])) for one in (before, after)]
    return [*_links(links), {"href": "/stock", "name": BOOK_PAGE["today"]}]


def _paper(kind: str, period: str) -> Json:
    """The report of this period, which can be printed."""
    if kind == "day":
        return {"href": f"/reports/stock?day={period}", "name": BOOK_PAGE["sheet_paper"]}
    return {"href": f"/reports/account?month={period}", "name": BOOK_PAGE["account_paper"]}


def _links(links: list[tuple[str, str]]) -> list[Json]:
    arrows = ("← {name}", "{name} →")
    return [
        {"href": f"/stock?{query}", "name": arrow.format(name=name)}
        for (query, name), arrow in zip(links, arrows, strict=True)
    ]
