"""Evidence weighed for one cause. Points are for ranking only: they are no probability and are never shown.

3 decides by itself, 2 is strong, 1 is a hint; the same against. Our choice.
"""

from typing import Final, NamedTuple

from alerts.diagnosis.words import Cause

STRONG: Final = 2


class Finding(NamedTuple):
    """A cause with what speaks for it and against it, in words."""

    cause: Cause
    points: int
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]


class Weighing:
    """Collects what speaks for and against one cause."""

    __slots__ = ("_against", "_for", "cause", "points")

    def __init__(self, cause: Cause) -> None:
        self.cause = cause
        self.points = 0
        self._for: list[str] = []
        self._against: list[str] = []

    def speaks_for(self, points: int, words: str) -> "Weighing":
        self.points += points
        self._for.append(words)
        return self

    def speaks_against(self, points: int, words: str) -> "Weighing":
        self.points -= points
        self._against.append(words)
        return self

    def finding(self) -> Finding:
        return Finding(self.cause, self.points, tuple(self._for), tuple(self._against))
