"""The shift that was handed over last: a room of the core, so that it can still be taken over after a crash.

Numbers them 1, 2, 3 ...; all that were ever written are in the record book. No I/O, no clock.
"""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

_NEWEST: Final = "newest"


class Given(NamedTuple):
    """A shift handed over. from_ms, to_ms: the shift, as the person said. taken_by: "" while nobody took it over."""

    number: int
    by: str
    time_ms: int
    from_ms: int
    to_ms: int
    notes: str
    taken_by: str = ""
    taken_ms: int = 0


class Handovers:
    """See the file's own words."""

    def __init__(self) -> None:
        self._newest: Given | None = None
        self._dirty = False

    @property
    def newest(self) -> Given | None:
        return self._newest

    @property
    def next_number(self) -> int:
        return 1 if self._newest is None else self._newest.number + 1

    def keep(self, given: Given) -> None:
        """A new one, or the newest one taken over."""
        self._newest, self._dirty = given, True

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        wanted = self._newest is not None and (self._dirty or not changed_only)
        self._dirty = False
        return {_NEWEST: list(self._newest)} if wanted and self._newest is not None else {}

    def restore(self, saved: Mapping[str, Any]) -> None:
        if _NEWEST in saved:
            self._newest = Given(*saved[_NEWEST])
