"""What one poll of a loop shows: its current, the band of that, or why it brought no usable answer.

Knows a single Sample and what the site says of its loop; refuses to know time.
"""

import math
from typing import Final

from alerts.spec import LoopFacts
from alerts.strands import NO_ANSWER, WRONG_REPLY
from models.reading import OK, TIMEOUT, Sample
from models.signal import SPAN_MA, ZERO_MA, Band

EVERYTHING: Final = (-math.inf, math.inf)


def current_of(facts: LoopFacts, sample: Sample) -> float | None:
    """The loop current in mA, None where the sample does not tell it."""
    if facts.current_signal is None:
        return None
    value = sample.values.get(facts.current_signal)
    return None if value is None else value * facts.current_factor + facts.current_constant


def band_of(facts: LoopFacts, sample: Sample, current_mA: float | None) -> Band | None:
    """The NE 43 band of a sample: of its current, or of its percent of the range where it tells no current.

    0 mA reads as -25 % of span: the limits of NE 43 hold for the percent that is made of the current just as well.
    """
    if current_mA is not None:
        return facts.ne43.band(current_mA)
    if facts.percent_signal is None or facts.current_signal is not None:
        return None
    value = sample.values.get(facts.percent_signal)
    return None if value is None else facts.ne43.band(ZERO_MA + SPAN_MA * value / 100)


def failure(facts: LoopFacts, sample: Sample) -> str:
    """Why a poll brought no usable answer: no_answer, wrong_reply, or empty when it did.

    A level signal that is missing or is no number is a failed poll whatever else came: the tank's level is Bad then.
    A current (or, without one, every watched value) that is not a number makes the reply a wrong one: the level is Bad
    then, and somebody must be told. A current that is missing although the poll went well was not asked for.
    """
    values, current = sample.values, facts.current_signal
    for name in facts.level_signals:
        if name not in values:
            return NO_ANSWER if sample.outcome in (OK, TIMEOUT) else WRONG_REPLY
        level = values[name]
        low, high = facts.possible.get(name, EVERYTHING)
        if level is None or not low <= level <= high:
            return WRONG_REPLY
    wanted = [name for name, _ in facts.watched] if current is None else [current]
    present = [values[name] for name in wanted if name in values]
    if not present:
        if sample.outcome != OK and (wanted or not values):
            return NO_ANSWER if sample.outcome == TIMEOUT else WRONG_REPLY
        present = list(values.values())
    return "" if any(value is not None for value in present) else WRONG_REPLY
