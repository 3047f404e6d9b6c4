"""Loops without a fault, looked at as if somebody doubted them: every verdict is a false one.

Each loop is looked at at a random moment of every hour, with the two days before it, its dips and its meter; its fault
tracker runs over all of its samples, with the noise that it learns.
"""

from bisect import bisect_left
from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from alerts.diagnosis import DipRow, Question, Seen, Slow, Span, Surroundings, diagnose
from alerts.faults import FaultTracker
from alerts.spec import LoopFacts
from simulator.cases import Loop, areas_m2, healthy_days, ranges_m
from tests.bench.labelled import BACK_MS, declared, hour, slots, trace_rows, without


class LoopDay(NamedTuple):
    """What was said of one healthy loop in a day. verdicts: (time, wired, causes); faults: declared classes."""

    loop: str
    looks: int
    verdicts: list[tuple[int, bool, tuple[str, ...]]]
    faults: list[str]


def loop_days(seed: int, days: int) -> Iterator[LoopDay]:
    """Every loop of a farm, day by day; each fifth farm is polled every second, the others every five."""
    period_s = 5 if seed % 5 else 1
    luck = Random(seed)
    trackers = {name: FaultTracker([LoopFacts("loop", "current", watched=(("current", None),))]) for name in ranges_m()}
    kept: dict[str, Loop] = {name: Loop([], {}, []) for name in ranges_m()}
    dips: dict[str, list[DipRow]] = {name: [] for name in ranges_m()}
    for day in healthy_days(seed, days, period_s):
        for name, loop in day.loops.items():
            faults = [s.fault_class for s in declared(loop.rows, None, trackers[name])]
            dips[name] = [*dips[name], *(DipRow(*d) for d in day.dips[name])][-8:]
            past = kept[name]
            whole = Loop(
                past.rows[-86_400 // period_s :] + loop.rows,
                {k: past.around.get(k, [])[-17_280:] + v for k, v in loop.around.items()},
                loop.metered,
            )
            kept[name] = loop
            verdicts, looks = [], 0
            first = loop.rows[0].time_ms
            slow = slots(whole.rows, loop.rows[-1].time_ms + 1)
            for k in range(24):
                at = first + k * 3_600_000 + luck.randrange(300_000, 2_300_000)
                asked = _look(name, whole, at, dips[name], slow)
                looks += 1
                for wired, one in ((True, asked), (False, without(asked))):
                    found = diagnose(one)
                    if not found.unknown:
                        verdicts.append((at, wired, tuple(map(str, found.best))))
            yield LoopDay(name, looks, verdicts, faults)


def _metered(name: str, loop: Loop, span: Span, low: int, high: int) -> list[Seen] | None:
    area = areas_m2()[name]
    if area is None or not loop.metered:
        return None
    per_min = span.mA_per_m / area / 60
    places = (bisect_left(loop.metered, (moment,)) for moment in (low, high))
    return [Seen(s.time_ms, s.value * per_min) for s in loop.metered[slice(*places)]]


def _look(name: str, loop: Loop, at_ms: int, dips: list[DipRow], slow: list[Slow]) -> Question:
    span = Span(*ranges_m()[name])
    low, high = at_ms - 300_000, at_ms + 1_200_000
    first = loop.rows[0].time_ms
    places = (bisect_left(loop.rows, (moment,)) for moment in (low, high))
    rows = trace_rows(loop.rows[slice(*places)])
    return Question(
        rows,
        at_ms,
        None,
        "",
        Surroundings(
            span=span,
            metered_mA_per_min=_metered(name, loop, span, low, high),
            around={
                k: seen[max(0, (high - BACK_MS - first) // 5000) : (high - first) // 5000]
                for k, seen in loop.around.items()
            },
            slow=[s for s in slow if high - BACK_MS <= s.time_ms < high],
            dips=dips,
            hour=hour(at_ms),
        ),
    )
