"""The site's alarm sheet: a CSV beside the site file that says what each alarm means and what is done about it.

Columns: `source,condition` name the alarm (source empty = wherever the condition occurs); `priority`, `name`, `cause`,
`consequence`, `action`, `respond`, `latching`, `class`, `ask_again`, `suppressed_while` say what differs from the
house's own words. A column that is left out keeps the default; a text that is there and empty is refused: an alarm
without an action is not an alarm.
"""

import csv
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from alerts.lifecycle import Kind
from alerts.sheet import BUILT_IN, LIMIT_DEFAULTS, Sheet, SheetEntry, While
from alerts.spec import TankAlarms
from gaugehouse.sitefile.problems import Report, nearest
from gaugehouse.sitefile.quantities import BadQuantity, parse

TEXTS: Final = ("name", "cause", "consequence", "action", "respond")
COLUMNS: Final = ("source", "condition", "priority", *TEXTS, "latching", "class", "ask_again", "suppressed_while")
SOONEST_S: Final = 60.0
LATEST_S: Final = 86_400.0
LATCHING: Final = {"": False, "no": False, "yes": True}

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class AlarmSheet:
    """What a sheet says: texts for the alarm room, and priorities of limits by (source, condition)."""

    texts: Sheet = field(default_factory=Sheet)
    priorities: Mapping[Key, int] = field(default_factory=dict)

    def applied(self, alarms: Iterable[TankAlarms]) -> tuple[TankAlarms, ...]:
        """The tanks' limits with the sheet's priorities: the sheet wins over a limit's own key."""
        return tuple(
            replace(
                tank,
                limits=tuple(replace(limit, priority=self._priority(tank.tank, limit.condition, limit.priority))
                             for limit in tank.limits),
            )
            for tank in alarms
        )  # fmt: skip

    def _priority(self, tank: str, condition: str, own: int) -> int:
        return self.priorities.get((tank, condition), self.priorities.get(("", condition), own))


def read_sheet(
    path: Path,
    tanks: Collection[str],
    instruments: Collection[str],
    points: Collection[str],
    by_return: Collection[str],
    report: Report,
) -> AlarmSheet:
    """Read and check a sheet; every mistake goes into the report with its row.

    by_return: the classes whose alarms are acknowledged by their return.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        report.error("", f"the alarm sheet cannot be read as CSV in UTF-8: {error}", file=str(path))
        return AlarmSheet()
    header = [cell.strip() for cell in rows[0]] if rows else []
    if not _header(header, path, report):
        return AlarmSheet()
    entries: dict[str | Key, SheetEntry] = {}
    priorities: dict[Key, int] = {}
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        row = dict(zip(header, (cell.strip() for cell in cells), strict=False))
        line = _Line(number, row, path, report)
        if line.alarm(tanks, instruments):
            line.take(entries, priorities, points, by_return)
    _classes(entries.values(), by_return, report)
    return AlarmSheet(Sheet(entries), priorities)


def _header(header: list[str], path: Path, report: Report) -> bool:
    known = ", ".join(COLUMNS)
    wrong = [name for name in header if name not in COLUMNS]
    missing = [name for name in ("source", "condition") if name not in header]
    for name in wrong:
        text = f'row 1: no column is called "{name}"; there are {known}{nearest(name, COLUMNS)}'
        report.error("", text, found=name, allowed=known, file=str(path))
    for name in missing:
        report.error("", f'row 1: the column "{name}" is missing; add it', file=str(path))
    return not wrong and not missing


def _classes(entries: Iterable[SheetEntry], by_return: Collection[str], report: Report) -> None:
    used = {entry.alarm_class for entry in entries}
    for name in by_return:
        if name not in used:
            report.error(
                "alarms.acknowledged_by_return",
                f'no row of the alarm sheet has the class "{name}"; correct it there or here{nearest(name, used)}',
                found=name,
            )


@dataclass(frozen=True, slots=True)
class _Line:
    """One row of a sheet."""

    number: int
    row: Mapping[str, str]
    path: Path
    report: Report

    def _say(self, text: str, found: str = "", allowed: str = "") -> None:
        self.report.error("", f"row {self.number}: {text}", found=found, allowed=allowed, file=str(self.path))

    def alarm(self, tanks: Collection[str], instruments: Collection[str]) -> bool:
        """True when the row names an alarm that the site can have."""
        source, condition = self.row.get("source", ""), self.row.get("condition", "")
        if condition not in BUILT_IN:
            known = ", ".join(BUILT_IN)
            self._say(
                f'no condition is called "{condition}"; there are {known}{nearest(condition, BUILT_IN)}', condition
            )
            return False
        place, kind = (tanks, "tank") if condition in LIMIT_DEFAULTS else (instruments, "instrument")
        if source and source not in place:
            self._say(
                f'{condition} is an alarm of a {kind}, and no {kind} is called "{source}"{nearest(source, place)}'
            )
            return False
        return True

    def take(
        self,
        entries: dict[str | Key, SheetEntry],
        priorities: dict[Key, int],
        points: Collection[str],
        by_return: Collection[str],
    ) -> None:
        """Add what the row says."""
        source, condition = self.row.get("source", ""), self.row["condition"]
        key: str | Key = (source, condition) if source else condition
        if key in entries:
            self._say(f"{condition} of {source or 'every source'} stands in the sheet twice; keep one row")
            return
        texts = {name: self.row[name] for name in TEXTS if name in self.row}
        empty = [name for name in texts if not texts[name]]
        if empty:
            self._say(f"{', '.join(empty)} is empty: an alarm that says nothing is not an alarm; write it, or leave "
                      "the whole column out to keep the house's words")  # fmt: skip
            return
        latching = LATCHING.get(self.row.get("latching", ""))
        if latching is None:
            self._say(f'latching is "{self.row["latching"]}"; write yes or no')
            return
        name = self.row.get("class", "")
        entries[key] = replace(
            BUILT_IN[condition],
            **texts,
            kind=Kind(latching, acknowledged_by_return=name in by_return),
            alarm_class=name,
            ask_again_ms=self._ask_again(),
            suppressed_while=self._suppressed_while(points),
        )
        self._priority(source, condition, priorities)

    def _ask_again(self) -> int | None:
        text = self.row.get("ask_again", "")
        if not text:
            return None
        try:
            seconds = parse(text, "s", "30 min")
        except BadQuantity as error:
            self._say(f"ask_again: {error}", text)
            return None
        if not SOONEST_S <= seconds <= LATEST_S:
            self._say(f'ask_again is "{text}"; allowed is 1 min to 24 h, or nothing for never', text)
        return round(seconds * 1000)

    def _suppressed_while(self, points: Collection[str]) -> While | None:
        text = self.row.get("suppressed_while", "")
        if not text:
            return None
        point = text.removeprefix("not ").strip()
        if point not in points:
            known = ", ".join(points) or "none"
            self._say(
                f'suppressed_while is "{text}"; write the id of a [[point]] or "not" and the id; there are {known}'
                f"{nearest(point, points)}",
                text,
            )
        return While(point, on=point == text)

    def _priority(self, source: str, condition: str, priorities: dict[Key, int]) -> None:
        text = self.row.get("priority", "")
        if not text:
            return
        if text not in ("1", "2", "3"):
            self._say(f'priority is "{text}"; write 1, 2 or 3')
        elif condition not in LIMIT_DEFAULTS:
            self._say(f"the priority of {condition} follows what it blinds (1 in a receipt, else 2); leave it empty")
        else:
            priorities[source, condition] = int(text)
