"""Causes of a current that stands still: held level, repeated register, starved loop, blocking limit.

A flat current by itself proves nothing: a calm tank on a coarse register is flat too. What decides is noise that went
away, a movement that others see, and the value at which it stands.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import fmean, median
from typing import Final

from alerts.diagnosis.evidence import FIELD_CURRENT, HEATER_CURRENT, SUPPLY_VOLTAGE, Question, Seen
from alerts.diagnosis.marks import HIGH_MA, LOW_MA, Marks, between, change_of, expected_change
from alerts.diagnosis.weighing import Weighing
from alerts.diagnosis.words import Cause

ENOUGH: Final = 40
EDGE_MA: Final = 0.02
HUSHED: Final = 0.5
"""Noise that falls below this part of the loop's own floor is gone; a slosh that dies away ends above it."""

SIDE_MS: Final = 20_000
HEATS_MA: Final = 15.0
"""A heater that draws more than this is on."""

MOVES_MA: Final = 0.06
"""The least change of current that a movement elsewhere must have brought before it counts."""


class _Flat:
    """What is flat, and what should have moved."""

    def __init__(self, question: Question, marks: Marks) -> None:
        known, values = question.known, [mA for _, mA in marks.during]
        self.values = values
        self.noise = marks.noise_before or known.noise_mA or 0.001
        self.identical = len(set(values)) == 1
        self.range_mA = max(values) - min(values)
        self.change_mA = change_of(values)
        self.minutes = (marks.during[-1][0] - marks.during[0][0]) / 60_000
        self.coarse = known.step_mA is not None and known.step_mA > 2 * self.noise
        self.expected_mA = expected_change(question)
        slope = marks.slope_before or 0.0
        self.rising = slope > 0.004
        self.was_mA = slope * self.minutes * 2 / 3


def judge_flat(question: Question, marks: Marks) -> Iterator[Weighing]:
    if len(marks.during) < ENOUGH or marks.share(LOW_MA, HIGH_MA) < 0.95 or marks.silent > 0.5 * marks.polls:
        return
    flat = _Flat(question, marks)
    yield from _starved(question, marks, flat)
    steady = flat.range_mA <= max(12 * flat.noise, 2 * (question.known.step_mA or 0), 0.015)
    at_end = min(abs(flat.values[-1] - LOW_MA), abs(flat.values[-1] - HIGH_MA)) < EDGE_MA
    if not steady or at_end:
        return
    yield from _blocking(question, flat)
    yield from _held(question, marks, flat)


def _stuck(flat: _Flat) -> str:
    """Why it should have moved and did not; empty where nobody says so."""
    moved = flat.expected_mA
    if moved is not None and abs(moved) >= max(MOVES_MA, 15 * flat.noise) and abs(flat.change_mA) < 0.2 * abs(moved):
        return f"it stood still while a movement elsewhere should have changed it by {moved:+.2f} mA"
    return ""


def _held(question: Question, marks: Marks, flat: _Flat) -> Iterator[Weighing]:
    known, echo, register = question.known, Weighing(Cause.LOST_ECHO), Weighing(Cause.FROZEN_REGISTER)
    stuck = _stuck(flat)
    if stuck:
        echo.speaks_for(3, stuck)
        register.speaks_for(3 if flat.identical else 0, stuck)
    elif flat.expected_mA is None and abs(flat.was_mA) > max(MOVES_MA, 20 * flat.noise):
        if abs(flat.change_mA) < 0.1 * abs(flat.was_mA):
            echo.speaks_for(1, "a movement stopped; no meter tells whether the tank's did")
    elif marks.noise_during is not None and not flat.identical and marks.noise_during < HUSHED * (known.floor_mA or 0):
        echo.speaks_for(2, "its noise fell to less than half of the lowest that the loop ever had")
    if flat.identical and not flat.coarse:
        register.speaks_for(3, f"{len(flat.values)} samples equal to the last digit, where its own noise should show")
        echo.speaks_against(2, "not even the noise of the current itself is left")
    elif flat.identical:
        words = "one step of the register is larger than its noise: equal samples prove little"
        register.speaks_against(0, words)
    else:
        register.speaks_against(3, "the register still changes")
    _ask_the_field(question, flat, echo, register)
    yield from (echo, register)


def _ask_the_field(question: Question, flat: _Flat, echo: Weighing, register: Weighing) -> None:
    field = between(question.known.around.get(FIELD_CURRENT, ()), question.start_ms, question.end_ms)
    if len(field) < 12:
        return
    third = len(field) // 3
    change = fmean(field[-third:]) - fmean(field[:third])
    apart = fmean(field[-third:]) - flat.values[-1]
    if max(abs(change), abs(apart)) > 0.03:
        words = f"the transmitter's own current moved on ({change:+.2f} mA, now {apart:+.2f} mA away)"
        register.speaks_for(3, words)
        echo.speaks_against(3, words)
    elif register.points > 0 and echo.points > 0:
        echo.speaks_for(1, "the transmitter's own current stands still too")
        if _stuck(flat):
            register.speaks_against(3, "the transmitter's own current stands still too")


def _blocking(question: Question, flat: _Flat) -> Iterator[Weighing]:
    limit = question.known.blocking_mA
    if limit is None:
        return
    span = question.known.span
    near = 0.02 + (0.01 * abs(span.mA_per_m) if span else 0.02)
    if abs(median(flat.values) - limit) > near:
        return
    made = Weighing(Cause.BLOCKING_LIMIT).speaks_for(2, "it stands at the transmitter's blocking limit")
    if stuck := _stuck(flat):
        made.speaks_for(3, stuck)
    elif flat.rising:
        made.speaks_for(2, "it rose to there")
    yield made


def _starved(question: Question, marks: Marks, flat: _Flat) -> Iterator[Weighing]:
    """A top below 20 mA that the current cannot pass: flat, or stepping down and up with another load."""
    values = flat.values
    top, least = max(values), max(0.03, 12 * flat.noise)
    if top > 20.3:
        return
    since = [j for j in marks.jumps if abs(j.by_mA) >= least]
    falls, rises = [j for j in since if j.by_mA < 0], [j for j in since if j.by_mA > 0]
    made = Weighing(Cause.STARVED)
    steps = len(falls) >= 1 and len(rises) >= 1 and 3 <= len(since) <= 0.2 * len(values)
    moved = flat.expected_mA
    behind = moved is not None and moved > MOVES_MA and flat.change_mA < 0.5 * moved
    if flat.rising and behind:
        made.speaks_for(3, f"it rose, and fell behind a filling that should have brought {moved:+.2f} mA")
    elif flat.rising and flat.change_mA < 0.4 * flat.was_mA:
        made.speaks_for(1, "it rose, and then it rose no more")
    if steps and min(values) > LOW_MA:
        made.speaks_for(2, "its top steps down and up, as with a load that switches on and off")
    volts = question.known.around.get(SUPPLY_VOLTAGE, ())
    heater = question.known.around.get(HEATER_CURRENT, ())
    here = between(volts, question.start_ms, question.end_ms)
    if here and made.points:
        if median(here) < 20:
            made.speaks_for(3, f"the supply stands at {median(here):.1f} V")
        switched = _follows(question, heater, flat.noise)
        if switched:
            made.speaks_for(3, "its top is lower while the heater draws current")
        elif switched is False:
            made.speaks_against(3, "the heater switched and its top did not move")
    field = between(question.known.around.get(FIELD_CURRENT, ()), question.start_ms, question.end_ms)
    if field and made.points and abs(median(field) - median(values)) > 0.05:
        made.speaks_against(4, "the transmitter's own current is another")
    if made.points > 0:
        yield made


def _follows(question: Question, heater: Sequence[Seen], noise_mA: float) -> bool | None:
    """True when the current steps down where the heater switches on and up where it switches off, twice at least.

    False when it never steps there. None where the heater did not switch twice, or where that is not clear.
    """
    rows = [(r.time_ms, r.current_mA) for r in question.rows if r.current_mA is not None]
    steps = []
    for before, after in pairwise(heater):
        switched = (after.value > HEATS_MA) - (before.value > HEATS_MA)
        if switched and before.time_ms >= question.start_ms:
            early = [mA for t, mA in rows if before.time_ms - SIDE_MS <= t <= before.time_ms]
            late = [mA for t, mA in rows if after.time_ms <= t <= after.time_ms + SIDE_MS]
            if len(early) >= 3 and len(late) >= 3:
                steps.append(switched * (median(late) - median(early)))
    least = max(0.03, 12 * noise_mA)
    if len(steps) < 2:
        return None
    if sum(s <= -least for s in steps) >= 2 and not any(s >= least for s in steps):
        return True
    return False if all(abs(s) < 0.01 for s in steps) else None
