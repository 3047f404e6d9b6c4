"""What the cells of an alarm sheet may hold: quantities with units, priorities, times, dates, texts.

Knows one row; each mistake is said by the function that was handed in, and the rest of the row is read all the same.
"""

from collections.abc import Callable, Collection, Mapping
from functools import cache
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from alerts.sheet import WATCH_UNITS, While
from alerts.spec import RATE_CONDITIONS, SIGNAL_CONDITIONS
from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.problems import nearest

TEXTS: Final = ("name", "cause", "consequence", "action", "respond")
"""Never empty: an alarm that says nothing is not an alarm."""

NOTES: Final = {"class": "alarm_class", "rationale": "rationale", "owner": "owner", "test_method": "test_method"}
"""Columns of free text that may be empty, and the field of the sheet's entry."""

COLUMNS: Final = (
    "source", "condition", "name", "set_point", "priority", "class", "deadband", "on_delay", "off_delay", "latching",
    "ask_again", "suppressed_while", "cause", "consequence", "action", "respond", "rationale", "owner", "test_method",
    "last_test", "test_every",
)  # fmt: skip

LATCHING: Final = {"no": False, "yes": True}
DAY_MS: Final = 86_400_000

Say = Callable[..., None]


@cache
def _reader(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


_SET_POINTS: Final[dict[str, Any]] = {
    "m": f.Innage, "m3": f.Volume, "m3/s": f.Flow, "degC": f.Temperature, "K": f.Difference, "s": f.Delay,
    "%": f.Percent,
}  # fmt: skip
_DEADBANDS: Final[dict[str, Any]] = {**_SET_POINTS, "m": f.SmallLength, "degC": f.Difference}


class Cells:
    """The cells of one row. points: what a suppression may rest on."""

    def __init__(self, row: Mapping[str, str], condition: str, points: Collection[str], say: Say) -> None:
        self._row, self._condition, self._points, self._say = row, condition, points, say

    def entry(self) -> dict[str, Any]:
        """What differs in the alarm's words and in how it lives, by the fields of `SheetEntry` (and `latching`)."""
        row = self._row
        found: dict[str, Any] = {name: row[name] for name in TEXTS if row.get(name)}
        empty = [name for name in TEXTS if name in row and not row[name]]
        if empty:
            self._say(f"{', '.join(empty)} is empty: an alarm that says nothing is not an alarm; write it, or leave "
                      "the whole column out to keep the house's words")  # fmt: skip
        found |= {name: row[column] for column, name in NOTES.items() if row.get(column)}
        if row.get("latching"):
            if row["latching"] in LATCHING:
                found["latching"] = LATCHING[row["latching"]]
            else:
                self._say(f'latching is "{row["latching"]}"; write yes or no', row["latching"])
        self._put(found, "ask_again_ms", "ask_again", f.AskAgain)
        self._put(found, "last_test", "last_test", f.Date)
        self._put(found, "test_every_ms", "test_every", f.TestEvery)
        if row.get("suppressed_while"):
            found["suppressed_while"] = self._suppressed_while(row["suppressed_while"])
        return found

    def limit(self) -> dict[str, Any]:
        """What differs in the alarm's settings, by the fields of `Limit`; `at` comes with its unit."""
        found: dict[str, Any] = {}
        of_signal = self._condition in SIGNAL_CONDITIONS
        unit = WATCH_UNITS.get(self._condition, "m")
        if of_signal:
            self._refuse("set_point", "deadband", "on_delay", "off_delay", why="is judged by the loop's own rules")
            self._refuse("priority", why="has a priority that follows what it blinds (1 in a receipt, else 2)")
            return found
        if not unit:
            self._refuse("set_point", "deadband", why="is there or not")
        elif self._condition in RATE_CONDITIONS:
            self._put(found, "at", "set_point", f.Rate)
            self._put(found, "deadband", "deadband", f.Rate)
            if "at" in found:
                found["at"] = (found["at"].value, found["at"].per)
            if "deadband" in found:
                found["deadband"] = self._rate_deadband(found)
        else:
            self._put(found, "at", "set_point", _SET_POINTS[unit])
            self._put(found, "deadband", "deadband", _DEADBANDS[unit])
            for name in ("at", "deadband"):
                if unit == "s" and name in found:
                    found[name] = found[name] / 1000
            if "at" in found:
                found["at"] = (found["at"], WATCH_UNITS.get(self._condition, ""))
        self._put(found, "on_delay_ms", "on_delay", f.Delay)
        self._put(found, "off_delay_ms", "off_delay", f.Delay)
        priority = self._row.get("priority", "")
        if priority in ("1", "2", "3"):
            found["priority"] = int(priority)
        elif priority:
            self._say(f'priority is "{priority}"; write 1, 2 or 3', priority, "1, 2, 3")
        return found

    def _rate_deadband(self, found: dict[str, Any]) -> tuple[float, str]:
        """In the unit of the set point, and below it."""
        deadband: f.RateOf = found["deadband"]
        if "at" in found and (deadband.per != found["at"][1] or not deadband.value < found["at"][0]):
            text = "deadband must be of the same kind as set_point and below it; write a smaller rate"
            self._say(text, self._row["deadband"])
        return deadband.value, deadband.per

    def _put(self, found: dict[str, Any], name: str, column: str, kind: object) -> None:
        """Read one cell, if it is there and not empty."""
        text = self._row.get(column, "")
        if not text:
            return
        try:
            found[name] = _reader(kind).validate_python(text)
        except ValidationError as exc:
            said = exc.errors()[0].get("ctx", {})
            self._say(f"{column}: {said.get('said', exc)}", text, str(said.get("allowed", "")))

    def _refuse(self, *columns: str, why: str) -> None:
        for column in columns:
            if self._row.get(column):
                self._say(f"{column}: {self._condition} {why}; leave it empty", self._row[column])

    def _suppressed_while(self, text: str) -> While | None:
        point = text.removeprefix("not ").strip()
        if point not in self._points:
            known = ", ".join(self._points) or "none"
            self._say(
                f'suppressed_while is "{text}"; write the id of a [[point]] or "not" and the id; there are {known}'
                f"{nearest(point, self._points)}",
                text,
            )
        return While(point, on=point == text)
