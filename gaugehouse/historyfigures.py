"""Aggregates of the history as the console and the command tell them: one question in, JSON-ready figures out."""

from collections.abc import Sequence
from typing import Any, Final

from gaugehouse.site import Site
from history.aggregates import Result
from history.aggregating import Question
from history.points import Treatment
from models.reading import QUANTITY

GAP_POLLS: Final = 5
LEAST_GAP_MS: Final = 5000

_UNITS: Final = {"Count": "", "WorstQuality": "", "PercentGood": "%", "PercentBad": "%"}

Json = dict[str, Any]


def gap_ms(site: Site, tank: str) -> int:
    """Readings further apart than this leave a gap: five polls, and 5 s at the least, as on the pages."""
    return max(LEAST_GAP_MS, GAP_POLLS * site.period_ms[site.tank(tank).instrument])


def question_of(site: Site, tank: str, asked: Json) -> Question:
    """asked: see `console.facts.Facts.aggregate`."""
    return Question(
        tank,
        asked["quantity"],
        asked["aggregate"],
        asked["start_ms"],
        asked["end_ms"],
        asked["interval_ms"],
        gap_ms(site, tank),
        Treatment(stepped=asked["stepped"], uncertain_is_bad=asked["uncertain_is_bad"]),
    )


def unit_of(name: str, quantity: str) -> str:
    """The unit of an aggregate of a column."""
    if name in _UNITS:
        return _UNITS[name]
    if name.startswith("Duration"):
        return "ms"
    unit = QUANTITY[quantity].unit
    return f"{unit} s" if name.startswith("Total") else unit


def aggregate_json(question: Question, results: Sequence[Result]) -> Json:
    return {
        "unit": unit_of(question.name, question.quantity),
        "start_ms": [result.start_ms for result in results],
        "value": [result.value for result in results],
        "status": [result.told for result in results],
        "good_percent": [round(result.good_percent, 3) for result in results],
    }
