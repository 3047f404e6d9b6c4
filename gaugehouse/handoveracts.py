"""What people do at the change of shift: one hands over with notes, another takes over with theirs.

Both are entries of the record book; neither is ever changed. Decides by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.actfields import whole_of
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.errors import CallError
from gaugehouse.handoverroom import Given
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

HANDOVER: Final = "handover"
"""The kind of the record book's entries."""

GIVEN, TAKEN = "given", "taken"
NOTES_MOST: Final = 4000
LONGEST_MS: Final = 48 * 3_600_000


class HandOver(NamedTuple):
    """A person hands a shift over. from_ms, to_ms: the shift; None for the site's own length, ending now."""

    by: str
    notes: str
    from_ms: int | None
    to_ms: int | None

    def apply(self, core: "Core", at: Instant) -> Outcome:
        room = core.handovers
        to_ms = at.time_ms if self.to_ms is None else self.to_ms
        from_ms = to_ms - core.site.shift_ms if self.from_ms is None else self.from_ms
        if from_ms >= to_ms:
            return refused("from is not before to; turn them round")
        if to_ms - from_ms > LONGEST_MS:
            return refused("a shift is 48 h at most; give its own beginning and end")
        if from_ms > at.time_ms:
            return refused("this shift is still to come; hand over one that has begun")
        newest = room.newest
        if newest is not None and not newest.taken_by and (newest.by, newest.notes) == (self.by, self.notes):
            text = f"the same was handed over before, number {newest.number}"
            return Outcome(Answer(Taken.ALREADY, text, given_json(newest)))
        given = Given(room.next_number, self.by, at.time_ms, from_ms, to_ms, self.notes)
        room.keep(given)
        body = given_json(given)
        return Outcome(Answer(Taken.DONE, "", body), [Decision(HANDOVER, {"event": GIVEN, **body})])


class TakeOver(NamedTuple):
    """Another person takes over the shift that was handed over last. number: which one they were told of."""

    by: str
    notes: str
    number: int | None

    def apply(self, core: "Core", at: Instant) -> Outcome:
        newest = core.handovers.newest
        if newest is None:
            return unknown("no shift has been handed over yet")
        if self.number is not None and self.number != newest.number:
            if self.number > newest.number:
                return unknown(f"there is no handover {self.number}; the newest is "
                                                     f"{newest.number}")  # fmt: skip
            text = f"handover {self.number} is not the newest one, {newest.number} is; look at that one"
            return Outcome(Answer(Taken.OLDER, text, given_json(newest)))
        if newest.taken_by:
            same = newest.taken_by.casefold() == self.by.casefold()
            text = f"handover {newest.number} was taken over before by {newest.taken_by}"
            return Outcome(Answer(Taken.ALREADY if same else Taken.REFUSED, text, given_json(newest)))
        if newest.by.casefold() == self.by.casefold():
            return refused(f"handover {newest.number} is {newest.by}'s own; another person takes it over")
        taken = newest._replace(taken_by=self.by, taken_ms=at.time_ms)
        core.handovers.keep(taken)
        body = {"number": taken.number, "by": self.by, "time": iso_ms(at.time_ms), "notes": self.notes}
        answer = Answer(Taken.DONE, "", body | {"given_by": taken.by})
        return Outcome(answer, [Decision(HANDOVER, {"event": TAKEN, **body})])


def given_json(given: Given) -> Json:
    """A handover as it is now, for people and for the record book."""
    return {
        "number": given.number,
        "by": given.by,
        "time": iso_ms(given.time_ms),
        "from": iso_ms(given.from_ms),
        "to": iso_ms(given.to_ms),
        "notes": given.notes,
        "taken_by": given.taken_by,
    }


def give_of(fields: Json) -> HandOver:
    return HandOver(text_of(fields, "by"), _notes(fields), _time(fields, "from"), _time(fields, "to"))


def take_of(fields: Json) -> TakeOver:
    told = fields.get("number") is not None
    number = whole_of(fields, "number", "write the number of a handover, 1 or more") if told else None
    return TakeOver(text_of(fields, "by"), _notes(fields), number)


def _notes(fields: Json) -> str:
    notes = text_of(fields, "notes", "")
    if len(notes) > NOTES_MOST:
        raise CallError(f"notes have {len(notes)} signs; at most {NOTES_MOST} are kept, write them shorter")
    return notes


def _time(fields: Json, name: str) -> int | None:
    value: Any = fields.get(name)
    if value is None:
        return None
    try:
        return parse_ms(value)
    except (TypeError, ValueError):
        raise CallError(f"{name} is {value!r}; write it as 2026-01-31T08:00:00Z") from None


HANDOVER_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"hand_over": give_of, "take_over": take_of}
"""By their names; see `gaugehouse.acts.ACTS`."""
