"""Causes that show in where the current stands: dead, failing low, failing high, silent.

Source: NAMUR NE 43 (2003), secondary texts: failure <= 3.6 mA or >= 21 mA; the rest common practice, no source.
"""

from collections.abc import Iterator
from statistics import median
from typing import Final

from alerts.diagnosis.evidence import FIELD_CURRENT, SUPPLY_VOLTAGE, Question, Surroundings
from alerts.diagnosis.marks import DEAD_MA, Marks, between
from alerts.diagnosis.weighing import Weighing
from alerts.diagnosis.words import Cause

FAIL_LOW_MA: Final = 3.6
FAIL_HIGH_MA: Final = 21.0
DEVICE_TO_MA: Final = 22.1
LIMITER_FROM_MA: Final = 23.0
"""Transmitters signal failure at 21 to 22 mA, some up to 23; limiters and bare supplies give 22 to 35 (common practice,
no source). Between the two figures the current alone does not tell."""

MOST: Final = 0.7
VOLTS_GONE: Final = 8.0


def judge_bands(question: Question, marks: Marks) -> Iterator[Weighing]:
    known = question.known
    if marks.polls and marks.silent >= MOST * marks.polls:
        yield from _silent(question, known)
    elif marks.share(-1, DEAD_MA) >= MOST:
        yield from _dead(question, known)
    elif marks.share(DEAD_MA, FAIL_LOW_MA + 0.02) >= MOST:
        yield _fails_low(marks)
    elif marks.share(FAIL_HIGH_MA - 0.02, 1e9) >= MOST:
        yield from _high(question, marks)


def _silent(question: Question, known: Surroundings) -> Iterator[Weighing]:
    unit = Weighing(Cause.SILENT_UNIT).speaks_for(2, "it does not answer")
    if known.silent_together:
        names = ", ".join(known.silent_together)
        yield Weighing(Cause.SILENT_BUS).speaks_for(3, f"others of its bus do not answer either: {names}")
        unit.speaks_against(1, f"others of its bus do not answer either: {names}")
    if known.loop_powered:
        why = "it is powered by the loop and does not answer: an open loop takes it away"
        unit.speaks_against(1, "it is powered by the loop: the loop is to be looked at first")
        yield from _no_current(question, known, why)
    yield unit


def _dead(question: Question, known: Surroundings) -> Iterator[Weighing]:
    yield from _no_current(
        question, known, "no current at all, which no transmitter sends: it reports failure at 3.6 mA"
    )


def _no_current(question: Question, known: Surroundings, why: str) -> Iterator[Weighing]:
    opened = Weighing(Cause.OPEN_CIRCUIT).speaks_for(3, why)
    supply = Weighing(Cause.SUPPLY_LOST).speaks_for(3, why)
    bypass = Weighing(Cause.SHORT).speaks_for(3, why + "; a short across the receiver looks the same")
    volts = between(known.around.get(SUPPLY_VOLTAGE, ()), question.start_ms, question.end_ms)
    if volts:
        seen = median(volts)
        words = f"the supply stands at {seen:.1f} V"
        if seen < VOLTS_GONE:
            supply.speaks_for(3, words)
            opened.speaks_against(3, words)
            bypass.speaks_against(3, words)
        else:
            supply.speaks_against(3, words)
            opened.speaks_for(1, words)
    field = between(known.around.get(FIELD_CURRENT, ()), question.start_ms, question.end_ms)
    if field:
        seen = median(field)
        words = f"the transmitter's own current is {seen:.2f} mA"
        if seen > DEAD_MA:
            bypass.speaks_for(3, words)
            opened.speaks_against(3, words)
            supply.speaks_against(3, words)
        else:
            bypass.speaks_against(3, words)
    if known.failing_together:
        names = ", ".join(known.failing_together)
        supply.speaks_for(2, f"loops of the same supply failed with it: {names}")
    elif known.healthy_together:
        names = ", ".join(known.healthy_together)
        supply.speaks_against(2, f"loops of the same supply go on measuring: {names}")
    if known.loop_powered:
        bypass.speaks_against(3, "a short across the receiver would not silence an indicator in the loop")
    yield from (opened, supply, bypass)


def _fails_low(marks: Marks) -> Weighing:
    made = Weighing(Cause.FAIL_LOW).speaks_for(3, f"{marks.middle:.2f} mA: NE 43 gives up to 3.6 mA to failures")
    if not _steady(marks):
        made.speaks_against(1, "the current wanders, a transmitter that reports failure holds it")
    return made


def _high(question: Question, marks: Marks) -> Iterator[Weighing]:
    middle = marks.middle or 0.0
    words = f"{middle:.2f} mA: NE 43 gives 21 mA and more to failures"
    device = Weighing(Cause.FAIL_HIGH)
    short = Weighing(Cause.SHORT)
    if middle < DEVICE_TO_MA:
        device.speaks_for(3, words)
        short.speaks_for(1, f"{middle:.2f} mA may be a limiter's")
    elif middle < LIMITER_FROM_MA:
        device.speaks_for(2, words)
        short.speaks_for(2, f"{middle:.2f} mA may be a limiter's")
    else:
        short.speaks_for(3, f"{middle:.2f} mA: more than transmitters signal; a limiter or a bare supply drives it")
        device.speaks_against(1, f"{middle:.2f} mA is more than transmitters signal")
    field = between(question.known.around.get(FIELD_CURRENT, ()), question.start_ms, question.end_ms)
    if field:
        seen = median(field)
        told = f"the transmitter's own current is {seen:.2f} mA"
        for cause, agrees in ((device, seen > middle - 1), (short, seen < DEAD_MA)):
            if agrees:
                cause.speaks_for(2, told)
            else:
                cause.speaks_against(3, told)
    yield from (device, short)


def _steady(marks: Marks) -> bool:
    currents = [mA for _, mA in marks.during]
    return max(currents) - min(currents) < 0.25
