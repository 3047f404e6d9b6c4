"""The file of fault traces: what is kept is there to the last digit, for whoever reads beside the writer."""

from pathlib import Path

import pytest

from history.errors import StoreBusy, StoreUnavailable, WrongStore
from history.traces import TraceReader, TraceStore
from models.reading import Sample

AROUND = {"supply": 24.1, "heater": 0.0}


def one(second: int, value: float | None = 0.1 + 0.2) -> Sample:
    return Sample("li-1", second * 1000, "ok", {"current": value, "level": 3.25}, {"current": (16640, 0x1234)})


def test_samples_come_back_as_they_were(tmp_path: Path) -> None:
    store = TraceStore.open(tmp_path / "t", "north")
    silent = Sample("li-1", 2000, "timeout", {}, {})
    store.keep([("li-1", 1)], [(1, one(1), AROUND), (1, silent, {}), (2, one(3, None), {})])
    store.keep([], [(1, one(4), {})])
    reader = TraceReader.open(tmp_path / "t", "north")
    assert reader.trace("li-1", 1) == [(one(1), AROUND), (silent, {}), (one(4), {})]
    assert reader.trace("li-1", 2) == [(one(3, None), {})]
    assert reader.trace("li-2", 1) == []
    assert reader.kept("li-1") == {1: 3, 2: 1}
    reader.close()
    store.close()


def test_a_trace_that_begins_again_replaces_what_an_earlier_life_left(tmp_path: Path) -> None:
    store = TraceStore.open(tmp_path / "t", "north")
    store.keep([("li-1", 7)], [(7, one(1), {}), (7, one(2), {})])
    store.keep([("li-1", 7)], [(7, one(9), {})])
    assert store.trace("li-1", 7) == [(one(9), {})]
    store.close()


def test_nothing_of_a_refused_batch_is_kept(tmp_path: Path) -> None:
    store = TraceStore.open(tmp_path / "t", "north")
    store.keep([("li-1", 1)], [(1, one(1), {})])
    with pytest.raises(ValueError, match="Out of range float"):
        store.keep([("li-1", 1)], [(1, one(2), {}), (1, one(3, float("nan")), {})])
    assert store.trace("li-1", 1) == [(one(1), {})]
    store.close()


def test_one_writer_one_site_and_no_reader_without_a_file(tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable):
        TraceReader.open(tmp_path / "t", "north")
    store = TraceStore.open(tmp_path / "t", "north")
    with pytest.raises(StoreBusy):
        TraceStore.open(tmp_path / "t", "north")
    store.close()
    with pytest.raises(WrongStore):
        TraceStore.open(tmp_path / "t", "south")
