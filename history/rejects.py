"""The readable list of the lines that a server will never take: a JSON object a line, with the server's reason.

Bounded: when the file is full, further lines are only counted, and that is said once.
"""

import json
import logging
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, NamedTuple

from history.errors import StoreUnavailable

log = logging.getLogger(__name__)

MOST_BYTES: Final = 10_000_000


class Rejected(NamedTuple):
    """A line and the server's reason."""

    line: str
    reason: str


class RejectList:
    """A file that is made with the first line in it. most_bytes: of what it may grow to."""

    def __init__(self, path: Path, most_bytes: int = MOST_BYTES) -> None:
        self.path = path
        self._most_bytes = most_bytes
        self._full = False

    def add(self, rejected: Iterable[Rejected]) -> None:
        """Write some down. Raises `StoreUnavailable` when the disk takes none."""
        now = datetime.now(UTC).isoformat(timespec="seconds")
        try:
            size = self.path.stat().st_size if self.path.exists() else 0
            with self.path.open("a", encoding="utf-8") as file:
                for one in rejected:
                    text = json.dumps({"time": now, "reason": one.reason, "line": one.line}) + "\n"
                    size += len(text)
                    if size > self._most_bytes:
                        self._say_full()
                        break
                    file.write(text)
        except OSError as error:
            raise StoreUnavailable(f"{self.path}: rejected lines cannot be written down: {error.strerror}") from error

    def _say_full(self) -> None:
        if not self._full:
            self._full = True
            log.error("%s is full (%d bytes): further rejected lines are only counted", self.path, self._most_bytes)
