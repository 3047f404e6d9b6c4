"""The daily stock sheet: what each tank holds, the day's book, and the checks of the day, done or not."""

from typing import Any, Final

from gaugehouse.bookview import book_json
from gaugehouse.days import iso_ms
from gaugehouse.diprecords import dips_of
from gaugehouse.drainrecords import checks_of
from gaugehouse.reports.bookcolumns import by_product, remarks_of, rule_field
from gaugehouse.reports.model import (
    Column,
    Field,
    Kind,
    Period,
    Report,
    Signature,
    Table,
    identity,
    number,
    table,
    volume,
)
from gaugehouse.reports.sources import Sources, bearing_of
from inventory.draincheck import DrainResult

Json = dict[str, Any]

TITLE: Final = "Daily stock sheet"

HELD: Final = (
    Column("name", "Tank", share=1.5),
    identity("tank"),
    Column("product", "Product", share=1.2),
    Column("time", "Read at", Kind.TIME, share=1.5),
    number("level_m", "Level", "m", 5, shown=3),
    number("water_m", "Water", "m", 5, shown=3),
    number("temperature_degC", "Liquid", "°C", 3, shown=1, share=0.8),
    volume("tov_m3", "TOV"),
    volume("gov_m3", "GOV"),
    volume("gsv_m3", "GSV"),
    volume("gsv_u95_m3", "±"),
    number("mass_kg", "Mass", "kg", 1, shown=0),
    Column("stock_quality", "Quality", share=0.9),
    Column("why", "Why", share=1.6),
)
PRODUCTS: Final = (
    Column("product", "Product", share=2),
    volume("gov_m3", "GOV"),
    volume("gsv_m3", "GSV"),
    volume("gsv_u95_m3", "±"),
    number("mass_kg", "Mass", "kg", 1, shown=0),
    Column("missing", "Not measured", share=2),
)
CHECKS: Final = (
    Column("name", "Tank", share=1.4),
    identity("tank"),
    Column("check", "Check", share=1.2),
    Column("done", "Done", share=0.9),
    Column("by", "By"),
    Column("time", "When", Kind.TIME, share=1.3),
    Column("found", "Found", share=3),
)
NOT_DONE: Final = "not done"


def report(sources: Sources, period: Period) -> Report:
    site = sources.site
    bearing = bearing_of(sources)
    answer = book_json(site, sources.readings, sources.book, sources.now_ms, "day", period.name)
    checks = _checks(sources, period)
    missed = [f"{row['name']}: {row['check']} not done{row['why']}" for row in checks if row["done"] == NOT_DONE
              and row["daily"]]  # fmt: skip
    return Report(
        "stock", TITLE, bearing, period,
        [
            *_held(sources, period),
            by_product("book", "The day's book, at the reference temperature", answer["products"]),
            table("checks", "Checks of the day", CHECKS, checks),
        ],
        [
            rule_field(answer["rule"]),
            Field("±", "expanded uncertainty, 95 %; of a sum its tanks taken as independent"),
        ],
        missed,
        remarks_of(sources, answer["products"]),
        [Signature("Made by", bearing.made_by), Signature("Checked by")],
    )  # fmt: skip


def _held(sources: Sources, period: Period) -> list[Table]:
    """At the day's end, of a day that goes on now."""
    at_ms = sources.now_ms if period.going else period.to_ms - 1
    sheet = sources.stock_at(at_ms)
    rows: list[Json] = []
    for line in sheet.tanks:
        reading = sources.reading_at(line.tank, at_ms)
        known = reading is not None and line.level_m is not None
        rows.append(
            line._asdict()
            | {
                "time": None if line.time_ms is None else iso_ms(line.time_ms),
                "water_m": reading.water_m if known and reading is not None else None,
                "stock_quality": line.stock_quality.word,
            }
        )
    when = "now" if period.going else "at the end of the day"
    return [
        table("tanks", f"What each tank holds {when}", HELD, rows),
        table("products", "Together", PRODUCTS, [one._asdict() for one in sheet.products]),
    ]


def _checks(sources: Sources, period: Period) -> list[Json]:
    """A drain check and a dip of each tank, with what came of them."""
    drains = [check for check in checks_of(sources.book) if check.day == period.name]
    dips = [dip for dip in dips_of(sources.book) if period.from_ms <= dip.time_ms < period.to_ms]
    rows: list[Json] = []
    for tank in sources.site.tanks:
        looked = [check for check in drains if check.tank == tank.id]
        for check in looked:
            done = check.result is not DrainResult.NOT_DONE
            found = check.result.value if done else check.why
            if done and check.water_m3:
                found += f", water {1000 * check.water_m3:.2f} L"
            rows.append(
                {
                    "name": tank.name,
                    "tank": tank.id,
                    "check": "drain check",
                    "done": "done" if done else NOT_DONE,
                    "by": check.by,
                    "time": iso_ms(check.time_ms),
                    "found": found,
                    "why": f" ({check.by}): {check.why}",
                    "daily": True,
                }
            )
        if not looked:
            rows.append(_missing(tank.name, tank.id, "drain check", daily=True))
        taken = [dip for dip in dips if dip.tank == tank.id]
        for dip in taken:
            level = "" if dip.level_m is None else f"{1000 * dip.level_m:.1f} mm"
            water = "" if dip.water_m is None else f"water {1000 * dip.water_m:.1f} mm"
            rows.append(
                {
                    "name": tank.name,
                    "tank": tank.id,
                    "check": "dip",
                    "done": "done",
                    "by": dip.by,
                    "time": iso_ms(dip.time_ms),
                    "found": ", ".join(filter(None, (level, water))),
                    "daily": False,
                }
            )
        if not taken:
            rows.append(_missing(tank.name, tank.id, "dip", daily=False))
    return rows


def _missing(name: str, tank: str, check: str, *, daily: bool) -> Json:
    """A check that nobody wrote down. daily: it is asked for every day of a working tank."""
    return {
        "name": name,
        "tank": tank,
        "check": check,
        "done": NOT_DONE,
        "found": "nothing is written down",
        "daily": daily,
        "why": ": nothing is written down",
    }
