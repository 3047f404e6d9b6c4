"""The record book."""

from typing import Protocol

from console.facts.answers import Json


class RecordFacts(Protocol):
    """Entries of the record book."""

    async def record_head(self) -> str:
        """The record book's head, ``COUNT:HASH``."""
        ...

    async def record_rows(
        self, kind: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        """Entries of the record book, newest first: ``{n, time, kind, body, hash, corrected_by: [numbers]}``.

        before: only those with a lower number."""
        ...

    async def pointing_at(self, n: int) -> Json | str:
        """What a correction of entry n must carry, or why there can be none."""
        ...
