"""Causes of a current that jumps or trembles while it measures: resets, a surge, another unit's value, interference."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median, pstdev
from typing import Final

from alerts.diagnosis.evidence import FIELD_CURRENT, HEATER_CURRENT, Question, Seen
from alerts.diagnosis.marks import HIGH_MA, LOW_MA, Jump, Marks, between, change_of, expected_change
from alerts.diagnosis.weighing import Weighing
from alerts.diagnosis.words import Cause

HOUR_MS: Final = 3_600_000
REGULAR: Final = 0.2
"""Spread of the spacing against its mean below which events are called regular (exponential luck has 1)."""

JUMP_MA: Final = 0.08
LOUDER_BY: Final = 4.0
RIPPLE_MA: Final = 0.02


def judge_rough(question: Question, marks: Marks) -> Iterator[Weighing]:
    resets = _resets(question)
    if resets is not None:
        yield resets
        return
    if marks.share(LOW_MA, HIGH_MA) < 0.8 or len(marks.during) < 20:
        return
    noise = marks.noise_before or question.known.noise_mA or 0.002
    ripple = _interference(question, marks, noise)
    if ripple is not None:
        yield ripple
    steps = [j for j in marks.jumps if abs(j.by_mA) >= max(JUMP_MA, 15 * noise)]
    yield from _steps(question, marks, steps, ripple is not None)


def _drops(question: Question) -> list[int]:
    """When the current fell out of its range from inside, in the trace and in the faults before it."""
    drops, inside = [], False
    for row in question.rows:
        if row.current_mA is None:
            continue
        measures = row.current_mA >= LOW_MA
        if inside and not measures:
            drops.append(row.time_ms)
        inside = measures
    drops += [
        e.start_ms
        for e in question.known.earlier
        if e.fault_class in ("fail_low", "gap_low") and abs(e.start_ms - question.start_ms) < HOUR_MS
    ]
    drops.sort()
    apart = [t for i, t in enumerate(drops) if i == 0 or t - drops[i - 1] > 4000]
    return apart


def _resets(question: Question) -> Weighing | None:
    """Drops to nothing or to the start-up current, each followed by measuring, at regular intervals."""
    drops = _drops(question)
    if len(drops) < 3:
        return None
    spaces = [b - a for a, b in pairwise(drops)]
    typical = median(spaces)
    regular = [s for s in spaces if abs(s / typical - round(s / typical)) < REGULAR and round(s / typical) >= 1]
    if typical > HOUR_MS / 4 or len(regular) < 0.8 * len(spaces):
        return None
    made = Weighing(Cause.RESET_CYCLING).speaks_for(
        4, f"it fell out and came back {len(drops)} times, every {typical / 1000:.0f} s"
    )
    heater = question.known.around.get(HEATER_CURRENT, ())
    starts = [b.time_ms for a, b in pairwise(heater) if a.value < 15 <= b.value]
    if len(starts) >= 3:
        cycle = median([b - a for a, b in pairwise(starts)])
        if abs(cycle - typical) < 0.1 * typical:
            made.speaks_for(1, f"the heater switches every {cycle / 1000:.0f} s too")
    return made


def _interference(question: Question, marks: Marks, noise: float) -> Weighing | None:
    now, rest = marks.noise_during, marks.ripple
    if now is None or rest is None:
        return None
    if now < max(LOUDER_BY * noise, 0.007) or rest < RIPPLE_MA:
        return None
    made = Weighing(Cause.INTERFERENCE)
    if rest > 12 * now:  # a bend, not a ripple
        return None
    made.speaks_for(3, f"its noise rose from {1000 * noise:.1f} to {1000 * now:.1f} uA and stayed")
    if marks.middle is not None and marks.before and abs(marks.middle - marks.before[-1][1]) > 6 * rest:
        made.speaks_against(2, "its mean moved as well")
    expected = expected_change(question)
    if expected is not None and expected - change_of([mA for _, mA in marks.during]) > max(0.06, 0.4 * expected):
        made.speaks_against(3, "it falls behind a filling elsewhere")
    field = between(question.known.around.get(FIELD_CURRENT, ()), question.start_ms, question.end_ms)
    if len(field) > 12:
        if pstdev(field) < 0.5 * rest:
            made.speaks_for(1, "the transmitter's own current is calm: it comes in on the way")
        else:
            made.speaks_against(1, "the transmitter's own current trembles too")
    return made


def _steps(question: Question, marks: Marks, steps: list[Jump], rippled: bool) -> Iterator[Weighing]:
    """A step between two samples, faster than damping lets a level move, that stays."""
    if not steps or len(marks.before) < 12:
        return
    first = min((j for j in steps if abs(j.by_mA) > 0.5 * abs(steps[0].by_mA)), key=lambda jump: jump.time_ms)
    back = min((j.time_ms for j in steps if j.time_ms > first.time_ms and _undoes(first, j)), default=None)
    after = _currents(question, first.time_ms, back)
    until = _currents(question, None, first.time_ms)
    if len(after) < 20 or len(until) < 12:
        return
    late, early = median(after[:60]), median(until[-20:])
    apart = late - early
    if abs(apart) < 0.5 * abs(first.by_mA):
        return
    same = _same_as(question, first.time_ms, back)
    field = between(question.known.around.get(FIELD_CURRENT, ()), first.time_ms, back)
    elsewhere = bool(field) and abs(median(field) - median(after)) > max(0.05, 0.3 * abs(apart))
    if same:
        wrong = Weighing(Cause.WRONG_UNIT).speaks_for(4, f"from then on it shows what {same} shows")
        if elsewhere:
            wrong.speaks_for(2, "the transmitter's own current is another")
        yield wrong
    surge = Weighing(Cause.SURGE_STEP).speaks_for(
        3, f"a step of {first.by_mA:+.2f} mA between two samples, faster than any level moves"
    )
    signs = {j.by_mA > 0 for j in steps}
    if back is not None or len(steps) > 3 or (len(steps) == 3 and len(signs) == 2):
        surge.speaks_against(2, "it did not stay: the current stepped again")
    if rippled:
        surge.speaks_against(1, "it trembles more than a step explains")
    if same:
        surge.speaks_against(2, f"the new value is that of {same}")
    others = [name for name, seen in question.known.others.items() if _stepped(seen, first.time_ms)]
    if others and not same:
        surge.speaks_for(1, f"stepped in the same moment: {', '.join(others)}")
    if elsewhere:
        surge.speaks_against(3, "the transmitter's own current is another")
    yield surge


def _undoes(first: Jump, later: Jump) -> bool:
    return abs(first.by_mA + later.by_mA) < 0.4 * abs(first.by_mA)


def _currents(question: Question, start_ms: int | None, end_ms: int | None) -> list[float]:
    return [
        r.current_mA
        for r in question.rows
        if r.current_mA is not None
        and (start_ms is None or r.time_ms >= start_ms)
        and (end_ms is None or r.time_ms < end_ms)
    ]


def _stepped(seen: Sequence[Seen], at_ms: int) -> bool:
    """True when another current has another median half a minute after a moment than before it."""
    before, after = between(seen, at_ms - 30_000, at_ms - 2000), between(seen, at_ms + 2000, at_ms + 30_000)
    return len(before) >= 5 and len(after) >= 5 and abs(median(after) - median(before)) > JUMP_MA


def _same_as(question: Question, since_ms: int, until_ms: int | None) -> str:
    """The unit of the bus whose current this one has shown since a step, and did not show before."""
    for name, seen in question.known.others.items():
        near, before = _distance(question, seen, since_ms, until_ms)
        if near is not None and near < 0.004 and (before is None or before > 10 * near + 0.01):
            return name
    return ""


def _distance(
    question: Question, seen: Sequence[Seen], since_ms: int, until_ms: int | None
) -> tuple[float | None, float | None]:
    """Median distance of this current from another one, since a moment and before it."""
    now: list[float] = []
    before: list[float] = []
    place = 0
    for row in question.rows:
        if row.current_mA is None or (until_ms is not None and row.time_ms >= until_ms):
            continue
        while place + 1 < len(seen) and seen[place + 1].time_ms <= row.time_ms:
            place += 1
        if seen and abs(seen[place].time_ms - row.time_ms) <= 3000:
            (now if row.time_ms >= since_ms else before).append(abs(row.current_mA - seen[place].value))
    return (median(now) if len(now) >= 8 else None), (median(before) if before else None)
