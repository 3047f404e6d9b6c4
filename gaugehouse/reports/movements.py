"""The list of movements: what went in and out of the tanks, as it was found from the readings."""

from collections.abc import Sequence
from math import fsum
from typing import Any, Final

from gaugehouse.movementrecords import movement_rows
from gaugehouse.reports.model import Column, Kind, Period, Report, Table, identity, number, table, volume
from gaugehouse.reports.sources import Sources, bearing_of

Json = dict[str, Any]

TITLE: Final = "List of movements"

COLUMNS: Final = (
    Column("tank_name", "Tank", share=1.3),
    identity("tank"),
    number("number", "No.", "", 0, share=0.5),
    Column("kind", "Kind", share=1.1),
    Column("stage", "Stage", share=0.9),
    Column("start", "Start", Kind.TIME, share=1.5),
    number("start_u95_s", "±", "s", 1, wide=True),
    Column("end", "End", Kind.TIME, share=1.5),
    number("end_u95_s", "±", "s", 1, wide=True),
    number("level_start_m", "From\nlevel", "m", 5, shown=3),
    number("level_end_m", "To\nlevel", "m", 5, shown=3),
    volume("gov_m3", "GOV", signed=True),
    volume("gov_u95_m3", "±", share=0.8),
    volume("gsv_m3", "GSV", signed=True),
    volume("gsv_u95_m3", "±", share=0.8),
    number("mean_m3_per_h", "Mean", "m³/h", 3, shown=1, share=0.8),
    number("peak_m3_per_h", "Peak", "m³/h", 3, shown=1, share=0.8),
    Column("ordered", "Ordered", share=0.8),
    Column("pair", "Pair", share=0.9),
    Column("told", "To be known", share=1.8),
)
TOGETHER: Final = (
    Column("tank_name", "Tank", share=2),
    identity("tank"),
    Column("kind", "Kind", share=2),
    number("count", "Movements", "", 0),
    volume("gov_m3", "GOV", signed=True),
    volume("gsv_m3", "GSV", signed=True),
    number("unsure", "Not final", "", 0),
)
NOTE: Final = (
    "Found from the gauges' readings, final volumes only. They are held against the papers and feed no book: the book "
    "is made of papers. Volumes are end less start, into the tank positive; ± at 95 %."
)


def report(sources: Sources, period: Period) -> Report:
    rows = rows_of(sources, period)
    return Report(
        "movements", TITLE, bearing_of(sources), period, [listed(rows), together(sources, rows)], notes=[NOTE]
    )


def rows_of(sources: Sources, period: Period) -> list[Json]:
    """Movements that touch the period."""
    return [
        row | {"tank_name": sources.name_of(row["tank"]), "kind": words(row["kind"]), "told": _told(row)}
        for row in movement_rows(sources.book, None, period.from_ms, period.to_ms)
    ]


def words(kind: str) -> str:
    return kind.replace("_", " ")


def _told(row: Json) -> list[str]:
    told = []
    if row["blind_s"]:
        told.append(f"level not seen for {row['blind_s']:.0f} s")
    if row["faults"]:
        told.append(f"faults {row['faults']}")
    if row["rough"] == "yes":
        told.append("surface not calm: a rough figure")
    if row["ordered"] == "no":
        told.append("nobody had ordered it")
    return told


def listed(rows: Sequence[Json]) -> Table:
    finals = [row for row in rows if row["gsv_m3"] is not None]
    sums = None
    if rows and len(finals) == len(rows):
        sums = {name: fsum(row[name] for row in rows) for name in ("gov_m3", "gsv_m3")}
    return table("movements", "Movements", COLUMNS, rows, sums=sums, empty="no movement in that time")


def together(sources: Sources, rows: Sequence[Json]) -> Table:
    """By tank and kind; a movement whose volume is not final is counted and not summed."""
    found: list[Json] = []
    for tank, kind in dict.fromkeys((row["tank"], row["kind"]) for row in rows):
        of = [row for row in rows if (row["tank"], row["kind"]) == (tank, kind)]
        final = [row for row in of if row["gsv_m3"] is not None]
        found.append(
            {
                "tank": tank,
                "tank_name": sources.name_of(tank),
                "kind": kind,
                "count": len(of),
                "unsure": len(of) - len(final),
                "gov_m3": fsum(row["gov_m3"] for row in final) if final else None,
                "gsv_m3": fsum(row["gsv_m3"] for row in final) if final else None,
            }
        )
    return table("together", "Together", TOGETHER, found, empty="no movement in that time")
