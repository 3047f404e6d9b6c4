"""The comparison of hand dips with the gauges: each dip, what a row of them says of a gauge, and density samples."""

from typing import Any, Final

from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.dipgauge import held, held_json, sample_row, trend
from gaugehouse.diprecords import dips_of, samples_of
from gaugehouse.reports.model import Column, Field, Kind, Period, Report, Signature, identity, number, table
from gaugehouse.reports.sources import Sources, bearing_of

Json = dict[str, Any]

TITLE: Final = "Dips beside the gauges"

DIPS: Final = (
    Column("tank_name", "Tank", share=1.2),
    identity("tank"),
    number("number", "No.", "", 0, share=0.5),
    Column("time", "Taken at", Kind.TIME, share=1.4),
    Column("purpose", "Purpose", share=0.8),
    number("level_m", "Dip", "m", 5, shown=4),
    number("gauge_m", "Gauge", "m", 5, shown=4),
    number("off_mm", "Gauge\nless dip", "mm", 2, shown=1, signed=True),
    number("off_u95_mm", "±", "mm", 2, shown=1, share=0.7),
    Column("verdict", "Limit", share=1.1),
    number("water_m", "Water", "m", 5, shown=4),
    number("temperature_degC", "Liquid", "°C", 2, shown=1, share=0.7),
    Column("by", "By", share=1.1),
    Column("comment", "Comment", share=2),
)
GAUGES: Final = (
    Column("tank_name", "Tank", share=1.2),
    identity("tank"),
    number("count", "Dips", "", 0, share=0.5),
    number("zero_mm", "Zero", "mm", 2, shown=1, signed=True),
    number("zero_u95_mm", "±", "mm", 2, shown=1, share=0.7),
    number("span_mm_per_m", "Span", "mm/m", 3, shown=2, signed=True),
    number("span_u95_mm_per_m", "±", "mm/m", 3, shown=2, share=0.7),
    Column("drift", "Drift", share=1.6),
    Column("verified", "Verified, by thirds", share=2.6),
    Column("check", "To be checked", share=3),
    Column("due", "Next dip due", Kind.TIME, share=1.3),
)
SAMPLES: Final = (
    Column("tank_name", "Tank", share=1.2),
    identity("tank"),
    number("number", "No.", "", 0, share=0.5),
    Column("time", "Drawn at", Kind.TIME, share=1.4),
    number("observed_kgpm3", "Observed", "kg/m³", 3, shown=1),
    number("observed_degC", "At", "°C", 2, shown=1),
    Column("meter", "Meter"),
    number("base_kgpm3", "Base density", "kg/m³", 3, shown=2),
    number("certificate_kgpm3", "Certificate,\n15 °C", "kg/m³", 3, shown=1),
    Column("accepted", "Accepted", share=0.8),
    Column("by", "By"),
    Column("comment", "Comment", share=2),
)
WAYS: Final = {0: "none seen", 1: "reads more than it did", -1: "reads less than it did"}


def report(sources: Sources, period: Period) -> Report:
    site, book = sources.site, sources.book

    def within(time_ms: int) -> bool:
        return period.from_ms <= time_ms < period.to_ms

    dips = [dip for dip in dips_of(book) if within(dip.time_ms)]
    rows = [_dip(sources, held_json(one)) for one in held(site, sources.readings, dips)]
    trends = [trend(site, book, sources.readings, tank.id) for tank in site.tanks]
    samples = [
        row | {"tank_name": sources.name_of(row["tank"])}
        for row in map(sample_row, (one for one in samples_of(book) if within(one.time_ms)))
    ]
    rules = site.dip_rules
    bearing = bearing_of(sources)
    return Report(
        "dips", TITLE, bearing, period,
        [
            table("dips", "Dips, oldest first", DIPS, rows, empty="no dip in that time"),
            table("gauges", "What all dips since a gauge was last set say of it", GAUGES,
                  [_gauge(sources, one) for one in trends]),
            table("samples", "Density samples", SAMPLES, samples, empty="no sample in that time"),
        ],
        [Field("Limit of gauge less dip", f"{1000 * rules.limit_m:g} mm ({rules.limit_source})"),
         Field("±", "expanded uncertainty of the difference, both, k = 2")],
        [text for one in trends for text in _not_done(sources, one, {dip.tank for dip in dips})],
        signatures=[Signature("Made by", bearing.made_by)],
    )  # fmt: skip


def _dip(sources: Sources, row: Json) -> Json:
    within = row["within"]
    return row | {
        "tank_name": sources.name_of(row["tank"]),
        "off_mm": _mm(row["difference_m"]),
        "off_u95_mm": _mm(row["difference_u95_m"]),
        "verdict": "not compared" if within is None else "within" if within else "BEYOND",
    }


def _gauge(sources: Sources, found: Json) -> Json:
    split, drift = found["split"], found["drift"]
    thirds = (f"{name} {'not done' if off is None else f'{1000 * off:+.1f} mm'}" for name, off in
              found["verified"].items())  # fmt: skip
    return {
        "tank_name": sources.name_of(found["tank"]),
        "count": len(found["dips"]),
        "zero_mm": None if split is None else _mm(split["zero_m"]),
        "zero_u95_mm": None if split is None else _mm(split["zero_u95_m"]),
        "span_mm_per_m": None if split is None else _mm(split["span_m_per_m"]),
        "span_u95_mm_per_m": None if split is None else _mm(split["span_u95_m_per_m"]),
        "drift": "not judged" if drift is None else WAYS[drift["way"]],
        "verified": ", ".join(thirds),
        "check": [
            *([one["words"] for one in found["check"]] if found["dips"] else []),
            *([found["split_refused"]] if found["split_refused"] else []),
        ],
        "due": found["due"],
    }


def _not_done(sources: Sources, found: Json, dipped: set[str]) -> list[str]:
    name, told = sources.name_of(found["tank"]), []
    if found["tank"] not in dipped:
        told.append(f"{name}: no dip in this time")
    thirds = [third for third, off in found["verified"].items() if off is None]
    if thirds:
        told.append(f"{name}: gauge not verified, {', '.join(thirds)} of its range")
    due = found["due"]
    if due is None:
        told.append(f"{name}: never dipped, due now ({found['due_for']})")
    elif parse_ms(due) < sources.now_ms:
        told.append(f"{name}: dip overdue since {iso_ms(parse_ms(due))[:10]} ({found['due_for']})")
    return told


def _mm(value: float | None) -> float | None:
    return None if value is None else 1000 * value
