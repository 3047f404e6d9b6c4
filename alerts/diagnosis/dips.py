"""Causes that only a dip shows: the zero moved, or the scale is wrong.

Model: difference = constant, or difference proportional to the distance from the 4 mA level; the one that leaves less
unexplained is preferred (least squares, computed).
"""

from collections.abc import Iterator
from math import sqrt
from statistics import fmean
from typing import Final

from alerts.diagnosis.evidence import Question
from alerts.diagnosis.weighing import Weighing
from alerts.diagnosis.words import Cause

LEAST_DIPS: Final = 3
MATTERS_M: Final = 0.008
MATTERS_FRAC: Final = 0.001
"""A smaller difference, or less than this part of the range, is within what dip, setting, trim and mount of a healthy
loop leave open together (our choice; a 0.1 % loop over 14 m is 14 mm)."""

CLEARLY: Final = 1.6
UNEXPLAINED: Final = 0.45
"""A model that leaves more than this part of the differences is not believed."""


def judge_dips(question: Question) -> Iterator[Weighing]:
    dips, span = question.known.dips, question.known.span
    if len(dips) < LEAST_DIPS or span is None:
        return
    off = [d.gauge_m - d.dip_m for d in dips]
    reach = [d.dip_m - span.at_4mA_m for d in dips]
    constant = fmean(off)
    scale = sum(o * r for o, r in zip(off, reach, strict=True)) / sum(r * r for r in reach)
    left_by_constant = sqrt(sum((o - constant) ** 2 for o in off) / (len(off) - 1))
    left_by_scale = sqrt(sum((o - scale * r) ** 2 for o, r in zip(off, reach, strict=True)) / (len(off) - 1))
    size = sqrt(fmean([o * o for o in off]))
    matters = max(MATTERS_M, MATTERS_FRAC * abs(span.at_20mA_m - span.at_4mA_m))
    if size < matters or min(left_by_constant, left_by_scale) > UNEXPLAINED * size:
        return
    zero, wrong = Weighing(Cause.ZERO_SHIFT), Weighing(Cause.SPAN_ERROR)
    said = f"{len(dips)} dips: "
    constant_words = f"{said}a constant {1000 * constant:+.0f} mm leaves {1000 * left_by_constant:.1f} mm unexplained"
    scale_words = f"{said}{1000 * scale:+.1f} mm a metre leaves {1000 * left_by_scale:.1f} mm unexplained"
    if abs(constant) > max(matters / 2, 3 * left_by_constant / sqrt(len(off))):
        zero.speaks_for(2, constant_words)
    if abs(scale) * max(reach) > max(matters / 2, 3 * left_by_scale / sqrt(len(off))):
        wrong.speaks_for(2, scale_words)
    if left_by_scale > CLEARLY * left_by_constant:
        zero.speaks_for(1, "the difference does not grow with the level")
        wrong.speaks_against(2, constant_words)
    elif left_by_constant > CLEARLY * left_by_scale:
        wrong.speaks_for(1, "the difference grows with the level")
        zero.speaks_against(2, scale_words)
    yield from (zero, wrong)
