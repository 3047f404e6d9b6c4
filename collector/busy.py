"""What share of the last minute a line was taken: asked, waited on, or kept silent after a failure.

Pure: real times come in, in seconds.
"""

from collections import deque
from typing import Final

WINDOW_S: Final = 60.0


class Busy:
    """Sums of taken time, marked about once a second, so that a minute is looked back at without keeping each poll."""

    __slots__ = ("_marks", "_taken_s")

    def __init__(self) -> None:
        self._marks: deque[tuple[float, float]] = deque()
        self._taken_s = 0.0

    def add(self, start_s: float, end_s: float) -> None:
        """The line was taken from one time to another. Times rise."""
        marks = self._marks
        if not marks or start_s - marks[-1][0] >= 1.0:
            marks.append((start_s, self._taken_s))
            while len(marks) > 1 and marks[1][0] <= end_s - WINDOW_S:
                marks.popleft()
        self._taken_s += end_s - start_s

    def share(self, now_s: float) -> float | None:
        """0 to 1 of the last minute (or of the time since the first poll); None before it."""
        if not self._marks:
            return None
        at_s, taken_s = self._marks[0]
        for mark_s, mark_taken_s in self._marks:
            if mark_s > now_s - WINDOW_S:
                break
            at_s, taken_s = mark_s, mark_taken_s
        return min(1.0, (self._taken_s - taken_s) / (now_s - at_s)) if now_s > at_s else None
