"""What the console asks of the daemon: the one Protocol, `Facts`, between the pages and the rest of the house.

A file an area, joined in `whole.py`. All of them know names, units and shapes and refuse to know where a figure comes
from. All dicts are JSON-ready (str, int, float, bool, None, list, dict); a missing figure is ``None``, never NaN;
readings.csv columns keep their names and SI units; times are ISO 8601 UTC with milliseconds and ``Z`` unless a name
ends in ``_ms``. Nothing blocks: slow work is awaited.
"""

from console.facts.answers import (
    AckAnswer,
    AckStatus,
    ActAnswer,
    ActWaits,
    FactsUnavailable,
    Json,
    PaperSize,
    SiteFacts,
)
from console.facts.whole import Facts

__all__ = [
    "AckAnswer",
    "AckStatus",
    "ActAnswer",
    "ActWaits",
    "Facts",
    "FactsUnavailable",
    "Json",
    "PaperSize",
    "SiteFacts",
]
