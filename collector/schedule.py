"""When each instrument of a bus is asked: a fixed grid, and what a failing one may cost its neighbours.

Pure: time comes in as elapsed ms of the site's clock. The grid never drifts: a tick is a whole number of periods from
the clock's origin plus the instrument's own phase, whatever the polls take.

Fairness: after each failed poll every sound instrument that is due has its turn before another failing one is probed.
"""

import hashlib
from bisect import bisect_left, insort
from collections.abc import Iterable, Sequence
from typing import Final

PATIENCE: Final = 3
"""Failed polls in a row at the normal period: as many as the fault "no answer" needs. Then the probes thin out."""
PROBE_MS: Final = 10_000
"""A failing instrument is asked at least this often (where its period is not longer still)."""


def phase_ms(instrument: str, period_ms: int) -> int:
    """Where in the period an instrument has its tick: spread by name, the same at every start."""
    digest = hashlib.blake2b(instrument.encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big") % period_ms


def pause_ticks(failures: int, period_ms: int) -> int:
    """Ticks from a poll to the next: 1 while sound or newly failing, then twice as many each time, up to `PROBE_MS`."""
    if failures < PATIENCE:
        return 1
    doubled = period_ms << min(failures - PATIENCE + 1, 20)
    return max(1, min(doubled, PROBE_MS) // period_ms)


class Slot:
    """The place of one instrument in the schedule of its bus.

    due_ms: its next tick. failures: failed polls in a row. missed: ticks that went by because the line was busy.
    spared: ticks left out because it had failed too often. asked: someone wants it now, tick or not. owed: it is sound,
    and has not had a turn since a neighbour failed. Each tick from the first on is polled, missed or spared.
    """

    __slots__ = (
        "_told_ms", "asked", "due_ms", "failures", "instrument", "missed", "owed", "period_ms", "phase_ms", "spared",
    )  # fmt: skip

    def __init__(self, instrument: str, period_ms: int, now_ms: int) -> None:
        self.instrument = instrument
        self.period_ms = period_ms
        self.phase_ms = phase_ms(instrument, period_ms)
        self.due_ms = self._tick_from(now_ms)
        self._told_ms = self.due_ms  # the first tick that no count knows of yet
        self.failures = 0
        self.missed = self.spared = 0
        self.asked = False
        self.owed = False

    def _tick_from(self, now_ms: int) -> int:
        """The first tick at or after a time."""
        return now_ms + (self.phase_ms - now_ms) % self.period_ms

    def done(self, started_ms: int, now_ms: int, answered: bool) -> None:
        """A poll is over: set the next tick and count those that went by wholly unused.

        A poll that ran into its next tick is followed by that tick at once, late; only a tick whose whole period went
        by is missed. A poll asked for between two ticks leaves the grid alone.
        """
        self.failures = 0 if answered else self.failures + 1
        self.asked = self.owed = False
        if self.due_ms > started_ms:
            return
        self._spare()
        self._told_ms += self.period_ms
        self.due_ms += pause_ticks(self.failures, self.period_ms) * self.period_ms
        behind = (now_ms - self.due_ms) // self.period_ms
        if behind > 0:
            self._spare()
            self.missed += behind
            self.due_ms += behind * self.period_ms
            self._told_ms = self.due_ms

    def _spare(self) -> None:
        """The pause is over: its ticks count now, as it may have ended early."""
        self.spared += (self.due_ms - self._told_ms) // self.period_ms
        self._told_ms = self.due_ms

    def hurry(self, now_ms: int) -> None:
        """What kept it from answering may be gone (the line is back): ask at its next tick, not after the pause."""
        if self.failures >= PATIENCE:
            self.due_ms = max(self._told_ms, min(self.due_ms, self._tick_from(now_ms)))


def choose(slots: Iterable[Slot], now_ms: int) -> Slot | None:
    """Who is asked now; None when nobody is due. Wanted ones first, then those owed a turn, then the longest due."""
    best: Slot | None = None
    best_rank = (3, 0)
    for slot in slots:
        if slot.asked:
            rank = (0, slot.due_ms)
        elif slot.due_ms > now_ms:
            continue
        else:
            rank = (1 if slot.owed else 2, slot.due_ms)
        if rank < best_rank:
            best, best_rank = slot, rank
    return best


def owe_the_others(slots: Iterable[Slot], failed: Slot) -> None:
    """A poll failed and took its time-out: the sound neighbours come before the next failing one."""
    for slot in slots:
        slot.owed = slot is not failed and slot.failures == 0


class Roster:
    """All slots of one bus, sorted by when they fall due, so that a long bus costs no more a poll than a short one.

    Gives what `choose` gives over the same slots. Whoever changes `due_ms`, `asked` or `owed` of a slot does it by the
    methods here.
    """

    def __init__(self, slots: Sequence[Slot]) -> None:
        self.slots = tuple(slots)
        self._place = {slot.instrument: place for place, slot in enumerate(self.slots)}
        self._first: set[int] = set()  # places of slots that are asked for or owed a turn
        self._sort()

    def _sort(self) -> None:
        self._order = sorted((slot.due_ms, place) for place, slot in enumerate(self.slots))

    def __len__(self) -> int:
        return len(self.slots)

    @property
    def next_ms(self) -> int | None:
        """The next tick of all; None without a slot."""
        return self._order[0][0] if self._order else None

    def choose(self, now_ms: int) -> Slot | None:
        """Who is asked now; None when nobody is due."""
        if self._first:
            found = choose((self.slots[place] for place in sorted(self._first)), now_ms)
            if found is not None:
                return found
        if not self._order:
            return None
        due_ms, place = self._order[0]
        return self.slots[place] if due_ms <= now_ms else None

    def want(self, slot: Slot) -> None:
        """Someone wants it now, tick or not."""
        slot.asked = True
        self._first.add(self._place[slot.instrument])

    def done(self, slot: Slot, started_ms: int, now_ms: int, answered: bool) -> None:
        """A poll is over: its next tick, and, where it failed, the turn that its sound neighbours are owed."""
        place, before_ms = self._place[slot.instrument], slot.due_ms
        slot.done(started_ms, now_ms, answered)
        if self._first:
            self._first.discard(place)
        if slot.due_ms != before_ms:
            del self._order[bisect_left(self._order, (before_ms, place))]
            insort(self._order, (slot.due_ms, place))
        if not answered:
            owe_the_others(self.slots, slot)
            self._first = {place for place, one in enumerate(self.slots) if one.asked or one.owed}

    def hurry(self, now_ms: int) -> None:
        """The line is back: `Slot.hurry` for all."""
        for slot in self.slots:
            slot.hurry(now_ms)
        self._sort()
