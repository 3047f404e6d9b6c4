"""The stores under the one contract, and empty files for the tests of a single kind."""

import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from history.book import RecordBook
from history.memory import MemoryStore
from history.sqlite import SqliteStore
from history.store import Store
from models.reading import Reading
from tests.history.served import Forgetful, OnInflux, OnVictoria
from tests.tsdb import Server, influx, victoria_metrics


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

SERVED: dict[str, tuple[str, Callable[[Path, str, str], Store]]] = {
    "influx": ("influx_server", OnInflux.begin),
    "both": ("influx_server", Forgetful.both),
    "victoria": ("victoria_server", OnVictoria.begin),
}
"""Those that need a real server: the fixture that starts it, and how a store on it is made."""

_BY_THE_MS = "VictoriaMetrics keeps times to the millisecond, and of two readings at the same millisecond shows one"
CANNOT: dict[tuple[str, str], str] = {
    ("victoria", "test_a_clock_that_steps_back_an_hour_loses_and_doubles_nothing"): _BY_THE_MS,
    ("victoria", "test_tanks_are_kept_apart"): _BY_THE_MS,
}
"""What a store cannot keep of the contract, by test, and why: each is run, and must fail."""


@pytest.fixture(scope="session")
def influx_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with influx(tmp_path_factory.mktemp("influx") / "data") as server:
        yield server


@pytest.fixture(scope="session")
def victoria_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with victoria_metrics(tmp_path_factory.mktemp("victoria") / "data") as server:
        yield server


@pytest.fixture(params=[*sorted(MAKERS), *(pytest.param(name, marks=pytest.mark.service) for name in sorted(SERVED))])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Each store in turn, empty: on a server, by a site of its own."""
    name = request.param
    if name in MAKERS:
        made = MAKERS[name](tmp_path)
    else:
        why = CANNOT.get((name, request.node.originalname))
        if why is not None:
            request.applymarker(pytest.mark.xfail(reason=why, strict=True))
        fixture, make = SERVED[name]
        made = make(tmp_path, request.getfixturevalue(fixture).url, f"site-{uuid.uuid4().hex}")
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
