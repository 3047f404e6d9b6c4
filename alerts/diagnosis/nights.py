"""Causes that show by the hour: a wet window towards dawn, with or without its heater, and a wet junction box.

Source: common practice, no source (dew forms in clear nights and dries in the forenoon).
"""

from collections.abc import Callable, Iterator, Sequence
from statistics import fmean, median
from typing import Final

from alerts.diagnosis.evidence import FIELD_CURRENT, HEATER_CURRENT, HUMIDITY, Question, Slow
from alerts.diagnosis.marks import HIGH_MA, LOW_MA, Marks, between
from alerts.diagnosis.weighing import Weighing
from alerts.diagnosis.words import Cause

DAMP_PERCENT: Final = 75.0
EVENTS: Final = 3
DAY_MS: Final = 86_400_000
LOOK_BACK_MS: Final = 30 * DAY_MS
LEAK_MA: Final = 0.05
HEATS_MA: Final = 15.0
NOISIER_BY: Final = 2.2
STILL: Final = 0.3
"""A slot is still when the movement in it is less than this part of its width."""

AROUND_MS: Final = 1_800_000


def is_night(hour: float) -> bool:
    return hour >= 21 or hour < 9.5


def is_noon(hour: float) -> bool:
    return 11 <= hour < 18


def judge_nights(question: Question, marks: Marks) -> Iterator[Weighing]:
    yield from _window(question)
    leak = _leak(question)
    if leak is not None:
        yield leak


def _window(question: Question) -> Iterator[Weighing]:
    known, start = question.known, question.start_ms
    dropped = ("fail_low", "fail_high", "gap_low", "gap_high", "rate_impossible", "no_answer")
    events = [e for e in known.earlier if e.fault_class in dropped and abs(e.start_ms - start) < LOOK_BACK_MS]
    hours = [e.hour for e in events]
    if question.fault_class in dropped and known.hour is not None:
        hours.append(known.hour)
    if len(hours) < EVENTS or sum(is_night(h) for h in hours) < 0.9 * len(hours):
        return
    moments = [*(e.start_ms for e in events), start]
    if (
        max(moments) - min(moments) < 1_200_000
        or not known.slow
        or known.slow[-1].time_ms - known.slow[0].time_ms < DAY_MS / 2
    ):
        return
    words = f"{len(hours)} failures, all between evening and forenoon, none at noon"
    fouled = Weighing(Cause.FOULED).speaks_for(4, words)
    dead = Weighing(Cause.HEATER_DEAD).speaks_for(4, words)
    air = known.around.get(HUMIDITY, ())
    damp = [v for at in moments for v in between(air, at - 600_000, at + 600_000)]
    if damp:
        told = f"the air had {median(damp):.0f} % humidity then"
        for cause in (fouled, dead):
            if median(damp) >= DAMP_PERCENT:
                cause.speaks_for(1, told)
            else:
                cause.speaks_against(2, told)
    heater = known.around.get(HEATER_CURRENT, ())
    drawn = [v for at in moments for v in between(heater, at - AROUND_MS, at + AROUND_MS)]
    if drawn:
        if max(drawn) < HEATS_MA:
            told = f"the heater drew no current then ({max(drawn):.0f} mA at the most)"
            dead.speaks_for(3, told)
            fouled.speaks_against(2, told)
        else:
            told = f"the heater drew {max(drawn):.0f} mA then"
            fouled.speaks_for(1, told)
            dead.speaks_against(4, told)
    yield from (fouled, dead)


def _leak(question: Question) -> Weighing | None:
    made = Weighing(Cause.LEAK)
    field = question.known.around.get(FIELD_CURRENT, ())
    if field:
        _apart(question, made)
    _nights(question.known.slow, made)
    return made if made.points > 0 else None


def _apart(question: Question, made: Weighing) -> None:
    """Field against panel, slot by slot: a difference that comes and goes with the damp."""
    field, slow = question.known.around[FIELD_CURRENT], question.known.slow
    if len(slow) < 12:
        return
    length = slow[1].time_ms - slow[0].time_ms
    sums: dict[int, list[float]] = {}
    first = slow[0].time_ms
    for seen in field:
        sums.setdefault((seen.time_ms - first) // length, []).append(seen.value)
    apart = []
    for slot in slow:
        there = sums.get((slot.time_ms - first) // length, ())
        if there and LOW_MA <= min(there) and max(there) <= HIGH_MA:  # a slot with failures in it compares nothing
            apart.append((slot.hour, slot.mean_mA - fmean(there)))
    wet = [d for hour, d in apart if hour < 8.5 or hour >= 23]
    dry = [d for hour, d in apart if 12 <= hour < 18]
    if len(wet) < 8 or len(dry) < 8:
        return
    change = median(wet) - median(dry)
    if abs(change) > LEAK_MA:
        made.speaks_for(5, f"the panel reads {change:+.2f} mA against the transmitter at night, compared with noon")
        return
    made.speaks_against(3, "panel and transmitter agree at night as at noon")


def _nights(slow: Sequence[Slow], made: Weighing) -> None:
    """Noise at night against noise at noon, from the quiet slots of each."""
    wet = sorted(_rough(slow, lambda hour: hour < 8.5))
    dry = sorted(_rough(slow, is_noon))
    if len(wet) < 12 or len(dry) < 12:
        return
    at_night, at_noon = wet[len(wet) // 2], dry[len(dry) // 4]
    if at_night > max(NOISIER_BY * at_noon, 0.008):
        made.speaks_for(3, f"noisy nights and calm noons: {1000 * at_night:.0f} against {1000 * at_noon:.0f} uA")


def _rough(slow: Sequence[Slow], wanted: Callable[[float], bool]) -> list[float]:
    """Width of the slots of some hours in which the level was as good as still."""
    found = []
    for before, here, after in zip(slow, slow[1:], slow[2:], strict=False):
        if wanted(here.hour):
            moved = abs(after.mean_mA - before.mean_mA) / 2
            width = here.high_mA - here.low_mA
            if moved < STILL * width:
                found.append(width)
    return found
