"""One January for all tests of reports that only look."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gaugehouse.reports.catalogue import make
from gaugehouse.reports.model import Report
from gaugehouse.reports.periods import Asked
from gaugehouse.reports.sources import Sources, state_of
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.waterlook import past_core
from tests.gaugehouse.reportsites import january

NOW_MS = 1_706_788_800_000  # 2024-02-01T12:00Z

Made = Callable[..., Report]


@pytest.fixture(scope="session")
def site_path(tmp_path_factory: pytest.TempPathFactory) -> str:
    return january(tmp_path_factory.mktemp("january"), simulated=True)


@pytest.fixture(scope="session")
def made(site_path: str) -> Iterator[Made]:
    """A report of that January by its kind and what is asked of it, at a time of our own."""
    site = load_site(Path(site_path))
    with look_into_readings(site) as store, look_into_book(site) as book:
        core = past_core(site, book)

        def report(kind: str, *, now_ms: int = NOW_MS, by: str = "Ada", **asked: str) -> Report:
            sources = Sources(site, store, book, state_of(core, now_ms), now_ms, by)
            return make(kind, sources, Asked(**asked))

        yield report
