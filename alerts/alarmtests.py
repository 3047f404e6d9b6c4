"""Tests of single alarms from end to end: somebody moves the signal, the seconds until the alarm comes are measured.

Knows the tests under way and the newest result of each alarm; refuses to move anything. A test ends when its alarm is
raised, when its time is over or when somebody gives it up; only the first proves the alarm, and only where nothing hid
it meanwhile. Source: ISA-18.2 (from memory): alarms are tested periodically and the result is kept; 40 CFR
112.8(c)(8)(v): liquid level sensing devices are regularly tested.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple

from alerts.alarm import Alarm, Due, Transition, due_in
from alerts.errors import BadSavedState
from alerts.lifecycle import HIDDEN, Event
from models.reading import Instant

WET: Final = "wet"
SIMULATED: Final = "simulated"
MEANS: Final = (WET, SIMULATED)
"""The real liquid (or float) moves, or a simulator stands in for the sensor."""

MEASURED: Final = "measured"
BY_HAND: Final = "by hand"


class Trial(NamedTuple):
    """A test under way."""

    alarm: str
    by: str
    means: str
    comment: str
    begun_ms: int
    begun_elapsed_ms: int
    due: Due

    def saved(self) -> list[Any]:
        return [*self[:-1], list(self.due)]


class Proof(NamedTuple):
    """A test that has ended. raised_s: from the injected signal to the alarm, None where it did not come.

    how: measured by the daemon, or told by the person who watched.
    """

    alarm: str
    by: str
    means: str
    passed: bool
    raised_s: float | None
    begun_ms: int
    ended_ms: int
    occurrence: int
    how: str = MEASURED
    comment: str = ""


class AlarmTests:
    """All tests of a site: those under way and the newest of each alarm, both kept over a restart."""

    def __init__(self) -> None:
        self._open: dict[str, Trial] = {}
        self._newest: dict[str, Proof] = {}
        self._dirty: set[str] = set()

    def __bool__(self) -> bool:
        return bool(self._open)

    def under_way(self, alarm_id: str) -> Trial | None:
        return self._open.get(alarm_id)

    def all_under_way(self) -> list[Trial]:
        """In the order in which they began."""
        return list(self._open.values())

    def newest(self, alarm_id: str) -> Proof | None:
        """The newest test of an alarm, passed or not."""
        return self._newest.get(alarm_id)

    def passed_ms(self) -> dict[str, int]:
        """By alarm, when its newest test ended, where that one was passed."""
        return {alarm: proof.ended_ms for alarm, proof in self._newest.items() if proof.passed}

    def refusal(self, alarm: Alarm) -> str:
        """Why a test of this alarm cannot begin now, with the mend; empty when it can."""
        if alarm.memory.hidden:
            return f"it is {alarm.memory.shown.replace('_', ' ')}: nobody would hear it; bring it back first"
        if alarm.memory.active:
            return "its condition is on already: bring the signal back below it first"
        return ""

    def begin(self, now: Instant, alarm_id: str, by: str, means: str, limit_ms: int, comment: str) -> Trial:
        """The signal is being moved from now on."""
        trial = Trial(alarm_id, by, means, comment, now.time_ms, now.elapsed_ms, due_in(now, limit_ms))
        self._open[alarm_id] = trial
        self._dirty.add(alarm_id)
        return trial

    def give_up(self, now: Instant, alarm_id: str, comment: str) -> Proof | None:
        """End a test without a proof; None where none is under way."""
        trial = self._open.get(alarm_id)
        return None if trial is None else self._end(now, trial, None, 0, comment)

    def told(self, proof: Proof) -> None:
        """A test that somebody watched with a clock of their own."""
        self._newest[proof.alarm] = proof
        self._dirty.add(proof.alarm)

    def see(self, now: Instant, transitions: Iterable[Transition]) -> list[Proof]:
        """The tests that end at this tick: the alarm came, or the time is over."""
        ended: list[Proof] = []
        for transition in transitions:
            trial = self._open.get(transition.id) if transition.event is Event.RAISED else None
            if trial is not None and transition.state in HIDDEN:
                why = f"it came while it was {transition.state.replace('_', ' ')}: nobody could hear it"
                ended.append(self._end(now, trial, None, 0, f"{trial.comment}; {why}".lstrip("; ")))
            elif trial is not None:
                raised_s = (now.elapsed_ms - trial.begun_elapsed_ms) / 1000
                ended.append(self._end(now, trial, raised_s, transition.occurrence, trial.comment))
        for trial in [trial for trial in self._open.values() if trial.due.over(now)]:
            ended.append(self._end(now, trial, None, 0, f"{trial.comment}; it did not come in time".lstrip("; ")))
        return ended

    def _end(self, now: Instant, trial: Trial, raised_s: float | None, occurrence: int, comment: str) -> Proof:
        del self._open[trial.alarm]
        proof = Proof(
            trial.alarm, trial.by, trial.means, raised_s is not None, raised_s, trial.begun_ms, now.time_ms, occurrence,
            MEASURED, comment,
        )  # fmt: skip
        self.told(proof)
        return proof

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        keys = self._dirty if changed_only else {*self._open, *self._newest}
        saved = {key: self._saved(key) for key in sorted(keys)}
        self._dirty.clear()
        return saved

    def _saved(self, key: str) -> dict[str, Any]:
        trial, proof = self._open.get(key), self._newest.get(key)
        return {
            "open": None if trial is None else trial.saved(),
            "newest": None if proof is None else list(proof),
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        for key, state in saved.items():
            try:
                if state["open"] is not None:
                    *known, due = state["open"]
                    self._open[key] = Trial._make([*known, Due(*due)])
                if state["newest"] is not None:
                    self._newest[key] = Proof(*state["newest"])
            except (KeyError, TypeError, ValueError) as exc:
                raise BadSavedState(f"saved tests of alarm {key} cannot be read: {exc!r}; restore a backup") from exc
