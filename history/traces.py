"""The file of fault traces: raw samples that belong to a fault, kept at full rate for as long as the record book.

Knows samples by the number of a fault of an instrument; refuses to know what a fault is. Beside the record book and not
in it: a trace is written just before the entry that speaks of it, is no part of the chain, and its rows are never
thinned. One process writes, any number read beside it.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

from history.errors import StoreDamaged
from history.files import Layout, SqliteFile
from models.reading import Sample

FORMAT: Final = 1

_SCHEMA: Final = (
    "CREATE TABLE sample (n INTEGER PRIMARY KEY, instrument TEXT NOT NULL, number INTEGER NOT NULL, "
    "time_ms INTEGER NOT NULL, outcome TEXT NOT NULL, told TEXT NOT NULL)",
    "CREATE INDEX sample_fault ON sample (instrument, number, n)",
)
LAYOUT: Final = Layout("file of fault traces", 0x67685472, FORMAT, _SCHEMA, "FULL")


class Traced(NamedTuple):
    """A sample of a trace. around: values of other signals at that time, by whatever names the writer gave them."""

    sample: Sample
    around: Mapping[str, float]


class TraceReader:
    """Looks into the traces, also while the daemon writes to them, from any thread.

    Raises `StoreUnavailable`, `StoreDamaged`.
    """

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    @classmethod
    def open(cls, path: Path, site: str) -> Self:
        """Raises `StoreUnavailable` where there is no file yet, `WrongStore` for another site's or a newer one."""
        return cls(SqliteFile(path, LAYOUT, site, writer=False))

    @property
    def file(self) -> SqliteFile:
        """The file that it is kept in."""
        return self._file

    def trace(self, instrument: str, number: int) -> list[Traced]:
        """The samples of one fault in the order in which they came; empty where none is kept."""
        with self._file.reading() as connection:
            rows = connection.execute(
                "SELECT n, time_ms, outcome, told FROM sample WHERE instrument = ? AND number = ? ORDER BY n",
                (instrument, number),
            ).fetchall()
        return [self._sample(instrument, *row) for row in rows]

    def kept(self, instrument: str) -> dict[int, int]:
        """How many samples are kept of each fault of an instrument, by its number."""
        with self._file.reading() as connection:
            query = "SELECT number, COUNT(*) FROM sample WHERE instrument = ? GROUP BY number"
            return dict(connection.execute(query, (instrument,)).fetchall())

    def _sample(self, instrument: str, n: int, time_ms: int, outcome: str, told: str) -> Traced:
        try:
            values, raw, around = json.loads(told)
            registers = {name: tuple(words) for name, words in raw.items()}
            return Traced(Sample(instrument, time_ms, outcome, values, registers), around)
        except (ValueError, TypeError, AttributeError) as exc:
            where = f"{LAYOUT.what} {self._file.path}"
            raise StoreDamaged(f"{where}: row {n} cannot be read ({exc}); put a good copy in its place") from exc

    def close(self) -> None:
        """Let go of the file. Twice is harmless; any other call afterwards raises `StoreError`."""
        self._file.close()


class TraceStore(TraceReader):
    """The one writer. Opening makes the file where there is none and raises `StoreBusy` beside another writer."""

    @classmethod
    def open(cls, path: Path, site: str) -> Self:
        return cls(SqliteFile(path, LAYOUT, site, writer=True))

    def keep(self, begun: Collection[tuple[str, int]], rows: Sequence[tuple[int, Sample, Mapping[str, float]]]) -> None:
        """Add samples, each with the number of its fault and what stood around it, in one durable transaction.

        begun: faults (instrument, number) whose trace begins here: what an earlier life wrote of one that it did not
        live to tell is replaced.
        """
        told: list[tuple[Any, ...]] = []
        for number, sample, around in rows:
            text = json.dumps(
                [dict(sample.values), dict(sample.raw), dict(around)], separators=(",", ":"), allow_nan=False
            )
            told.append((sample.instrument, number, sample.time_ms, sample.outcome, text))
        with self._file.writing() as connection:
            connection.executemany("DELETE FROM sample WHERE instrument = ? AND number = ?", sorted(begun))
            connection.executemany(
                "INSERT INTO sample (instrument, number, time_ms, outcome, told) VALUES (?, ?, ?, ?, ?)", told
            )
