"""A person's entry on a loop fault: cause, part, action, dips, comment, and that it is closed.

Knows the fields of the act and what they must hold; refuses to know pages and commands.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from alerts.casebook import DIPS, TEXTS, Statement
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.actfields import is_number, short_text_of, whole_of
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.faultrecords import FAULT_ENTRY, statement_body
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

LONGEST_TEXT: Final = 500
HIGHEST_DIP_M: Final = 100.0
WHOLE: Final = "it is a whole number from 1 on"


class FaultEntry(NamedTuple):
    """What a person says of the fault `number` of an instrument."""

    instrument: str
    number: int
    statement: Statement

    def apply(self, core: "Core", at: Instant) -> Outcome:
        newest = core.faults.newest_number(self.instrument)
        body: dict[str, Any] = {"instrument": self.instrument, "number": self.number}
        if newest is None:
            return unknown(f"there is no instrument {self.instrument!r}", body)
        if not 1 <= self.number <= newest:
            text = f"{self.instrument} has no fault {self.number}; `gaugehouse faults` lists them with their numbers"
            return unknown(text, body)
        refusal = self._dip_refusal(core)
        if refusal:
            return refused(refusal, body)
        open_ones = {(f.instrument, f.number) for f in core.faults.open_faults() if f.end_ms is None}
        going_on = (self.instrument, self.number) in open_ones
        key = f"{self.instrument}:{self.number}"
        written = core.loops.casebook.write(at, key, self.statement, going_on=going_on)
        text = f"fault {self.number} of {self.instrument}: {written.text}" if written.text else ""
        if written.time_ms is not None:
            body |= {"entry": written.entry, "by": written.by, "time": iso_ms(written.time_ms)}
        answer = Answer(Taken(written.status), text, body)
        if written.status != Taken.DONE:
            return Outcome(answer)
        told = statement_body(self.instrument, self.number, written.entry, self.statement)
        return Outcome(answer, [Decision(FAULT_ENTRY, told)])

    def _dip_refusal(self, core: "Core") -> str:
        """Why a dip of this entry can be none of the tanks that the instrument gauges; empty where it can."""
        heights = [tank.reference_height_m for tank in core.site.tanks if tank.instrument == self.instrument]
        dips = [dip for dip in (self.statement.dip_before_m, self.statement.dip_after_m) if dip is not None]
        if heights and dips and max(dips) > max(heights):
            return (
                f"a dip of {max(dips):g} m is above the reference height of the tank ({max(heights):g} m); write the "
                "innage, as read at the hatch"
            )
        return ""


def fault_entry_of(fields: Json) -> FaultEntry:
    """The act of its fields: instrument, number, by, and what is said. Raises `CallError`."""
    known = {"instrument", "number", "by", *TEXTS, *DIPS, "close", "corrects"}
    strange = sorted(set(fields) - known)
    if strange:
        raise CallError(f"an entry on a fault has no {strange[0]}; it has {', '.join(sorted(known))}")
    said: dict[str, Any] = {name: short_text_of(fields, name, LONGEST_TEXT) for name in TEXTS}
    said |= {name: _dip(name, fields.get(name)) for name in DIPS}
    said["close"] = bool(fields.get("close", False))
    said["corrects"] = None if fields.get("corrects") is None else whole_of(fields, "corrects", WHOLE)
    statement = Statement(by=text_of(fields, "by"), **said)
    if not statement.says_something:
        raise CallError("the entry says nothing; give a cause, a part, an action, a dip, a comment, or close the fault")
    return FaultEntry(text_of(fields, "instrument"), whole_of(fields, "number", WHOLE), statement)


def _dip(name: str, value: object) -> float | None:
    if value is None:
        return None
    if not is_number(value) or not 0 <= value <= HIGHEST_DIP_M:
        raise CallError(f"{name} is {value!r}; it is an innage in m from 0 to {HIGHEST_DIP_M:g}")
    return float(value)


FAULT_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType({"fault_entry": fault_entry_of})
