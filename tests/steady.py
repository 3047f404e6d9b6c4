"""Time that stands still while the machine gives the test no turn.

For tests in which both ends of a wire live on one event loop: a time-out of 30 ms is part of what they prove, and three
seconds without a turn would let it pass before the other end could answer. Waiting counts as long as it was asked for,
work between two looks at the clock hardly at all.
"""

import selectors
import threading
import time
from collections.abc import Callable
from typing import Any, Final

import pytest

TURN_S: Final = 0.0005
"""What may pass between two looks at the clock; more is left out."""
PIECE_S: Final = 0.004
"""A wait is made in pieces so long: where the machine stops within one, what came at its beginning is not late."""
GRAIN_S: Final = 0.0015
"""A wait is rounded up to whole milliseconds by the system."""


class SteadyTime:
    """`time.monotonic` and the waits of event loops in this thread; other threads see the time it makes."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._real = monotonic
        self._owner = threading.get_ident()
        self._left_out_s = 0.0
        self._seen_s = monotonic()

    def _look(self, allowed_s: float) -> float:
        now_s = self._real()
        self._left_out_s += max(0.0, now_s - self._seen_s - allowed_s)
        self._seen_s = now_s
        return now_s - self._left_out_s

    def monotonic(self) -> float:
        if threading.get_ident() != self._owner:
            return self._real() - self._left_out_s
        return self._look(TURN_S)

    def waits(self, select: Callable[..., Any]) -> Callable[..., Any]:
        """A selector's wait, which counts for no longer than it was asked to be."""

        def waiting(selector: selectors.BaseSelector, timeout: float | None = None) -> Any:
            if threading.get_ident() != self._owner:
                return select(selector, timeout)
            self._look(TURN_S)
            left_s = float("inf") if timeout is None else max(0.0, timeout)
            while True:
                piece_s = min(left_s, PIECE_S)
                ready = select(selector, piece_s)
                self._look(piece_s + GRAIN_S)
                left_s -= piece_s
                if ready or left_s <= 0:
                    return ready

        return waiting

    def stand_still(self, seconds: float) -> None:
        """Hold everything up for so long, and let it count."""
        self._look(TURN_S)
        time.sleep(seconds)
        self._look(float("inf"))


@pytest.fixture
def steady(monkeypatch: pytest.MonkeyPatch) -> SteadyTime:
    """Time-outs of this test are measured without the machine's standstills."""
    made = SteadyTime(time.monotonic)
    kind = selectors.DefaultSelector
    monkeypatch.setattr(kind, "select", made.waits(kind.select))
    monkeypatch.setattr(time, "monotonic", made.monotonic)
    return made
