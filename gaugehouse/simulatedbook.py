"""Whether what is kept is a simulated farm's, as the starts in the record book tell, and when now is for it.

A demo's clock may run ahead of ours: whoever looks into its files afterwards takes the newest entry for now.
"""

import time
from typing import Final

from gaugehouse.site import Site
from history.book import BookReader
from history.store import Store

STARTED: Final = "started"


def is_simulated(book: BookReader) -> bool:
    """True where any start of the daemon was one of a simulated farm."""
    return any(entry.body.get("simulated") for entry in book.entries([STARTED]))


def was_simulated(book: BookReader, time_ms: int) -> bool:
    """The same of the newest start up to a moment."""
    started = next(iter(book.entries([STARTED], None, time_ms + 1, newest_first=True, limit=1)), None)
    return bool(started is not None and started.body.get("simulated"))


def now_of(book: BookReader) -> int:
    """Now, and not before the newest entry."""
    newest_ms = max((entry.time_ms for entry in book.entries(newest_first=True, limit=1)), default=0)
    return max(time.time_ns() // 1_000_000, newest_ms + 1)


def now_of_readings(site: Site, store: Store, book: BookReader) -> int:
    """Now; of a simulated farm not before its newest reading either."""
    if not is_simulated(book):
        return time.time_ns() // 1_000_000
    newest = [reading.time_ms for tank in site.tanks if (reading := store.latest(tank.id)) is not None]
    return max([now_of(book), *newest])
