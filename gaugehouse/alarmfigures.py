"""The alarm performance figures of a site: from the record book's alarm rows to one JSON object and one printed page.

Periods are the site's own days and months (they begin at `day_starts`); the figures are `alerts.performance`'s.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final, NamedTuple

from alerts.nuisance import TEN_MIN_MS, AlarmRow, by_alarm, chattering, floods, stale, stands
from alerts.performance import (
    AIMS,
    CONVENTION,
    DAY_MS,
    ENOUGH_DAYS,
    SHORTEST_DAY_MS,
    Count,
    Figures,
    Judged,
    Period,
    figures,
    judged,
)
from gaugehouse.days import Days, iso_ms
from gaugehouse.printing import table
from gaugehouse.records import ALARM
from gaugehouse.site import Site
from history.book import BookReader

Json = dict[str, Any]

MOST_DAYS: Final = 400
"""The longest stretch that is cut into days."""
SHORTEST_MONTH_MS: Final = 27 * DAY_MS + SHORTEST_DAY_MS
"""Days and months that are cut short (the first, the present one) are counted and not judged."""


class Kept(NamedTuple):
    """What a record book holds of alarms: all rows up to a time, and since when it has been kept at all."""

    rows: Sequence[AlarmRow]
    since_ms: int | None


def kept_rows(book: BookReader, to_ms: int | None = None) -> Kept:
    """Every alarm row before to_ms, and the time of the book's first entry."""
    first = next(book.entries(limit=1), None)
    rows = [_row(entry.time_ms, dict(entry.body)) for entry in book.entries([ALARM], None, to_ms)]
    return Kept(rows, None if first is None else first.time_ms)


def _row(time_ms: int, body: Json) -> AlarmRow:
    return AlarmRow(time_ms, f"{body['source']}.{body['condition']}", body["priority"], body["event"], body["state"])


def periods(days: Days, from_ms: int, to_ms: int) -> tuple[list[Period], list[Period]]:
    """The site's days that touch from <= t < to, cut to it, and its months made of them."""
    each: list[Period] = []
    at_ms = from_ms
    while at_ms < to_ms and len(each) < MOST_DAYS:
        day = days.at(at_ms)
        each.append(Period(day.date, max(day.start_ms, from_ms), min(day.end_ms, to_ms)))
        at_ms = day.end_ms
    months = [
        Period(month, part[0].start_ms, part[-1].end_ms)
        for month, found in groupby(each, key=lambda day: day.name[:7])
        for part in [list(found)]
    ]
    return each, months


def performance(site: Site, kept: Kept, from_ms: int, to_ms: int, now_ms: int) -> Json:
    """The whole answer for from <= t < to: what is so now, the whole stretch, its months and its days.

    The stretch is cut to the time that the book knows of.
    """
    until_ms = min(to_ms, now_ms)
    start_ms = min(until_ms, max(from_ms, until_ms if kept.since_ms is None else kept.since_ms))
    rows, positions = kept.rows, site.operator_positions
    stood = stands(rows)
    days, months = periods(Days(site.zone, site.day_starts_min), start_ms, until_ms)

    enough = until_ms - start_ms >= ENOUGH_DAYS * DAY_MS

    def made(period: Period, least_ms: int = 0) -> Json:
        judge = enough and period.end_ms - period.start_ms >= least_ms
        return _json(figures(rows, period, positions, stood), enough=judge)

    return {
        "from": iso_ms(start_ms),
        "to": iso_ms(until_ms),
        "operator_positions": positions,
        "convention": CONVENTION,
        "enough": enough,
        "enough_days": ENOUGH_DAYS,
        "aims": [aim._asdict() for aim in AIMS],
        "now": _now(rows, positions, now_ms),
        "whole": made(Period("whole", start_ms, until_ms)),
        "months": [made(month, SHORTEST_MONTH_MS) for month in months],
        "days": [made(day, SHORTEST_DAY_MS) for day in days],
    }


def _now(rows: Sequence[AlarmRow], positions: int, now_ms: int) -> Json:
    """A flood, chattering and stale alarms of this moment."""
    last_hour = [row for row in rows if now_ms - DAY_MS / 24 < row.time_ms <= now_ms]
    times = sorted(row.time_ms for row in last_hour if row.asks)
    running = [flood for flood in floods(times, now_ms + 1, positions) if flood.end_ms > now_ms]
    last_ten = by_alarm(row for row in last_hour if row.time_ms > now_ms - TEN_MIN_MS)
    return {
        "time": iso_ms(now_ms),
        "flood_since": iso_ms(running[0].start_ms) if running else None,
        "chattering": sorted(chattering(last_ten)),
        "stale": stale(stands(row for row in rows if row.time_ms <= now_ms), now_ms, now_ms + 1),
    }


def _json(made: Figures, *, enough: bool) -> Json:
    out: Json = {"name": made.period.name, "from": iso_ms(made.period.start_ms), "to": iso_ms(made.period.end_ms)}
    for name, value in made._asdict().items():
        if name in ("period", "positions"):
            continue
        if isinstance(value, float):
            value = round(value, 4)
        elif isinstance(value, tuple):
            value = [part._asdict() if isinstance(part, Count) else _rounded(part) for part in value]
        out[name] = value
    out["judged"] = [_judged(one) for one in judged(made, enough=enough)]
    return out


def _rounded(part: object) -> object:
    return round(part, 4) if isinstance(part, float) else part


def _judged(one: Judged) -> Json:
    return {"figure": one.aim.figure, "value": _rounded(one.value), "verdict": one.verdict.value}


def page(answer: Json) -> str:
    """The same for people: the whole stretch beside its aims, then what nags most, then the days."""
    lines = [
        f"alarm performance from {answer['from']} to {answer['to']}",
        f"operator positions: {answer['operator_positions']}",
        *([] if answer["enough"] else [f"less than {answer['enough_days']} days: too short to judge a system by"]),
        "",
        table(("figure", "value", "unit", "aim", "verdict"), list(_aim_rows(answer))),
        "",
        *_lists(answer["whole"]),
        "",
        table(_DAY_COLUMNS, [_day_row(day) for day in answer["days"]]) if answer["days"] else "no day yet",
        "",
        answer["convention"],
    ]
    return "\n".join(lines)


_DAY_COLUMNS: Final = (
    "day", "alarms", "most in 10 min", "most in an hour", "floods", "in flood [%]", "chattering", "fleeting", "stale",
)  # fmt: skip


def _aim_rows(answer: Json) -> Iterator[Json]:
    for aim, one in zip(answer["aims"], answer["whole"]["judged"], strict=True):
        sign = "from" if aim["figure"] == "priority_3_percent" else "below" if aim["below"] else "up to"
        wanted = f"{sign} {aim['acceptable']:g}"
        if aim["manageable"] is not None:
            wanted += f", at most {aim['manageable']:g}"
        value = None if one["value"] is None else round(one["value"], 2)
        yield {"figure": aim["words"], "value": value, "unit": aim["unit"], "aim": wanted, "verdict": one["verdict"]}


def _lists(whole: Json) -> Iterator[str]:
    yield "most frequent: " + (_counted(whole["top"]) or "none")
    yield "chattering (3 or more within a minute): " + (_counted(whole["chattering"]) or "none")
    yield "fleeting (gone within a minute): " + (_counted(whole["fleeting"]) or "none")
    yield "stale (shown for more than 24 h): " + (", ".join(whole["stale"]) or "none")


def _counted(counts: Sequence[Json]) -> str:
    return ", ".join(f"{one['id']} {one['times']}" for one in counts)


def _day_row(day: Json) -> Json:
    return dict(
        zip(
            _DAY_COLUMNS,
            (
                day["name"], day["annunciations"], day["peak_10min"], day["peak_hour"], day["floods"],
                round(day["flood_percent"], 2), len(day["chattering"]), len(day["fleeting"]), len(day["stale"]),
            ),
            strict=True,
        )
    )  # fmt: skip
