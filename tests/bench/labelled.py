"""Labelled loops of the simulator made into questions for the diagnosis, as the daemon would ask them.

The loop's own fault tracker says when its fault began; where it declares none, somebody points at the loop. The trace
is what is kept of a fault: two minutes before it, its first two minutes and all until it was declared, then a sample a
minute; else what the store has.
"""

from collections.abc import Sequence
from itertools import groupby
from statistics import fmean
from typing import NamedTuple

from alerts.diagnosis import DipRow, Earlier, Question, Seen, Slow, Span, Surroundings, TraceRow
from alerts.faults import FaultTracker
from alerts.spec import LoopFacts
from models.reading import Instant, Sample
from simulator.cases import Case, Row

SLOT_MS = 300_000
DAY_MS = 86_400_000
BACK_MS = 2 * DAY_MS


class Spell(NamedTuple):
    """A declared fault."""

    start_ms: int
    end_ms: int | None
    fault_class: str
    told_ms: int


def hour(time_ms: int) -> float:
    return time_ms % DAY_MS / 3_600_000


def declared(rows: Sequence[Row], step_mA: float | None, tracker: FaultTracker | None = None) -> list[Spell]:
    """What the fault tracker declares over some rows."""
    tracker = tracker or FaultTracker([LoopFacts("loop", "current", watched=(("current", step_mA),))])
    found: dict[int, Spell] = {}
    for seq, row in enumerate(rows):
        values = {} if row.current_mA is None else {"current": row.current_mA}
        at = Instant(seq, row.time_ms, row.time_ms)
        for change in tracker.step(at, [Sample("loop", row.time_ms, row.outcome, values)]):
            fault = change.fault
            told = found[fault.number].told_ms if fault.number in found else row.time_ms
            found[fault.number] = Spell(fault.start_ms, fault.end_ms, fault.fault_class, told)
    return [found[number] for number in sorted(found)]


def trace_rows(rows: Sequence[Row]) -> list[TraceRow]:
    return [TraceRow(r.time_ms, r.time_ms, r.current_mA, r.level_m, r.outcome) for r in rows]


def slots(rows: Sequence[Row], until_ms: int) -> list[Slow]:
    """Five minutes each, over the samples that measured."""
    found = []
    for place, group in groupby(
        (r for r in rows if until_ms - BACK_MS <= r.time_ms < until_ms), lambda r: r.time_ms // SLOT_MS
    ):
        currents = [r.current_mA for r in group if r.current_mA is not None and 3.8 <= r.current_mA <= 20.5]
        if len(currents) >= 40:
            at = place * SLOT_MS
            found.append(Slow(at, hour(at), min(currents), fmean(currents), max(currents)))
    return found


def _kept(rows: Sequence[Row], spell: Spell) -> list[TraceRow]:
    end = spell.end_ms or rows[-1].time_ms
    return trace_rows([
        r for i, r in enumerate(rows)
        if spell.start_ms - 120_000 <= r.time_ms < end + 120_000
        and (r.time_ms <= max(spell.start_ms + 120_000, spell.told_ms) or r.time_ms >= end or i % 60 == 0)
    ])  # fmt: skip


def question(case: Case) -> Question:
    """The question with everything wired. `without` takes the extra signals away."""
    rows = case.loop.rows
    spells = declared(rows, case.step_mA)
    touching = [s for s in spells if (s.end_ms or rows[-1].time_ms) >= case.pointed_ms - 60_000]
    if touching:
        spell = touching[-1]
        kept = _kept(rows, spell)
    else:
        spell = Spell(case.pointed_ms, None, "", case.pointed_ms)
        low, high = case.pointed_ms - 300_000, case.pointed_ms + 1_200_000
        kept = trace_rows([r for r in rows if low <= r.time_ms < high])
    start, last = kept[0].time_ms, kept[-1].time_ms
    span = Span(case.at_4mA_m, case.at_20mA_m)
    sharing = {name: declared(case.others[name].rows, case.step_mA) for name in case.shares_supply}
    failing = tuple(n for n, found in sharing.items() if any(abs(s.start_ms - spell.start_ms) < 10_000 for s in found))
    per_min = span.mA_per_m / case.area_m2 / 60
    return Question(
        kept, spell.start_ms, spell.end_ms, spell.fault_class,
        Surroundings(
            loop_powered=case.loop_powered,
            span=span,
            step_mA=case.step_mA,
            blocking_mA=None if case.blocking_m is None else span.mA_of(case.blocking_m),
            metered_mA_per_min=[
                Seen(s.time_ms, s.value * per_min) for s in case.loop.metered if start <= s.time_ms <= last
            ] or None,
            around={name: [Seen(*s) for s in seen] for name, seen in case.loop.around.items()},
            others={
                name: [
                    Seen(r.time_ms, r.current_mA)
                    for r in loop.rows
                    if r.current_mA is not None and start <= r.time_ms <= last
                ]
                for name, loop in case.others.items()
            },
            failing_together=failing,
            healthy_together=tuple(n for n in sharing if n not in failing),
            slow=slots(rows, last),
            earlier=[Earlier(s.start_ms, s.end_ms, s.fault_class, hour(s.start_ms)) for s in spells if s != spell],
            dips=[DipRow(*d) for d in case.dips],
            hour=hour(spell.start_ms),
        ),
    )  # fmt: skip


def without(asked: Question) -> Question:
    """The same question where nothing but the loop itself is wired."""
    return asked._replace(known=asked.known._replace(around={}))
