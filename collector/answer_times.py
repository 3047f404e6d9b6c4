"""How long the answers of one unit take, and how long the next one is waited for.

Pure: times come in. The site's time-out is the bound, and what is used until enough answers are known. Then it is what
nearly all answers kept to, three times over, and never less than `LEAST_MS`: an answer that comes a little late on one
day must not become a failure. Each failure in a row doubles it again, up to the bound, so that a unit that became
slower is found again.
"""

from bisect import bisect_left, insort
from collections import deque
from collections.abc import Sequence
from typing import Final

WINDOW: Final = 128
"""Answers that are looked back at."""
ENOUGH: Final = 16
"""Answers before anything is learned; learned anew each time so many more have come."""
HIGH: Final = 0.98
FACTOR: Final = 3.0
LEAST_MS: Final = 100.0


def quantile(values: Sequence[float], share: float) -> float | None:
    """The value that so large a share of them does not exceed; None of none. Nearest rank, no interpolation."""
    if not values:
        return None
    return _at_rank(sorted(values), share)


def _at_rank(ordered: Sequence[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


class AnswerTimes:
    """One unit's. `timeout_ms`: how long the next answer is waited for; `last_ms`: what the last one took."""

    __slots__ = ("_bound_ms", "_failures", "_learned_ms", "_new", "_ordered", "_times", "last_ms", "timeout_ms")

    def __init__(self, bound_ms: float) -> None:
        self._bound_ms = bound_ms
        self._learned_ms = bound_ms
        self._times: deque[float] = deque()
        self._ordered: list[float] = []  # the same by size, kept so: pages ask for quantiles of all units each second
        self._new = 0
        self._failures = 0
        self.timeout_ms = bound_ms
        self.last_ms: float | None = None

    def answered(self, took_ms: float) -> None:
        self.last_ms = took_ms
        if len(self._times) == WINDOW:
            del self._ordered[bisect_left(self._ordered, self._times.popleft())]
        self._times.append(took_ms)
        insort(self._ordered, took_ms)
        self._new += 1
        if self._new >= ENOUGH:
            self._new = 0
            high_ms = _at_rank(self._ordered, HIGH)
            self._learned_ms = min(self._bound_ms, max(LEAST_MS, FACTOR * high_ms))
            self.timeout_ms = self._learned_ms
        if self._failures:
            self._failures = 0
            self.timeout_ms = self._learned_ms

    def failed(self) -> None:
        """No answer, or a wrong one."""
        self._failures += 1
        self.timeout_ms = min(self._bound_ms, self._learned_ms * 2.0 ** min(self._failures, 16))

    def quantile_ms(self, share: float) -> float | None:
        """Of the answers that are looked back at."""
        return _at_rank(self._ordered, share) if self._ordered else None
