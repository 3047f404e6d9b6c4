"""The alarm sheet in force: one line for each alarm that a site can raise, whatever it comes from.

Knows how a line is written so that it reads back to the same; refuses to know paper and screen.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from alerts.sheet import BUILT_IN, SheetEntry
from alerts.spec import SIGNAL_CONDITIONS, Limit
from gaugehouse.sitefile.alarmsheet import AlarmSheet
from gaugehouse.sitefile.concerns import FROM_TOP, level_mistakes
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.quantities import parse
from gaugehouse.sitefile.sheetcells import COLUMNS, DAY_MS


class Line(NamedTuple):
    """One alarm. limit: None for a fault of a signal, which is judged by rules of its own."""

    source: str
    condition: str
    limit: Limit | None
    entry: SheetEntry

    @property
    def id(self) -> str:
        return f"{self.source}.{self.condition}"


def lines(site: Site) -> Iterator[Line]:
    """Every alarm of the site, in the fixed order of a tick."""
    for loop in site.loops:
        for condition in SIGNAL_CONDITIONS:
            yield Line(loop.instrument, condition, None, site.sheet.entry(loop.instrument, condition))
    for tank in site.tank_alarms:
        for limit in tank.limits:
            yield Line(tank.tank, limit.condition, limit, site.sheet.entry(tank.tank, limit.condition))
    for watched in site.watched:
        for limit in watched.limits:
            yield Line(watched.source, limit.condition, limit, site.sheet.entry(watched.source, limit.condition))


def own_words(line: Line) -> Mapping[str, Any]:
    """What the site says otherwise than the house, by the fields of the entry."""
    built_in = BUILT_IN[line.condition]
    pairs = ((f.name, getattr(line.entry, f.name), getattr(built_in, f.name)) for f in fields(SheetEntry))
    return {name: own for name, own, house in pairs if own != house}


def unit_of(limit: Limit) -> str:
    """The unit of a set point; empty for a verdict."""
    return "m" if limit.condition in FROM_TOP else limit.per


def cells(line: Line) -> dict[str, str]:
    """A line as the sheet's CSV has it, by column: exact, so that it reads back to the same."""
    limit, entry = line.limit, line.entry
    found = dict.fromkeys(COLUMNS, "")
    found |= {name: getattr(entry, name) for name in ("name", "cause", "consequence", "action", "respond")}
    found |= {name: getattr(entry, name) for name in ("rationale", "owner", "test_method", "last_test")}
    found |= {
        "source": line.source,
        "condition": line.condition,
        "class": entry.alarm_class,
        "latching": "yes" if entry.kind.latching else "no",
        "ask_again": "" if entry.ask_again_ms is None else seconds(entry.ask_again_ms),
        "test_every": "" if entry.test_every_ms is None else f"{entry.test_every_ms / DAY_MS:.12g} d",
    }
    if entry.suppressed_while is not None:
        found["suppressed_while"] = ("" if entry.suppressed_while.on else "not ") + entry.suppressed_while.point
    if limit is not None:
        unit = unit_of(limit)
        found |= {"on_delay": seconds(limit.on_delay_ms), "off_delay": seconds(limit.off_delay_ms)}
        found["priority"] = str(limit.priority)
        if unit:
            found |= {"set_point": quantity(limit.at, unit), "deadband": quantity(limit.deadband, unit)}
    return found


def quantity(value: float, unit: str) -> str:
    """A value as people write it, where that reads back to the same; else in SI."""
    if unit in _USUAL:
        usual, factor = _USUAL[unit]
        text = f"{value * factor:.10g} {usual}"
        if parse(text, unit, "") == value:
            return text
    return f"{value:.12g} {unit}"


_USUAL: Final = {"m3/s": ("L/min", 60_000.0), "m/s": ("mm/min", 60_000.0)}


def seconds(ms: int) -> str:
    return f"{ms / 1000:.12g} s"


def csv_of(site: Site) -> str:
    """The whole sheet in force as CSV."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(cells(line) for line in lines(site))
    return out.getvalue()


def overdue_tests(site: Site, on: date, tested: Mapping[str, str] = MappingProxyType({})) -> list[str]:
    """Alarms whose last test is longer ago than they may go without one, or that must have one and never had.

    tested: by alarm, the day of its newest passed test where the record book has one.
    """
    if all(entry.test_every_ms is None for entry in site.sheet.entries()):
        return []  # asked every few seconds: a large farm has tens of thousands of alarms
    due = ((line.id, proof_due(line.entry, tested.get(line.id, ""))) for line in lines(site))
    return [alarm for alarm, day in due if day is not None and on > day]


def proof_due(entry: SheetEntry, tested: str = "") -> date | None:
    """The last day on which the newest test (of the sheet or of the record book) still holds; None without a rule."""
    if entry.test_every_ms is None:
        return None
    last = max(entry.last_test, tested)  # both YYYY-MM-DD
    return date.fromisoformat(last) + timedelta(days=entry.test_every_ms // DAY_MS) if last else date.min


def with_tests(shown: Iterable[Line], tested: Mapping[str, str]) -> list[Line]:
    """The same lines with the day of the record book's newest passed test, where that is newer than the sheet's."""
    return [
        line._replace(entry=replace(line.entry, last_test=max(line.entry.last_test, tested.get(line.id, ""))))
        for line in shown
    ]


def check_set_points(site: Site, sheet: AlarmSheet, report: Report) -> Site:
    """Tell set points of the sheet that are out of order, off the table or beyond the gauge, each with its row."""
    rows = {key: row.number for key, row in sheet.rows.items() if "at" in row.limit}
    for tank in site.tanks:
        mine = {name: rows.get((tank.id, name), rows.get(("", name))) for name in FROM_TOP}
        if not any(mine.values()):
            continue
        limits = {limit.condition: limit.at for limit in site.alarms_of(tank.id).limits}
        levels: dict[str, float] = {name: limits[name] for name in FROM_TOP if name in limits}
        words = (site.reach_m[tank.id], "what the instrument reaches:")
        for mistake in level_mistakes(levels, tank.table, words):
            row = mine[mistake.condition] or next(filter(None, mine.values()))
            text = f"row {row}: set_point: {mistake.condition} of {tank.id}: {mistake.text}"
            report.error("", text, found=mistake.found, allowed=mistake.allowed, file=str(site.alarm_sheet))
    return site
