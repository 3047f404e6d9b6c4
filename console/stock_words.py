"""The words of the stock book that the data choose, for pages and commands alike. Only words: no rule hangs on them."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

VERDICTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "within": "within what the rule allows",
        "beyond": "BEYOND what the rule allows: have it looked into",
        "not judged": "not judged",
    }
)
"""A variance beside the rule's allowance."""

UNTOLD: Final = "more than the rule allows, though less than the tank can tell"


def verdict_words(row: Mapping[str, object]) -> str:
    """A row's verdict; a variance beyond the rule that the tank itself cannot tell calls nobody out."""
    return UNTOLD if row["verdict"] == "beyond" and not told_beyond(row) else VERDICTS[str(row["verdict"])]


def told_beyond(row: Mapping[str, object]) -> bool:
    """Whether a variance is beyond the rule, and the tank can tell it."""
    return row["verdict"] == "beyond" and row["telling"] not in ("limit", "neither")


TELLING: Final[Mapping[str, str]] = MappingProxyType(
    {
        "both": "the tank can tell: the difference of {difference} is larger than its own ± {u95}",
        "difference": "the tank can tell the difference of {difference}, but its own ± {u95} is more than the {limit} "
        "that the rule allows: it cannot police that limit",
        "limit": "the difference of {difference} is smaller than the tank's own ± {u95}; one as large as the {limit} "
        "that the rule allows it could tell",
        "neither": "the tank cannot settle it: its own ± {u95} is more than the difference of {difference}",
        "unknown": "whether the tank can tell is not known",
    }
)
"""Whether the tank can resolve a dispute at all (95 %, k = 2); printed beside every comparison."""

PARTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "measurement": "Measurement",
        "temperature": "Temperature",
        "water": "Water",
        "meter": "Meter",
        "evaporation": "Evaporation",
        "line fill": "Line fill",
        "samples and drains": "Samples and drains",
        "unexplained": "Unexplained",
    }
)

OPENED: Final[Mapping[str, str]] = MappingProxyType(
    {"measured": "measured", "book": "by book", "document": "by document", "": "no opening balance"}
)
"""What an opening rests on."""

SOURCES: Final[Mapping[str, str]] = MappingProxyType(
    {"gauge": "gauge", "dip": "dip", "sum": "sum of its tanks", "": "not measured"}
)

BOOK_PAGE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "largest": "the day that tells most: {day}, {variance} {u95}",
        "papers": "its papers",
        "account_paper": "Account on paper",
        "sheet_paper": "Stock sheet on paper",
        "beyond": "What is known of the variance beyond the rule",
        "begun": "The book begins on {day}, with the opening balance.",
        "no_book": "There is no opening balance yet: the book has not begun.",
        "tank_begun": "since {day}",
        "no_rule": "The site file names no rule of tolerance: nothing is judged.",
        "no_owner": "not named",
        "no_stand": "not stated this month",
        "closed": "Closed by {by}, {time}: entry {entry} of the record book, made from {head}.",
        "since": "of {days} days: nothing was measured between",
        "whole_month": "The month",
        "today": "Today",
        "name_first": "write your name first",
        "signed": "closed by {by}; the record book had {head}",
        "was_signed": "it was closed before by {by}",
        "failed": "not closed: {why}",
        "offline": "the console does not answer",
        "unread": "the record book or the readings cannot be read now",
    }
)
"""Sentences of the stock book's page; `{...}` is filled in."""
