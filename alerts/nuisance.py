"""Floods, chattering, fleeting and stale alarms, found in the rows that alarms leave behind.

Pure: rows in, findings out; reads no clock and knows no store. What is counted are annunciations: moments at which an
alarm asks a person to look. An alarm that comes on while it is shelved, suppressed or out of service asks nobody.

Windows. A rate is counted in sliding windows [t, t + width): two alarms exactly one width apart are never in the same
one. A flood begins with the annunciation that makes ten in ten minutes and ends at the first instant at which the last
ten minutes hold fewer than five. Clock bins can disagree with this (tests/data/alarms/alarm_event_streams.csv), so a
figure that is made of bins says so.

Source: ISA-18.2 / IEC 62682 terms, figures as in tests/data/alarms/alarm_kpi.csv (kpi-14, kpi-18 to kpi-20).
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from alerts.lifecycle import CORE, State

TEN_MIN_MS: Final = 600_000
HOUR_MS: Final = 3_600_000
MINUTE_MS: Final = 60_000

FLOOD_FROM: Final = 10
"""Annunciations in ten minutes for each operator position from which it is a flood (kpi-18)."""
FLOOD_UNTIL: Final = 5
"""Below this many in ten minutes the flood is over (kpi-19)."""
CHATTERING_FROM: Final = 3
"""Annunciations of one alarm within a minute (kpi-20)."""
STALE_AFTER_MS: Final = 24 * HOUR_MS
"""Annunciated for longer than this without a break (kpi-14)."""
FLEETING_BELOW_MS: Final = MINUTE_MS
"""On for a shorter time than this, and not chattering. Common practice, no source."""

_SHOWN: Final = frozenset(CORE) - {State.NORMAL}
_CAME_BACK: Final = frozenset({"unshelved", "shelf_expired", "unsuppressed", "returned_to_service"})


def asks(event: str, state: str) -> bool:
    """Whether a transition asks a person to look: it ends unacknowledged, or a latch comes back to sight."""
    return state == State.UNACKNOWLEDGED or (state == State.LATCHED_UNACKNOWLEDGED and event in _CAME_BACK)


class AlarmRow(NamedTuple):
    """One transition as the record book keeps it. id: ``<source>.<condition>``; event and state are alarms.csv's."""

    time_ms: int
    id: str
    priority: int
    event: str
    state: str

    @property
    def asks(self) -> bool:
        """Whether this row asks a person to look."""
        return asks(self.event, self.state)


class Stretch(NamedTuple):
    """From start_ms on, before end_ms, with so many annunciations in it."""

    start_ms: int
    end_ms: int
    alarms: int


class Stand(NamedTuple):
    """How long an alarm was shown without a break; end_ms None while it is."""

    id: str
    start_ms: int
    end_ms: int | None


def most_within(times_ms: Sequence[int], width_ms: int) -> int:
    """The largest number of rising times in any window [t, t + width_ms)."""
    most, first = 0, 0
    for last, time_ms in enumerate(times_ms):
        while times_ms[first] <= time_ms - width_ms:
            first += 1
        most = max(most, last - first + 1)
    return most


def bins(times_ms: Iterable[int], start_ms: int, end_ms: int, width_ms: int) -> list[int]:
    """How many times lie in each clock bin from start_ms on; the last bin may be shorter."""
    counts = [0] * max(0, -(-(end_ms - start_ms) // width_ms))
    for time_ms in times_ms:
        if start_ms <= time_ms < end_ms:
            counts[(time_ms - start_ms) // width_ms] += 1
    return counts


def floods(times_ms: Sequence[int], until_ms: int, positions: int = 1) -> list[Stretch]:
    """Every flood among rising times; one that goes on at until_ms is cut there.

    positions: operator positions that share the alarms; the thresholds count for each of them.
    """
    begin, below = FLOOD_FROM * positions, FLOOD_UNTIL * positions
    found: list[Stretch] = []
    window: deque[int] = deque()
    since_ms: int | None = None
    count = 0
    for time_ms in times_ms:
        if since_ms is not None and len(window) >= below and (over_ms := window[-below] + TEN_MIN_MS) <= time_ms:
            found.append(Stretch(since_ms, over_ms, count))
            since_ms = None
        window.append(time_ms)
        while window[0] <= time_ms - TEN_MIN_MS:
            window.popleft()
        if since_ms is not None:
            count += 1
        elif len(window) >= begin:
            since_ms, count = time_ms, len(window)
    if since_ms is not None:
        over_ms = window[-below] + TEN_MIN_MS
        found.append(Stretch(since_ms, min(over_ms, until_ms), count))
    return found


def by_alarm(rows: Iterable[AlarmRow]) -> dict[str, list[int]]:
    """The times of each alarm's annunciations, in the order in which the alarms first ask."""
    times: dict[str, list[int]] = {}
    for row in rows:
        if row.asks:
            times.setdefault(row.id, []).append(row.time_ms)
    return times


def chattering(times_of: Mapping[str, Sequence[int]]) -> dict[str, int]:
    """The alarms that chatter, each with the most annunciations within a minute."""
    most = {alarm: most_within(times, MINUTE_MS) for alarm, times in times_of.items()}
    return {alarm: count for alarm, count in most.items() if count >= CHATTERING_FROM}


def fleeting(rows: Iterable[AlarmRow], chatters: Iterable[str] = ()) -> dict[str, int]:
    """How often each alarm asked and was gone again within `FLEETING_BELOW_MS`; chattering ones are counted there."""
    on: dict[str, int] = {}
    found: dict[str, int] = {}
    left_out = frozenset(chatters)
    for row in rows:
        if row.asks and row.event == "raised_again":
            on.setdefault(row.id, row.time_ms)  # it stood all the time
        elif row.asks:
            on[row.id] = row.time_ms
        elif row.event == "returned":
            since_ms = on.pop(row.id, None)
            if since_ms is not None and row.time_ms - since_ms < FLEETING_BELOW_MS and row.id not in left_out:
                found[row.id] = found.get(row.id, 0) + 1
    return found


def stands(rows: Iterable[AlarmRow]) -> list[Stand]:
    """Every unbroken time during which an alarm was shown. Rows from the alarms' beginning on, in their order."""
    open_: dict[str, int] = {}
    found: list[Stand] = []
    for row in rows:
        if row.state in _SHOWN:
            open_.setdefault(row.id, row.time_ms)
        elif row.id in open_:
            found.append(Stand(row.id, open_.pop(row.id), row.time_ms))
    return found + [Stand(alarm, start_ms, None) for alarm, start_ms in open_.items()]


def stale(stood: Iterable[Stand], start_ms: int, end_ms: int) -> list[str]:
    """The alarms that at some moment of [start_ms, end_ms) had been shown for longer than `STALE_AFTER_MS`."""
    found = set()
    for stand in stood:
        gone_ms = end_ms if stand.end_ms is None else min(stand.end_ms, end_ms)
        if max(stand.start_ms + STALE_AFTER_MS, start_ms) < gone_ms:
            found.add(stand.id)
    return sorted(found)
