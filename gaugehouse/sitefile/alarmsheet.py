"""The site's alarm sheet: a CSV beside the site file that says what each alarm means and what is done about it.

Columns: `source,condition` name the alarm (source empty = wherever the condition occurs); `priority`, `name`, `cause`,
`consequence`, `action`, `respond`, `latching` say what differs from the house's own words. A column that is left out
keeps the default; a text that is there and empty is refused: an alarm without an action is not an alarm.
"""

import csv
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from alerts.lifecycle import Kind
from alerts.sheet import BUILT_IN, LIMIT_DEFAULTS, Sheet, SheetEntry
from alerts.spec import TankAlarms
from gaugehouse.sitefile.problems import Report, nearest

TEXTS: Final = ("name", "cause", "consequence", "action", "respond")
COLUMNS: Final = ("source", "condition", "priority", *TEXTS, "latching")
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


def read_sheet(path: Path, tanks: Collection[str], instruments: Collection[str], report: Report) -> AlarmSheet:
    """Read and check a sheet; every mistake goes into the report with its row."""
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
            line.take(entries, priorities)
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

    def take(self, entries: dict[str | Key, SheetEntry], priorities: dict[Key, int]) -> None:
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
        entries[key] = replace(BUILT_IN[condition], **texts, kind=Kind(latching=latching))
        self._priority(source, condition, priorities)

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
