"""What is due: one list of everything that somebody has to do by a time, whoever's rule it comes from.

A source is a small function that gives `Due` rows; this file puts them in order and says what state each is in. Knows
times and words; refuses to know what a dip or a certificate is. Nothing that was not done is left out: it stands there
as not done until somebody does it. No I/O, no clock.
"""

from collections.abc import Iterable
from enum import StrEnum
from typing import Any, Final, NamedTuple

DAY_MS: Final = 86_400_000
SOON_MS: Final = 7 * DAY_MS


class DueState(StrEnum):
    """OVERDUE: its time is over. DUE: it may and should be done now. COMING: within a week. LATER: after that."""

    OVERDUE = "overdue"
    DUE = "due"
    COMING = "coming"
    LATER = "later"


ORDER: Final = {state: place for place, state in enumerate(DueState)}


class Due(NamedTuple):
    """One thing to do.

    kind: such as "drain check", one word for all of its source. about: a tank, loop, alarm or product by its id.
    what: in words. from_ms: from when on it is due, until_ms: until when it should be done; None for a thing that was
    never done, which is overdue. who: the role that may do it. link: where it is done, a path of the console. rule: the
    rule that it follows with its source. last: when it was last done, in words; note: what stands in the way.
    """

    kind: str
    about: str
    what: str
    from_ms: int | None
    until_ms: int | None
    who: str
    link: str
    rule: str = ""
    last: str = "never done"
    note: str = ""

    def state(self, now_ms: int) -> DueState:
        if self.until_ms is None or now_ms >= self.until_ms:
            return DueState.OVERDUE
        if self.from_ms is None or now_ms >= self.from_ms:
            return DueState.DUE
        return DueState.COMING if self.from_ms - now_ms <= SOON_MS else DueState.LATER


def listed(dues: Iterable[Due], now_ms: int) -> list[tuple[DueState, Due]]:
    """In the order in which they want attention: overdue first, the oldest on top; what was never done before all."""
    rows = [(due.state(now_ms), due) for due in dues]
    rows.sort(key=lambda row: (ORDER[row[0]], row[1].until_ms or 0, row[1].kind, row[1].about))
    return rows


def counted(rows: Iterable[tuple[DueState, Due]]) -> dict[str, int]:
    """How many of each state, in their order."""
    counts: dict[str, int] = {state.value: 0 for state in DueState}
    for state, _ in rows:
        counts[state.value] += 1
    return counts


def due_json(state: DueState, due: Due) -> dict[str, Any]:
    """A row without its times, which the caller words."""
    return {"state": state.value, **due._asdict()}
