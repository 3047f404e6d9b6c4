"""kill -9 in the middle of a fault, twice: it stays one entry with its start, and its trace goes on."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.faultrecords import fault_rows
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, look_into_traces
from tests.fault.lives import lived

LOOP = "ridge_gauge"
SPEED = "20"


def life(folder: Path, enough: Callable[[list[dict[str, Any]]], bool], *broken: str) -> None:
    """Run the daemon until what it tells of this fault of the loop is enough, and kill it in that instant.

    On a busy machine the loop may be silent for a while too: that is another fault.
    """
    with lived(folder, SPEED, *broken) as client:
        end = time.monotonic() + 60
        while not enough([row for row in client.get("api/faults", params={"instrument": LOOP}).json() if ours(row)]):
            assert time.monotonic() < end, "nothing came of it"
            time.sleep(0.05)


def ours(row: dict[str, Any]) -> bool:
    return bool(row["class"] == "fail_low")


def kept(folder: Path) -> tuple[dict[str, Any], int]:
    site = load_site(folder / "site.toml")
    with look_into_book(site) as book, look_into_traces(site) as traces:
        assert book.verify().unbroken
        (row,) = [row for row in fault_rows(book, [LOOP]) if ours(row)]
        return row, len(traces.trace(LOOP, row["number"]))


@pytest.mark.timeout(300)
def test_a_fault_that_outlives_two_kills_is_one_entry_and_its_trace_goes_on(tmp_path: Path) -> None:
    life(tmp_path, bool, LOOP, "fail_low")
    first, samples = kept(tmp_path)
    assert first["end"] is None
    assert samples > 0, "the trace is written before the entry that tells of the fault"
    life(tmp_path, lambda _: kept(tmp_path)[1] > samples + 3, LOOP, "fail_low")  # what is heard later is written too
    second, _ = kept(tmp_path)
    assert (second["number"], second["start"], second["end"]) == (first["number"], first["start"], None)
    life(tmp_path, lambda rows: bool(rows) and rows[0]["end"] is not None)  # mended: the same entry ends
    last, _ = kept(tmp_path)
    # Each life's clock starts at the machine's and runs ahead of it: what came later may bear an earlier time.
    assert last["end"] is not None
    assert last["start"] == first["start"]
    assert last["min_mA"] == pytest.approx(3.5, abs=0.1)
    assert {name: last[name] for name in ("number", "entry_mA", "blinded", "movement")} == {
        name: first[name] for name in ("number", "entry_mA", "blinded", "movement")
    }
