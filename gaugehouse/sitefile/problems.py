"""What is wrong with a site file: one Problem per mistake, gathered and raised together.

Knows how a mistake is worded: which file, which key, what is there, what is allowed, what to do. Refuses to know what
the keys mean.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from enum import StrEnum
from typing import Final, NamedTuple

from gaugehouse.errors import CallError


class Severity(StrEnum):
    ERROR = "error"  # the site does not start
    WARNING = "warning"  # legal, but unwise: a person should know


class Problem(NamedTuple):
    """One mistake. `key` is a path such as ``tank[t1].limits.high``; `text` says all of it in one line."""

    file: str
    key: str
    found: str
    allowed: str
    severity: Severity
    text: str


class SiteError(CallError):
    """The site file cannot be used; `problems` holds every mistake. The command line prints them and exits with 2."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(problem.text for problem in self.problems))


@dataclass(slots=True)
class Report:
    """Gathers the problems of one site file."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    _touched: set[str] = field(default_factory=set)  # the keys of the problems and all that they lie below

    def is_clean(self, key: str) -> bool:
        """True when nothing is wrong yet at or below a key. Costs the same however many keys and problems there are."""
        return key not in self._touched

    def error(self, key: str, text: str, *, found: object = "", allowed: str = "", file: str = "") -> None:
        self._add(Severity.ERROR, key, text, found, allowed, file)

    def warn(self, key: str, text: str, *, found: object = "", allowed: str = "", file: str = "") -> None:
        self._add(Severity.WARNING, key, text, found, allowed, file)

    def _add(self, severity: Severity, key: str, text: str, found: object, allowed: str, file: str) -> None:
        where = ": ".join(part for part in (file or self.file, key) if part)
        self.problems.append(Problem(file or self.file, key, str(found), allowed, severity, f"{where}: {text}"))
        self._touched |= {key, *(key[:place] for place, sign in enumerate(key) if sign in ".[")}

    @property
    def errors(self) -> tuple[Problem, ...]:
        return tuple(p for p in self.problems if p.severity is Severity.ERROR)

    @property
    def warnings(self) -> tuple[Problem, ...]:
        return tuple(p for p in self.problems if p.severity is Severity.WARNING)


LIKE_ENOUGH: Final = 0.6
"""How alike two words must be (0 to 1) to be taken for a slip of the pen: our own choice."""


def nearest(word: str, known: Iterable[str]) -> str:
    """``; did you mean "high"?`` for a slip of the pen, nothing where no known word is near."""
    scored = [(SequenceMatcher(None, word.lower(), other.lower()).ratio(), other) for other in known]
    score, best = max(scored, key=lambda pair: pair[0], default=(0.0, ""))
    return f'; did you mean "{best}"?' if score >= LIKE_ENOUGH else ""


def listed(words: Iterable[str]) -> str:
    """Words as a list for people, quoted."""
    return ", ".join(f'"{word}"' for word in words)


def shown(value: object) -> str:
    """A value as it stands in the file, near enough for people."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    return "a table" if isinstance(value, dict) else "a list" if isinstance(value, list) else f"{value}"
