"""Whether tasks, descriptors and memory of a process grew beyond their noise."""

import statistics
from collections.abc import Sequence
from typing import Final, NamedTuple

WARM: Final = 0.5
"""Share of the time until all that is kept for a while is there, and the files have outgrown the caches of those who
read them: SQLite keeps up to 2 MB of pages for each connection, and there is one a file and reading thread."""


class Look(NamedTuple):
    now_ms: int
    tasks: int
    fds: int
    threads: int
    objects: int
    rss_mb: float
    """Resident, after the allocator gave back what it held free."""
    sqlite_mb: float
    """Of which SQLite's: the pages that its connections keep."""

    @property
    def own_mb(self) -> float:
        """Resident memory without SQLite's."""
        return self.rss_mb - self.sqlite_mb


class Growth(NamedTuple):
    """Medians of the first and of the last third after warming up, and what the figure swings by itself: its largest
    less its smallest in either third."""

    before: float
    after: float
    swing: float

    def beyond(self, free: float) -> bool:
        """True where it rose by more than `free` and by more than it swings anyway."""
        return self.after - self.before > max(free, self.swing)


def growth(figures: Sequence[float]) -> Growth:
    """Raises `ValueError` for fewer than twelve looks."""
    if len(figures) < 12:
        raise ValueError(f"{len(figures)} looks; a growth is told of 12 or more")
    warm = figures[int(WARM * len(figures)) :]
    third = len(warm) // 3
    first, last = warm[:third], warm[-third:]
    swing = max(max(first) - min(first), max(last) - min(last))
    return Growth(statistics.median(first), statistics.median(last), swing)
