"""What a person says of a drain check: clear, so much water, or not done and why; and that one was entered wrongly.

A check is written down as it was told. Where fuel had only just stopped moving the entry says so, since a sample drawn
too early is a spark risk and no sample of a settled tank. Decides by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.actfields import is_number, short_text_of, whole_of
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from inventory.draincheck import APPEARANCES, DrainCheck, DrainResult, check_json
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

DRAIN_CHECK: Final = "drain_check"
WITHDRAWN: Final = "drain_check_withdrawn"
"""The kinds of the record book's entries."""

REST_MS: Final = 1_800_000
"""So long after flow no sample is drawn, where the site says nothing: 30 min (API RP 2003, NFPA 77; from memory)."""

MOST_M3: Final = 2.0
"""More than this out of a drain is a slip of units, or a leak that a drain check's form is not made for."""

OLDEST_DAYS: Final = 31
LONGEST_TEXT: Final = 500


class TellDrainCheck(NamedTuple):
    """What came of a check. day: "" for the site day of now."""

    tank: str
    result: DrainResult
    by: str
    appearance: str = ""
    water_m3: float = 0.0
    fuel_m3: float = 0.0
    document: int | None = None
    why: str = ""
    comment: str = ""
    day: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if self.tank not in core.keepers:
            known = ", ".join(core.keepers)
            return unknown(f"there is no tank {self.tank!r}; there are {known}")
        room, today = core.waterlog, core.waterlog.day_of(at.time_ms).date
        day = self.day or today
        why = _day_objection(day, today)
        if why:
            return refused(f"tank {self.tank}: {why}")
        check = DrainCheck(
            room.next_number(), self.tank, day, at.time_ms, self.by, self.result, self.appearance, self.water_m3,
            self.fuel_m3, self.document, self.why, self.comment,
        )  # fmt: skip
        room.add(check)
        body = check_json(check) | {"time": iso_ms(at.time_ms)}
        note = _too_early(core, self, at, today)
        if note:
            body["note"] = note
        due = room.next_due(self.tank, at.time_ms).day
        return Outcome(Answer(Taken.DONE, note, body | {"next_due": due}), [Decision(DRAIN_CHECK, body)])


class WithdrawDrainCheck(NamedTuple):
    """A person says that a check was entered wrongly: it stays in the record book and counts no more."""

    number: int
    by: str
    comment: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        check = core.waterlog.withdraw(self.number)
        if check is None:
            text = f"there is no drain check {self.number} among the newest; `gaugehouse water --checks` lists them"
            return unknown(text)
        body: Json = {
            "number": check.number, "tank": check.tank, "day": check.day, "by": self.by, "comment": self.comment,
            "time": iso_ms(at.time_ms),
        }  # fmt: skip
        return Outcome(Answer(Taken.DONE, "", body), [Decision(WITHDRAWN, body)])


def _day_objection(day: str, today: str) -> str:
    if day > today:
        return f"{day} has not begun yet; today is {today}"
    oldest = (date.fromisoformat(today) - timedelta(days=OLDEST_DAYS)).isoformat()
    if day < oldest:
        return f"{day} is more than {OLDEST_DAYS} days ago; what was not written down by then stays not done"
    return ""


def _too_early(core: "Core", told: TellDrainCheck, at: Instant, today: str) -> str:
    """What the entry says of fuel that moved a short while before; nothing for another day's check."""
    moved_ms = core.waterlog.moved_ms(told.tank)
    if told.result is DrainResult.NOT_DONE or moved_ms is None or (told.day or today) != today:
        return ""
    since_ms = at.time_ms - moved_ms
    if not 0 <= since_ms < REST_MS:
        return ""
    return (
        f"fuel moved until {since_ms // 60_000} min before; {REST_MS // 60_000} min of rest are usual before a sample"
    )


def check_act_of(fields: Json) -> TellDrainCheck:
    """The act of its fields. Raises `CallError`."""
    known = {*TellDrainCheck._fields}
    strange = sorted(set(fields) - known)
    if strange:
        raise CallError(f"a drain check has no {strange[0]}; it has {', '.join(sorted(known))}")
    result = _result(fields)
    water, fuel = _volume(fields, "water_m3"), _volume(fields, "fuel_m3")
    appearance, why = _text(fields, "appearance"), _text(fields, "why")
    if appearance and appearance not in APPEARANCES:
        raise CallError(f"appearance is {appearance!r}; it is one of {', '.join(APPEARANCES)}")
    if result is DrainResult.NOT_DONE and (water or fuel or appearance):
        raise CallError("a check that was not done has no volumes and no appearance; leave them out, or say what came")
    if result is DrainResult.NOT_DONE and not why:
        raise CallError("why is missing: say why the check was not done")
    if result is DrainResult.WATER and not water:
        raise CallError("water_m3 is missing: say how much water came, as read on the vessel")
    if result is DrainResult.CLEAR and water:
        raise CallError(f'water_m3 is {water:g} but the result is clear; write result "water", or no volume')
    if result is not DrainResult.NOT_DONE and not appearance:
        raise CallError(f"appearance is missing: say how the sample looked, one of {', '.join(APPEARANCES)}")
    return TellDrainCheck(
        text_of(fields, "tank"), result, text_of(fields, "by"), appearance, water, fuel, _document(fields), why,
        _text(fields, "comment"), _day(fields),
    )  # fmt: skip


def withdraw_of(fields: Json) -> WithdrawDrainCheck:
    number = whole_of(fields, "number", "it is the number of a drain check, from 1 on")
    comment = _text(fields, "comment")
    if not comment:
        raise CallError("comment is missing: say what was wrong with the check")
    return WithdrawDrainCheck(number, text_of(fields, "by"), comment)


def _result(fields: Json) -> DrainResult:
    word = text_of(fields, "result")
    try:
        return DrainResult(word)
    except ValueError:
        raise CallError(f"result is {word!r}; it is one of {', '.join(DrainResult)}") from None


def _text(fields: Json, name: str) -> str:
    return short_text_of(fields, name, LONGEST_TEXT)


def _volume(fields: Json, name: str) -> float:
    value: Any = fields.get(name)
    if value is None:
        return 0.0
    if not is_number(value) or not 0 <= value <= MOST_M3:
        raise CallError(
            f"{name} is {value!r}; it is a volume in m3 from 0 to {MOST_M3:g} (250 mL are 0.00025): where more came, "
            "enter a water draw"
        )
    return float(value)


def _document(fields: Json) -> int | None:
    if fields.get("document") is None:
        return None
    return whole_of(fields, "document", "it is the number of the water draw's document, from 1 on")


def _day(fields: Json) -> str:
    text = text_of(fields, "day", "")
    try:
        return date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise CallError(f"day is {text!r}; write it as 2026-01-31") from None


DRAIN_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {"drain_check": check_act_of, "withdraw_drain_check": withdraw_of}
)
