"""All judges asked, their findings ranked: the answer to "why". Pure; "unknown" is an answer.

No probability is told: points only order the list. Causes that come out equal cannot be told apart by what is at hand.
"""

from typing import NamedTuple

from alerts.diagnosis.bands import judge_bands
from alerts.diagnosis.dips import judge_dips
from alerts.diagnosis.evidence import Question
from alerts.diagnosis.flat import judge_flat
from alerts.diagnosis.marks import marks_of
from alerts.diagnosis.nights import judge_nights
from alerts.diagnosis.rough import judge_rough
from alerts.diagnosis.weighing import STRONG, Finding
from alerts.diagnosis.words import Cause


class Diagnosis(NamedTuple):
    """findings: best first, those with something in favour. best: the causes that stand level at the top."""

    findings: tuple[Finding, ...]
    best: tuple[Cause, ...]

    @property
    def unknown(self) -> bool:
        return not self.best


def diagnose(question: Question) -> Diagnosis:
    """The causes of what a trace shows, ranked. Nothing found, or nothing strong, is "unknown"."""
    marks = marks_of(question)
    weighed = [
        *judge_bands(question, marks),
        *judge_rough(question, marks),
        *judge_flat(question, marks),
        *judge_nights(question, marks),
        *judge_dips(question),
    ]
    merged: dict[Cause, Finding] = {}
    for one in weighed:
        finding = one.finding()
        if finding.cause not in merged or finding.points > merged[finding.cause].points:
            merged[finding.cause] = finding
    ranked = sorted((f for f in merged.values() if f.points > 0), key=lambda f: -f.points)
    most = ranked[0].points if ranked else 0
    best = tuple(f.cause for f in ranked if f.points == most) if most >= STRONG else ()
    return Diagnosis(tuple(ranked), best)
