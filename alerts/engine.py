"""All alarms of a site: conditions in, transitions out, one step a tick.

Knows every alarm's state, occurrence and who acknowledged it; refuses to know clocks, stores and pages. The same facts
give the same transitions. State goes out as plain JSON values and comes back after a restart; delays that were running
then begin anew.

Order within one tick: the instruments in the order of the site file, then its tanks, each with its conditions in
their fixed order (a site file names instruments before the tanks that use them), then what is judged elsewhere. For
one alarm: first a suppression by design that begins, then its condition, last what ends by itself (suppression, shelf,
the wait before it asks again), so that what is over comes back as it is by then.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from alerts.alarm import Alarm, AlarmView, Due, Transition
from alerts.conditions import TankFacts, TankWatch
from alerts.errors import BadSetup, UnnamedPerson
from alerts.lifecycle import Event, State
from alerts.sheet import LIMIT_DEFAULTS, Sheet
from alerts.spec import (
    LEVEL_HIGH_CONDITIONS,
    LEVEL_LOW_CONDITIONS,
    RATE_CONDITIONS,
    SIGNAL_CONDITIONS,
    SwitchAlarm,
    TankAlarms,
)
from alerts.watched import Told, WatchBoard, Watched
from models.reading import Instant

__all__ = ["AckAnswer", "AlarmEngine", "AlarmView", "TankFacts", "Transition"]

CONDITION_OF_FAULT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "fail_low": "signal_low",
        "fail_high": "signal_high",
        "gap_low": "out_of_range",
        "gap_high": "out_of_range",
        "saturated": "out_of_range",
        "no_answer": "no_answer",
        "wrong_reply": "wrong_reply",
        "frozen": "frozen",
        "noisy": "noisy",
        "rate_impossible": "rate_impossible",
    }
)

RECEIVING: Final = "receiving"
"""The one key of saved state that is no alarm (an alarm's id has a dot): a fault's priority rests on it."""

_NOBODY_RECEIVES: Final[Mapping[str, bool]] = MappingProxyType({})
_NO_POINTS: Final[Mapping[str, bool | None]] = MappingProxyType({})


class AckAnswer(NamedTuple):
    """status: done, already (by and time_ms say who was first), older, unknown, or nothing to acknowledge.

    why: of the last, in words.
    """

    status: str
    by: str = ""
    time_ms: int | None = None
    transition: Transition | None = None
    why: str = ""


class AlarmEngine:
    """tanks, loops: the site's tanks with their limits, and its instruments, both in the order of the site file.

    watched: conditions that are judged elsewhere; each tick tells of them. switches: those of them that an independent
    switch tells: an instrument that does not answer blinds them.
    """

    def __init__(
        self,
        tanks: Sequence[TankAlarms],
        loops: Sequence[str],
        sheet: Sheet | None = None,
        watched: Sequence[Watched] = (),
        switches: Sequence[SwitchAlarm] = (),
    ) -> None:
        sheet = sheet or Sheet()
        self._alarms: dict[str, Alarm] = {}
        for loop in loops:
            for condition in SIGNAL_CONDITIONS:
                self._add(loop, condition, _PRIORITY_AT_REST, sheet)
        self._tanks: dict[str, TankWatch] = {}
        self._tanks_of: dict[str, list[str]] = {loop: [] for loop in loops}
        self._instrument: dict[str, str] = {}
        self._blind: dict[tuple[str, bool], int] = {}  # by tank and whether it receives
        for tank in tanks:
            if tank.tank in self._tanks:
                raise BadSetup(f"tank {tank.tank} is given twice; ids are used once")
            if tank.instrument not in self._tanks_of:
                raise BadSetup(f"tank {tank.tank}: its instrument {tank.instrument} is not among the loops")
            self._tanks[tank.tank] = TankWatch(tank)
            self._tanks_of[tank.instrument].append(tank.tank)
            self._instrument[tank.tank] = tank.instrument
            priorities = {limit.condition: limit.priority for limit in tank.limits}
            for condition in self._tanks[tank.tank].conditions:
                self._add(tank.tank, condition, priorities[condition], sheet)
            self._blind |= {
                (tank.tank, receives): priority_of_blindness(priorities, receives) for receives in (True, False)
            }
        self._switches: dict[str, list[SwitchAlarm]] = {}
        self._read_by: dict[str, set[str]] = {}  # by tank, the instruments that its level or its switches come from
        for name, loop in self._instrument.items():
            self._read_by.setdefault(name, set()).add(loop)
        for switch in switches:
            self._switches.setdefault(switch.instrument, []).append(switch)
            if switch.tank is not None:
                self._read_by.setdefault(switch.tank, set()).add(switch.instrument)
        self._board = WatchBoard(watched)
        for source in watched:
            for limit in source.limits:
                self._add(source.source, limit.condition, limit.priority, sheet)
        self._designed = [alarm for alarm in self._alarms.values() if alarm.entry.suppressed_while is not None]
        self._timed: set[str] = set()  # alarms that a running time will change
        self._faults: dict[str, tuple[str, ...]] = {}
        self._receiving: dict[str, bool] = {}
        self._running: set[str] = set()  # tanks with a running delay: the only ones that a foreign tick must judge
        self._standing: set[str] = set()
        self._dirty: set[str] = set()

    def _add(self, source: str, condition: str, priority: int, sheet: Sheet) -> None:
        alarm = Alarm(len(self._alarms), source, condition, priority, sheet.entry(source, condition))
        if alarm.id in self._alarms:
            raise BadSetup(f"alarm {alarm.id} is given twice; ids are used once")
        self._alarms[alarm.id] = alarm

    def step(
        self,
        now: Instant,
        facts: Sequence[TankFacts],
        faults: Mapping[str, str | tuple[str, ...]],
        receiving: Mapping[str, bool] = _NOBODY_RECEIVES,
        told: Sequence[Told] = (),
        points: Mapping[str, bool | None] = _NO_POINTS,
    ) -> list[Transition]:
        """One tick. faults: the declared class (or classes) by instrument, all of them, not only what is new.

        receiving: by tank, where the caller knows better than the facts seen so far. told: what is known of watched
        conditions. points: of each point that a suppression by design rests on, whether it is on, None where that is
        not known (then it suppresses nothing).
        """
        for fact in facts:
            self._learn_receiving(fact.reading.tank, receiving.get(fact.reading.tank, fact.receiving))
        for tank, receives in receiving.items():
            self._learn_receiving(tank, receives)
        hidden = {alarm.id for alarm in self._designed if _by_design(alarm, points)}
        out = self._design(now, hidden, Event.SUPPRESSED) if hidden else []
        out += self._judge_faults(now, faults)
        if self._faults:
            out += self._step_up(now, {*(fact.reading.tank for fact in facts), *receiving})
        out += self._judge_limits(now, facts)
        if told or self._board.running:
            for alarm_id, change in self._board.judge(now.elapsed_ms, told):
                event = Event.RAISED if change.on else Event.RETURNED
                out += self.send(now, self._alarms[alarm_id], event, change.value)
        if self._designed:
            out += self._design(now, hidden, Event.UNSUPPRESSED)
        if self._timed:
            out += self._end_what_is_over(now)
        if len(out) > 1:
            out.sort(key=lambda t: self._alarms[t.id].order)
        return out

    def _design(self, now: Instant, hidden: Collection[str], event: Event) -> list[Transition]:
        """Begin (or end) the suppressions whose rule holds (or holds no more)."""
        begins = event is Event.SUPPRESSED
        out: list[Transition] = []
        for alarm in self._designed:
            if (alarm.id in hidden) is begins and alarm.memory.suppressed is not begins:
                hide = alarm.hides.get(State.SUPPRESSED_BY_DESIGN)
                reason = str(alarm.entry.suppressed_while) if hide is None else hide.reason
                out += self.send(now, alarm, event, by=BY_DESIGN, comment=reason)
        return out

    def _end_what_is_over(self, now: Instant) -> list[Transition]:
        out: list[Transition] = []
        for alarm_id in sorted(self._timed):
            alarm = self._alarms[alarm_id]
            event = alarm.over(now)
            if event is not None:
                out += self.send(now, alarm, event)
        return out

    def _learn_receiving(self, tank: str, receives: bool) -> None:
        if self._receiving.get(tank, False) is not receives:
            self._receiving[tank] = receives
            self._dirty.add(RECEIVING)

    def _judge_faults(self, now: Instant, faults: Mapping[str, str | tuple[str, ...]]) -> list[Transition]:
        declared = {loop: (c,) if isinstance(c, str) else tuple(c) for loop, c in faults.items()} if faults else {}
        if declared == self._faults:
            return []
        out: list[Transition] = []
        for loop in sorted({*declared, *self._faults}):
            before, after = _conditions(self._faults.get(loop, ())), _conditions(declared.get(loop, ()))
            for condition in SIGNAL_CONDITIONS:
                if (condition in after) is not (condition in before):
                    out += self._signal(now, f"{loop}.{condition}", condition in after)
        self._faults = declared
        return out

    def _signal(self, now: Instant, alarm_id: str, on: bool) -> Iterable[Transition]:
        alarm = self._alarms.get(alarm_id)
        if alarm is None:
            raise BadSetup(f"a fault was declared for {alarm_id.rpartition('.')[0]}, which is not among the loops")
        if on:
            mild = alarm.condition in _BLINDS_NOTHING
            alarm.priority = _PRIORITY_SHIFT if mild else self._priority_of_blindness(alarm.source, alarm.condition)
        return self.send(now, alarm, Event.RAISED if on else Event.RETURNED)

    def _priority_of_blindness(self, loop: str, condition: str) -> int:
        """Of a fault: that of the most urgent alarm that could come now on a tank which it blinds.

        A switch that is not read can miss its tank's filling only.
        """
        found = [self._blind[tank, self._receiving.get(tank, False)] for tank in self._tanks_of[loop]]
        if condition in _SILENT:
            switches = self._switches.get(loop, ())
            found += [s.limit.priority for s in switches if s.tank is not None and self._receiving.get(s.tank, False)]
        return min(found, default=_PRIORITY_AT_REST)

    def _step_up(self, now: Instant, tanks: Collection[str]) -> list[Transition]:
        """A standing fault whose tank has begun to receive is more urgent, and asks for attention once more."""
        out: list[Transition] = []
        for loop in sorted({loop for t in tanks if self._receiving.get(t) for loop in self._read_by.get(t, ())}):
            for condition in sorted(_conditions(self._faults.get(loop, ())) - _BLINDS_NOTHING):
                priority = self._priority_of_blindness(loop, condition)
                alarm = self._alarms[f"{loop}.{condition}"]
                if alarm.priority > priority:
                    alarm.priority = priority
                    self._dirty.add(alarm.id)
                    out += self.send(now, alarm, Event.RAISED_AGAIN)
        return out

    def _judge_limits(self, now: Instant, facts: Sequence[TankFacts]) -> list[Transition]:
        tanks, elapsed_ms = self._tanks, now.elapsed_ms
        touched = set(self._running)
        for fact in facts:
            tank = fact.reading.tank
            if tank in tanks:
                tanks[tank].take(elapsed_ms, fact)
                touched.add(tank)
        out: list[Transition] = []
        for tank in touched:
            watch = tanks[tank]
            for change in watch.judge(elapsed_ms):
                event = Event.RAISED if change.on else Event.RETURNED
                out += self.send(now, self._alarms[f"{tank}.{change.condition}"], event, change.value)
            if watch.running:
                self._running.add(tank)
            else:
                self._running.discard(tank)
        return out

    def send(
        self,
        now: Instant,
        alarm: Alarm,
        event: Event,
        value: float | None = None,
        by: str = "",
        comment: str = "",
        *,
        shelf: Due | None = None,
        one_shot: bool = False,
    ) -> tuple[Transition, ...]:
        """Send one event to an alarm of this engine; empty where it moves nothing. People come by `alerts.desk`."""
        transition = alarm.send(now, event, value, by, comment, shelf=shelf, one_shot=one_shot)
        if transition is None:
            return ()
        self._mark(alarm)
        return (transition,)

    def _mark(self, alarm: Alarm) -> None:
        self._dirty.add(alarm.id)
        if alarm.memory.shown is State.NORMAL:
            self._standing.discard(alarm.id)
        else:
            self._standing.add(alarm.id)
        if alarm.timed:
            self._timed.add(alarm.id)
        else:
            self._timed.discard(alarm.id)

    def acknowledge(self, now: Instant, alarm_id: str, occurrence: int, by: str, comment: str = "") -> AckAnswer:
        """A named person has seen one occurrence. Raises `UnnamedPerson` without a name, nothing else."""
        if not by.strip():
            raise UnnamedPerson(f"acknowledging {alarm_id}: say who does it")
        alarm = self._alarms.get(alarm_id)
        if alarm is None or not 0 <= occurrence <= alarm.occurrence:
            return AckAnswer("unknown")
        if occurrence < alarm.occurrence:
            return AckAnswer("older")
        why_not = alarm.why_not(Event.ACKNOWLEDGED)
        for transition in self.send(now, alarm, Event.ACKNOWLEDGED, by=by, comment=comment):
            return AckAnswer("done", by, now.time_ms, transition)
        if alarm.acknowledged_ms is not None:
            return AckAnswer("already", alarm.acknowledged_by, alarm.acknowledged_ms)
        return AckAnswer("nothing to acknowledge", why=why_not)

    def standing(self) -> list[AlarmView]:
        """Every alarm that is not normal, in the fixed order."""
        return [alarm.view() for alarm in sorted(self._pick(self._standing), key=lambda alarm: alarm.order)]

    def find(self, alarm_id: str) -> Alarm | None:
        """The alarm with an id, None for one that the site does not have."""
        return self._alarms.get(alarm_id)

    def of_instrument(self, loop: str) -> list[Alarm]:
        """All alarms that rest on an instrument: its own and those of the tanks whose level it measures.

        In the fixed order; empty for an instrument that the site does not have.
        """
        sources = {loop, *self._tanks_of.get(loop, ())}
        return [alarm for alarm in self._alarms.values() if alarm.source in sources]

    def views(self) -> list[AlarmView]:
        """Every alarm that the site can have, in the fixed order."""
        return [alarm.view() for alarm in self._alarms.values()]

    def view(self, alarm_id: str) -> AlarmView | None:
        """One alarm in whatever state, None for an id that the site does not have."""
        alarm = self._alarms.get(alarm_id)
        return None if alarm is None else alarm.view()

    def _pick(self, ids: Iterable[str]) -> Iterable[Alarm]:
        return (self._alarms[alarm_id] for alarm_id in ids)

    def save(self, changed_only: bool = False) -> dict[str, dict[str, Any]]:
        """State by alarm id, and which tanks receive, as JSON values.

        changed_only: what changed since the last call of `save` of any kind.
        """
        ids = self._dirty - {RECEIVING} if changed_only else {a.id for a in self._alarms.values() if a.told}
        saved = {alarm.id: alarm.saved() for alarm in self._pick(ids)}
        if RECEIVING in self._dirty or (self._receiving and not changed_only):
            saved[RECEIVING] = dict(self._receiving)
        self._dirty.clear()
        return dict(sorted(saved.items()))

    def restore(self, saved: Mapping[str, Mapping[str, Any]]) -> list[str]:
        """Take up saved state before the first step. Gives the ids that the site no longer has, for the record."""
        gone: list[str] = []
        faults: dict[str, set[str]] = {}
        for alarm_id, state in saved.items():
            if alarm_id == RECEIVING:
                self._receiving = {tank: bool(receives) for tank, receives in state.items()}
                continue
            alarm = self._alarms.get(alarm_id)
            if alarm is None:
                gone.append(alarm_id)
                continue
            alarm.restore(state)
            if alarm.memory.shown is not State.NORMAL:
                self._standing.add(alarm.id)
            if alarm.timed:
                self._timed.add(alarm.id)
            if alarm.memory.suppressed and alarm not in self._designed:
                self._designed.append(alarm)  # its rule is gone from the sheet: the next tick ends it
            if alarm_id in self._board:
                self._board.set_active(alarm_id, alarm.memory.active)
            elif alarm.source in self._tanks and alarm.condition not in SIGNAL_CONDITIONS:
                self._tanks[alarm.source].set_active(alarm.condition, alarm.memory.active)
            elif alarm.memory.active:
                faults.setdefault(alarm.source, set()).add(_FAULT_OF_CONDITION[alarm.condition])
        self._faults = {loop: tuple(sorted(classes)) for loop, classes in faults.items()}
        return sorted(gone)


BY_DESIGN: Final = "rule"
"""Who suppresses by design: nobody in person."""

_PRIORITY_AT_REST: Final = 2
_PRIORITY_SHIFT: Final = 3

_BLINDS_NOTHING: Final = frozenset({"noisy"})
"""Every limit is still judged, on a level that is known less well: a job for this shift, during a receipt too."""

_SILENT: Final = frozenset({"no_answer", "wrong_reply"})
"""Faults of the whole instrument, which take every signal of it away."""

_FAULT_OF_CONDITION: Final = {condition: fault for fault, condition in CONDITION_OF_FAULT.items()}


def priority_of_blindness(priorities: Mapping[str, int], receives: bool) -> int:
    """Of a fault on a tank with these limits and their priorities: that of the most urgent alarm that it may hide now.

    While the tank receives, those of the high side; else what a movement that nobody planned would bring first. A tank
    without a high-high limit of its own is the blinder for it, and counts as if it had one.
    """
    kept = {"high_high": LIMIT_DEFAULTS["high_high"].priority, **priorities} if receives else priorities
    could_come = _IN_RECEIPT if receives else _AT_REST
    return min((kept[condition] for condition in could_come if condition in kept), default=_PRIORITY_AT_REST)


_IN_RECEIPT: Final = (*LEVEL_HIGH_CONDITIONS, "rise_fast")
_AT_REST: Final = ("high", *LEVEL_LOW_CONDITIONS, *RATE_CONDITIONS)


def _by_design(alarm: Alarm, points: Mapping[str, bool | None]) -> bool:
    rule = alarm.entry.suppressed_while
    return rule is not None and points.get(rule.point) is rule.on


def _conditions(classes: Iterable[str]) -> set[str]:
    return {CONDITION_OF_FAULT[fault] for fault in classes}
