"""The site's alarm sheet: a CSV beside the site file that says what each alarm means and what is done about it.

A row speaks of one alarm (`source` and `condition`), or of a condition wherever it occurs (`source` empty); the row of
one alarm wins over that of its condition, and both over the site file and the house's words. A column that is left out
keeps what there was, and so does an empty cell; but a text that is there and empty is refused: an alarm without an
action is not an alarm. Every mistake of every row is told at once. What a cell may hold is in `sheetcells`.
"""

import csv
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from alerts.conditions import TANK_CONDITIONS
from alerts.sheet import BUILT_IN, LIMIT_DEFAULTS, Sheet, SheetEntry, default_limit
from alerts.spec import (
    CHANNEL_CONDITIONS,
    POINT_CONDITIONS,
    RATE_CONDITIONS,
    SIGNAL_CONDITIONS,
    SYSTEM_CONDITIONS,
    Limit,
    TankAlarms,
)
from alerts.watched import Watched
from gaugehouse.sitefile.problems import Report, nearest
from gaugehouse.sitefile.sheetcells import COLUMNS, Cells

Key = tuple[str, str]
"""Source and condition; the source is empty where a row speaks of every source."""

RATE_DEADBAND: Final = 0.1
NEVER_BELOW_NOTHING: Final = (
    "water_high", "water_rising", "level_deviation", "fill_rate_high", "store_late", "publisher_late", "disk_filling",
)  # fmt: skip
"""Conditions whose value is never negative."""


class Sources(NamedTuple):
    """Who can be the source of an alarm in a site, and which conditions are watched where."""

    tanks: Collection[str]
    instruments: Collection[str]
    points: Collection[str]
    watched: Collection[Key]
    limits: Collection[Key]


class Row(NamedTuple):
    """What one row changes: fields of the sheet's entry, and settings of the limit."""

    number: int
    entry: Mapping[str, Any]
    limit: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AlarmSheet:
    """What a sheet says, by alarm. by_return: the classes whose alarms are acknowledged by their return."""

    rows: Mapping[Key, Row] = field(default_factory=dict)
    by_return: Collection[str] = ()

    @property
    def texts(self) -> Sheet:
        """The entries for the alarm room."""
        own: dict[str | Key, SheetEntry] = {}
        for source, condition in self.rows:
            own[(source, condition) if source else condition] = self._entry(source, condition)
        return Sheet(own)

    def _entry(self, source: str, condition: str) -> SheetEntry:
        changes = self._of("entry", source, condition)
        latching = changes.pop("latching", False)
        entry = replace(BUILT_IN[condition], **changes)
        kind = entry.kind._replace(latching=latching, acknowledged_by_return=entry.alarm_class in self.by_return)
        return replace(entry, kind=kind)

    def _of(self, what: str, source: str, condition: str) -> dict[str, Any]:
        """The changes for one alarm: its condition's row, and over it its own."""
        keys = (("", condition), (source, condition)) if source else (("", condition),)
        found: dict[str, Any] = {}
        for key in keys:
            if key in self.rows:
                found |= getattr(self.rows[key], what)
        return found

    def row_of(self, source: str, condition: str) -> int | None:
        """The row that sets an alarm's set point or deadband, None where the site file does."""
        for key in ((source, condition), ("", condition)):
            row = self.rows.get(key)
            if row is not None and row.limit.keys() & {"at", "deadband"}:
                return row.number
        return None

    def deadband_per(self, source: str, condition: str) -> str:
        """The kind of a rate's deadband that the sheet gives: m/s or m3/s; empty where it gives none."""
        deadband = self._of("limit", source, condition).get("deadband")
        return str(deadband[1]) if isinstance(deadband, tuple) else ""

    def applied(self, alarms: Iterable[TankAlarms]) -> tuple[TankAlarms, ...]:
        """The tanks' limits with what the sheet says of them; a set point makes a limit where there was none."""
        return tuple(replace(tank, limits=self._limits(tank)) for tank in alarms)

    def _limits(self, tank: TankAlarms) -> tuple[Limit, ...]:
        limits = {limit.condition: limit for limit in tank.limits}
        for source, condition in self.rows:
            if source == tank.tank and condition in LIMIT_DEFAULTS and condition not in limits:
                at, per = self._of("limit", source, condition)["at"]
                limits[condition] = default_limit(condition, at, per)
        changed = (_changed(limit, self._of("limit", tank.tank, name)) for name, limit in limits.items())
        return tuple(sorted(changed, key=lambda limit: TANK_CONDITIONS.index(limit.condition)))

    def watching(self, watched: Iterable[Watched]) -> tuple[Watched, ...]:
        """The same for conditions that are judged elsewhere."""
        return tuple(
            replace(one, limits=tuple(_changed(x, self._of("limit", one.source, x.condition)) for x in one.limits))
            for one in watched
        )


def _changed(limit: Limit, changes: Mapping[str, Any]) -> Limit:
    """A limit with another set point, deadband, delays or priority. A rate's deadband follows its set point."""
    rest = dict(changes)
    if "at" in rest:
        at, per = rest.pop("at")
        if per == limit.per and at == limit.at:
            pass
        elif limit.condition in RATE_CONDITIONS:
            limit = replace(limit, at=at, per=per, deadband=float(f"{RATE_DEADBAND * at:.12g}"))
        else:
            limit = replace(limit, at=at)
            if limit.condition in NEVER_BELOW_NOTHING:  # a deadband of a larger set point would leave no way back
                limit = replace(limit, deadband=min(limit.deadband, float(f"{at / 2:.12g}")))
    if isinstance(rest.get("deadband"), tuple):
        rest["deadband"], _ = rest["deadband"]  # its kind is told by `deadbands`
    return replace(limit, **rest)


def read_sheet(path: Path, sources: Sources, by_return: Collection[str], report: Report) -> AlarmSheet:
    """Read and check a sheet; every mistake goes into the report with its row."""
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            lines = list(csv.reader(file))
    except OSError as error:
        why = error.strerror or str(error)
        report.error("", f"the alarm sheet cannot be read: {why}; check the name and its rights", file=str(path))
        return AlarmSheet()
    except (UnicodeDecodeError, csv.Error) as error:
        report.error("", f"the alarm sheet cannot be read as CSV in UTF-8: {error}", file=str(path))
        return AlarmSheet()
    header = [cell.strip() for cell in lines[0]] if lines else []
    if not _header(header, path, report):
        return AlarmSheet()
    rows: dict[Key, Row] = {}
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        line = _Line(number, dict(zip(header, (cell.strip() for cell in cells), strict=False)), path, report)
        if len(cells) > len(header):
            line.say(f"{len(cells)} cells under {len(header)} columns; put texts with commas in quotes")
        elif line.alarm(sources):
            line.take(rows, sources)
    _classes(rows.values(), by_return, report)
    return AlarmSheet(rows, by_return)


def _header(header: list[str], path: Path, report: Report) -> bool:
    known = ", ".join(COLUMNS)
    wrong = [name for name in header if name not in COLUMNS]
    missing = [name for name in ("source", "condition") if name not in header]
    for name in wrong:
        text = f'row 1: no column is called "{name}"; there are {known}{nearest(name, COLUMNS)}'
        report.error("", text, found=name, allowed=known, file=str(path))
    for name in missing:
        report.error("", f'row 1: the column "{name}" is missing; add it', file=str(path))
    twice = sorted({name for name in header if header.count(name) > 1})
    for name in twice:
        report.error("", f'row 1: the column "{name}" is there twice; keep one', found=name, file=str(path))
    return not wrong and not missing and not twice


def _classes(rows: Iterable[Row], by_return: Collection[str], report: Report) -> None:
    used = {row.entry.get("alarm_class", "") for row in rows}
    for name in by_return:
        if name not in used:
            report.error(
                "alarms.acknowledged_by_return",
                f'no row of the alarm sheet has the class "{name}"; correct it there or here{nearest(name, used)}',
                found=name,
            )


@dataclass(frozen=True, slots=True)
class _Line:
    """One row of a sheet as text."""

    number: int
    row: Mapping[str, str]
    path: Path
    report: Report

    def say(self, text: str, found: str = "", allowed: str = "") -> None:
        self.report.error("", f"row {self.number}: {text}", found=found, allowed=allowed, file=str(self.path))

    def alarm(self, sources: Sources) -> bool:
        """True when the row names an alarm that the site can have."""
        source, condition = self.row.get("source", ""), self.row.get("condition", "")
        if condition not in BUILT_IN:
            known = ", ".join(BUILT_IN)
            self.say(
                f'no condition is called "{condition}"; there are {known}{nearest(condition, BUILT_IN)}', condition
            )
            return False
        place, kind = (sources.tanks, "tank")
        if condition in SIGNAL_CONDITIONS:
            place, kind = (sources.instruments, "instrument")
        elif condition in POINT_CONDITIONS:
            place, kind = (sources.points, "point")
        elif condition in (*CHANNEL_CONDITIONS, *SYSTEM_CONDITIONS):
            place, kind = ([one for one, what in sources.watched if what == condition], "channel")
            if condition in SYSTEM_CONDITIONS:
                kind = "source"
        if source and source not in place:
            whose = f"{condition} is an alarm of {'the system' if kind == 'source' else f'a {kind}'}"
            self.say(f'{whose}, and no {kind} is called "{source}"{nearest(source, place)}')
            return False
        key = (source, condition)
        if source and condition in LIMIT_DEFAULTS:
            if key not in sources.limits and not self.row.get("set_point"):
                self.say(f"{source} has no limit {condition}; give it a set_point, or remove the row")
                return False
        elif source and condition not in SIGNAL_CONDITIONS and key not in sources.watched:
            self.say(
                f"{source} has no alarm {condition}: the site file lacks what it needs; add that or remove the row"
            )
            return False
        return True

    def take(self, rows: dict[Key, Row], sources: Sources) -> None:
        """Add what the row says, or tell all that is wrong with it."""
        source, condition = self.row.get("source", ""), self.row["condition"]
        if (source, condition) in rows:
            self.say(f"{condition} of {source or 'every source'} stands in the sheet twice; keep one row")
            return
        cells = Cells(self.row, condition, sources.points, self.say)
        rows[source, condition] = Row(self.number, cells.entry(), cells.limit())
