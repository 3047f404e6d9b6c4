"""Faults that one sample can show by itself: a current outside of the measuring range, and an answer that is no answer.

Each strand follows one kind of evidence in time. A fault is declared when the evidence has lasted, and is kept open for
a while after it has gone, so that a loose terminal makes one row and one alarm: the row ends at the first clean sample,
the alarm returns when the hold is over without a relapse.
"""

from collections.abc import Mapping
from typing import Any, Final

from models.signal import Band

DWELL_MS: Final = 4000
"""How long a failure lasts before it is declared. Source: 4 s, a secondary text on NE 43; not seen in NE 43 itself."""

DWELL_SAMPLES: Final = 2

HOLD_MS: Final = 4000
"""How long a fault's signs must have been gone before it is closed: rows less than this apart are one row."""

FAILED_POLLS: Final = 3
"""Failed polls in a row that make a fault of the answer."""

FAIL_LOW: Final = "fail_low"
FAIL_HIGH: Final = "fail_high"
GAP_LOW: Final = "gap_low"
GAP_HIGH: Final = "gap_high"
NO_ANSWER: Final = "no_answer"
WRONG_REPLY: Final = "wrong_reply"
FROZEN: Final = "frozen"
SATURATED: Final = "saturated"
NOISY: Final = "noisy"
RATE_IMPOSSIBLE: Final = "rate_impossible"


class Spell:
    """A stretch of samples with the signs of a fault, declared or not. Times: wall clock for rows, elapsed for judging.

    told: the class that was last told outside, empty while the spell is not declared. entry_mA: its first current.
    """

    __slots__ = (
        "count", "end_elapsed_ms", "end_ms", "entry_mA", "fault_class", "max_mA", "min_mA", "number",
        "start_elapsed_ms", "start_ms", "told",
    )  # fmt: skip

    def __init__(self, fault_class: str, elapsed_ms: int, time_ms: int) -> None:
        self.fault_class = fault_class
        self.told = ""
        self.number = 0
        self.count = 0
        self.start_ms = time_ms
        self.start_elapsed_ms = elapsed_ms
        self.end_ms: int | None = None
        self.end_elapsed_ms: int | None = None
        self.entry_mA: float | None = None
        self.min_mA: float | None = None
        self.max_mA: float | None = None

    def note(self, current_mA: float | None) -> bool:
        """One more sample of it. True when the extremes moved."""
        self.count += 1
        if current_mA is None:
            return False
        moved = False
        if self.entry_mA is None:
            self.entry_mA = current_mA
        if self.min_mA is None or current_mA < self.min_mA:
            self.min_mA, moved = current_mA, True
        if self.max_mA is None or current_mA > self.max_mA:
            self.max_mA, moved = current_mA, True
        return moved

    def end(self, elapsed_ms: int, time_ms: int) -> None:
        """The first clean sample."""
        if self.end_ms is None:
            self.end_ms, self.end_elapsed_ms = time_ms, elapsed_ms

    def reopen(self) -> None:
        """The signs are back before the hold was over."""
        self.end_ms = self.end_elapsed_ms = None

    def take_in(self, relapse: "Spell") -> None:
        """A relapse that was watched apart turns out to be the same fault."""
        self.reopen()
        together = self.count + relapse.count
        self.note(relapse.min_mA)
        self.note(relapse.max_mA)
        self.count = together

    def holds(self, relapse: "Spell") -> bool:
        """True for a stretch that began before the hold was over."""
        return self.end_elapsed_ms is not None and relapse.start_elapsed_ms - self.end_elapsed_ms < HOLD_MS

    @property
    def going_on(self) -> bool:
        return self.end_ms is None

    def over(self, elapsed_ms: int) -> bool:
        """True when the hold after its end has passed."""
        return self.end_elapsed_ms is not None and elapsed_ms - self.end_elapsed_ms >= HOLD_MS

    def lasted(self, elapsed_ms: int) -> bool:
        """True for an undeclared one that has lasted long enough to be declared."""
        return not self.told and self.count >= DWELL_SAMPLES and elapsed_ms - self.start_elapsed_ms >= DWELL_MS

    def saved(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}

    @classmethod
    def restored(cls, saved: Mapping[str, Any]) -> "Spell":
        spell = cls(saved["fault_class"], saved["start_elapsed_ms"], saved["start_ms"])
        for name in cls.__slots__:
            if name in saved:  # what an older version kept lacks the newest
                setattr(spell, name, saved[name])
        return spell


def spell_saved(spell: Spell | None) -> dict[str, Any] | None:
    return None if spell is None else spell.saved()


def spell_restored(saved: Mapping[str, Any] | None) -> Spell | None:
    return None if saved is None else Spell.restored(saved)


class Strand:
    """One kind of evidence in time: no spell, one that has not lasted yet, or a declared one and its hold."""

    __slots__ = ("spell",)

    def __init__(self) -> None:
        self.spell: Spell | None = None

    @property
    def waiting(self) -> bool:
        """True when the mere passing of time can change something."""
        spell = self.spell
        return spell is not None and (not spell.told or not spell.going_on)

    def close(self, elapsed_ms: int) -> Spell | None:
        """A declared spell whose hold is over: call it before the tick's samples are taken."""
        spell = self.spell
        if spell is None or not spell.over(elapsed_ms):
            return None
        self.spell = None
        return spell


class SignalStrand(Strand):
    """The NE 43 bands in time. A gap that passes into failure on one side stays one spell with the worse class.

    An undeclared excursion is forgotten at the first measuring sample; until then it goes on whichever side it is on,
    so that a loose terminal that swings between both is declared too. Once declared, the other side must last as long
    as any fault before it takes over. Failed polls in between prove nothing.
    """

    __slots__ = ("_other_side",)

    def __init__(self) -> None:
        super().__init__()
        self._other_side: Spell | None = None

    @property
    def untrusted(self) -> bool:
        """True from the first sample outside of the measuring range to the first one inside."""
        return self._other_side is not None or (self.spell is not None and self.spell.going_on)

    def take(self, elapsed_ms: int, time_ms: int, band: Band, current_mA: float | None) -> bool:
        """One sample. True when there is something new to be kept over a restart."""
        spell = self.spell
        if band.measures:
            self._other_side = None
            if spell is None or not spell.going_on:
                return False
            if spell.told:
                spell.end(elapsed_ms, time_ms)
            else:
                self.spell = None
            return True
        if spell is not None and spell.told and _is_low(spell.fault_class) is not _is_low(band):
            spell.end(elapsed_ms, time_ms)
            self._other_side = _outside(self._other_side, band, elapsed_ms, time_ms, current_mA)
            return True
        if spell is None:
            spell, self._other_side = self._other_side, None
        else:
            self._other_side = None
        changed = spell is None or not spell.told or not spell.going_on
        before = "" if spell is None else spell.fault_class
        extremes = (None, None) if spell is None else (spell.min_mA, spell.max_mA)
        spell = self.spell = _outside(spell, band, elapsed_ms, time_ms, current_mA)
        spell.reopen()
        return changed or spell.fault_class != before or (spell.min_mA, spell.max_mA) != extremes

    def ripe(self, elapsed_ms: int) -> bool:
        """True when an undeclared spell has lasted."""
        return self.spell is not None and self.spell.lasted(elapsed_ms)

    def saved(self) -> Any:
        return {"spell": spell_saved(self.spell), "other_side": spell_saved(self._other_side)}

    def restore(self, saved: Any) -> None:
        self.spell, self._other_side = spell_restored(saved["spell"]), spell_restored(saved["other_side"])


def _outside(spell: Spell | None, band: Band, elapsed_ms: int, time_ms: int, current_mA: float | None) -> Spell:
    """A spell with one more sample of it. A failure is worse than a gap, whichever side it is on."""
    if spell is None:
        spell = Spell(band.value, elapsed_ms, time_ms)
    elif band in (Band.FAIL_LOW, Band.FAIL_HIGH) or spell.fault_class in (GAP_LOW, GAP_HIGH):
        if not (spell.told and _is_low(spell.fault_class) is not _is_low(band)):
            spell.fault_class = band.value
    spell.note(current_mA)
    return spell


def _is_low(band: str) -> bool:
    return band in (FAIL_LOW, GAP_LOW)


class AnswerStrand(Strand):
    """Polls without a usable answer. One failed poll is nothing; three in a row are a fault, from the first of them on.

    Its class is what most of the first three were and stays so: what a line does first tells most. A new run counts
    to the old spell when it becomes three long too and began within the hold.
    """

    __slots__ = ("_kinds", "_run")

    def __init__(self) -> None:
        super().__init__()
        self._run: Spell | None = None
        self._kinds: list[str] = []

    @property
    def untrusted(self) -> bool:
        return self.spell is not None and self.spell.going_on

    def failed(self, elapsed_ms: int, time_ms: int, kind: str) -> bool:
        """One poll without a usable answer. True when there is something new to be kept over a restart."""
        if self.untrusted:
            return False
        if self._run is None:
            self._run, self._kinds = Spell(kind, elapsed_ms, time_ms), []
        self._run.note(None)
        self._kinds.append(kind)
        return True

    def answered(self, elapsed_ms: int, time_ms: int) -> bool:
        """True when there is something new to be kept over a restart."""
        changed = self._run is not None or self.untrusted
        if self.spell is not None:
            self.spell.end(elapsed_ms, time_ms)
        self._run = None
        return changed

    def close(self, elapsed_ms: int) -> Spell | None:
        spell = self.spell
        if spell is None or not spell.over(elapsed_ms) or (self._run is not None and spell.holds(self._run)):
            return None  # a run that began within the hold may still become the same fault
        self.spell = None
        return spell

    def ripe(self) -> bool:
        """True when a new spell is to be declared; a relapse into the old one is taken up in silence."""
        run = self._run
        if run is None or run.count < FAILED_POLLS:
            return False
        self._run = None
        if self.spell is not None:
            self.spell.take_in(run)
            return False
        self.spell = run
        run.fault_class = max(self._kinds, key=self._kinds.count)
        return True

    def saved(self) -> Any:
        return {"spell": spell_saved(self.spell), "run": spell_saved(self._run), "kinds": list(self._kinds)}

    def restore(self, saved: Any) -> None:
        self.spell, self._run = spell_restored(saved["spell"]), spell_restored(saved["run"])
        self._kinds = list(saved["kinds"])
