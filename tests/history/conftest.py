"""The stores under the one contract, and empty files for the tests of a single kind."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from history.book import RecordBook
from history.memory import MemoryStore
from history.sqlite import SqliteStore
from history.store import Store
from models.reading import Reading


class Tidied(SqliteStore):
    """The store in a file whose writer does all that is due after every batch."""

    def append(self, readings: Sequence[Reading]) -> None:
        try:
            super().append(readings)
        finally:
            while self.tidy():
                pass


MAKERS: dict[str, Callable[[Path], Store]] = {
    "memory": lambda folder: MemoryStore(),
    "sqlite": lambda folder: SqliteStore.open(folder / "readings.sqlite", "FARM"),
    "sqlite, tidied": lambda folder: Tidied.open(folder / "readings.sqlite", "FARM"),
}


@pytest.fixture(params=sorted(MAKERS))
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Each store in turn, empty."""
    made = MAKERS[request.param](tmp_path)
    yield made
    made.close()


@pytest.fixture
def sqlite(tmp_path: Path) -> Iterator[SqliteStore]:
    made = SqliteStore.open(tmp_path / "readings.sqlite", "FARM")
    yield made
    made.close()


@pytest.fixture
def book(tmp_path: Path) -> Iterator[RecordBook]:
    made = RecordBook.open(tmp_path / "book.sqlite", "FARM")
    yield made
    made.close()
