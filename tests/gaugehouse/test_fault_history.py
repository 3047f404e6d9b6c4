"""The fault history from the sample to the record book and back: rows, traces, people's entries, restarts.

The timelines are the house's own; the bands are those of NAMUR NE 43 (2003).
"""

import asyncio
import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acting import perform
from gaugehouse.cli import main
from gaugehouse.core import Core, Tick
from gaugehouse.errors import CallError
from gaugehouse.faultacts import FaultEntry, fault_entry_of
from gaugehouse.faultrecords import FAULT, fault_rows
from gaugehouse.replay import replay
from gaugehouse.rows import FAULT_COLUMNS
from gaugehouse.site import Site
from gaugehouse.stores import look_into_traces, open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import OK, Instant, Sample
from tests.gaugehouse.farms import PATIENCE_S, running
from tests.gaugehouse.sites import loop_site
from tests.gaugehouse.test_replay import currents, run

START_MS = 1_769_846_400_000  # 2026-01-31T08:00:00Z


def play(site: Site, core: Core, stores: Any, start: int, values: Sequence[float | None]) -> None:
    """What the daemon does with each tick: traces first, then the decisions with the state that goes with them."""
    for second, value in enumerate(values, start):
        told = {} if value is None else {"current": value, "temperature": 20.0}
        one = Sample("palm-top", START_MS + second * 1000, OK if told else "timeout", told)
        at = Instant(stores.book.last_seq() + second + 1, START_MS + second * 1000, core.at.elapsed_ms + 1000)
        result = core.step(Tick(at, [one]))
        stores.traces.keep(*core.loops.traces.take())
        if result.decisions:
            entries = [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
            stores.book.commit(entries, core.changed_state())


def test_a_fault_that_begins_before_a_restart_and_ends_after_it_is_one_entry(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    with open_stores(site) as stores:
        core = core_of(site)
        play(site, core, stores, 0, [12.0] * 60 + [3.5, 3.4, 3.5, 3.5, 3.5, 3.5])
        stores.book.save_state(core.slow_state())
    with open_stores(site) as stores:  # nothing but what the files hold
        core = core_of(site)
        core.restore(stores.book.state())
        play(site, core, stores, 600, [3.2, 3.5] + [12.5] * 8)
        (row,) = fault_rows(stores.book)
        numbers = stores.traces.kept("palm-top")
        kept = [traced.sample for traced in stores.traces.trace("palm-top", 1)]
    assert (row["number"], row["class"], row["status"]) == (1, "fail_low", "F")
    assert (row["start"], row["end"]) == ("2026-01-31T08:01:00.000Z", "2026-01-31T08:10:02.000Z")
    assert (row["entry_mA"], row["min_mA"], row["max_mA"], row["before_mA"]) == (3.5, 3.2, 3.5, 12.0)
    assert (row["level_m"], row["movement"]) == (6.0, "still")
    assert row["blinded"] == [f"palm.{c}" for c in ("critical_high", "high_high", "high", "low", "low_low")]
    assert row["blinded_s"] == 542.0
    assert (row["flag"], row["found_by"], row["repeats_30d"]) == ("not closed", "gaugehouse", 1)
    assert numbers == {1: len(kept)}
    seconds = [(sample.time_ms - START_MS) // 1000 for sample in kept]
    assert seconds == [*range(66), *range(600, 610)]  # on the core's clock, which rested meanwhile
    assert kept[61].values == {"current": 3.4, "temperature": 20.0}


def test_a_fault_not_yet_declared_at_the_restart_keeps_its_start(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    with open_stores(site) as stores:
        core = core_of(site)
        play(site, core, stores, 0, [12.0] * 30 + [3.5, 3.3])
        stores.book.save_state(core.slow_state())
    with open_stores(site) as stores:
        core = core_of(site)
        core.restore(stores.book.state())
        play(site, core, stores, 40, [3.5] * 5)
        (row,) = fault_rows(stores.book)
    assert (row["start"], row["min_mA"], row["end"]) == ("2026-01-31T08:00:30.000Z", 3.3, None)
    assert row["flag"] == "goes on"


def test_repeats_count_the_same_class_of_the_same_loop(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    with open_stores(site) as stores:
        core = core_of(site)
        day = 86_400
        for start in (0, 40 * day, 50 * day, 51 * day):
            play(site, core, stores, start, [12.0] * 5 + [3.5] * 6 + [12.0] * 6)
        play(site, core, stores, 52 * day, [12.0] * 5 + [21.5] * 6 + [12.0] * 6)
        rows = fault_rows(stores.book)
    assert [(row["class"], row["repeats_30d"], row["repeats_90d"]) for row in rows] == [
        ("fail_low", 1, 1), ("fail_low", 1, 2), ("fail_low", 2, 3), ("fail_low", 3, 4), ("fail_high", 1, 1),
    ]  # fmt: skip


def test_replay_tells_the_circumstances_to_the_right_of_the_fixed_columns(tmp_path: Path) -> None:
    rows = currents([12.0 + k / 1000 for k in range(100)])
    out = run(tmp_path, rows + currents([3.4] * 10, start=100) + currents([12.1] * 6, start=110))
    (fault,) = out["faults"]
    assert list(fault) == list(FAULT_COLUMNS)
    assert list(fault)[:6] == ["instrument", "start", "end", "class", "min_mA", "max_mA"]
    assert (fault["status"], fault["number"], fault["entry_mA"], fault["before_mA"]) == ("F", "1", "3.4000", "12.0990")
    assert fault["level_m"] == "6.07425"  # computed: 8.099 / 16 x 12 m
    assert fault["movement"] == "filling"  # 0.75 mm/s
    assert fault["noise_before_m"] == "0.00000"  # a straight slope has no noise
    assert fault["blinded"].split() == [f"palm.{c}" for c in ("critical_high", "high_high", "high", "low", "low_low")]
    assert fault["blinded_s"] == "10.000"


def two_faults(folder: Path) -> Site:
    site = loop_site(folder)
    with open_stores(site) as stores:
        core = core_of(site)
        play(site, core, stores, 0, [12.0] * 60 + [3.5] * 6 + [12.0] * 30 + [21.5] * 10)
        stores.book.save_state(core.slow_state())
    return site


def say(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_a_person_s_entry_is_kept_in_the_record_book_and_corrected_by_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(two_faults(tmp_path).path)
    entry = ("fault-entry", path, "palm-top:1", "--by", "Ana")
    status, out, _ = say(capsys, *entry, "--action", "terminal tightened", "--dip-before", "6004 mm", "--close")
    assert (status, out.split(" at ")[0]) == (0, "palm-top:1: entry 1 by Ana")
    status, out, _ = say(capsys, "faults", path, "--json")
    first, second = json.loads(out)
    assert (first["flag"], first["closed_by"], first["dip_before_m"]) == ("closed without cause", "Ana", 6.004)
    assert (second["flag"], second["end"]) == ("goes on", None)
    status, _, _ = say(capsys, *entry, "--cause", "loose terminal", "--close", "--corrects", "1", "--json")
    assert status == 0
    first = json.loads(say(capsys, "faults", path, "--json")[1])[0]
    assert (first["flag"], first["cause"], first["action"], first["dip_before_m"]) == ("", "loose terminal", "", None)
    assert [(e["entry"], e["by"], e["corrects"]) for e in first["entries"]] == [(1, "Ana", None), (2, "Ana", 1)]
    assert first["entries"][0]["action"] == "terminal tightened"
    status, out, _ = say(capsys, *entry, "--close")
    assert (status, out) == (0, "fault 1 of palm-top: was closed by Ana\n")
    assert say(capsys, "verify", path)[0] == 0


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (("palm-top:9", "--cause", "x"), 2, "palm-top has no fault 9"),
        (("palm-top:0", "--cause", "x"), 2, "names no fault"),
        (("7", "--cause", "x"), 2, "write INSTRUMENT:NUMBER"),
        (("cedar:1", "--cause", "x"), 2, "there are palm-top"),
        (("palm-top:1",), 2, "the entry says nothing"),
        (("palm-top:1", "--cause", "x", "--corrects", "4"), 2, "there is no entry 4 to be corrected; entries: none"),
        (("palm-top:2", "--cause", "x", "--close"), 3, "it still goes on; close it when it has ended"),
        (("palm-top:1", "--dip-before", "6 litres"), 2, "--dip-before: "),
        (("palm-top:1", "--dip-after", "25 m"), 3, "above the reference height of the tank (13.5 m)"),
        (("palm-top:1", "--cause", "x" * 501), 2, "cause: 501 characters; at most 500"),
    ],
)
def test_an_entry_that_cannot_be_is_refused_with_the_mend(
    words: tuple[str, ...], status: int, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(two_faults(tmp_path).path)
    found, _, err = say(capsys, "fault-entry", path, words[0], "--by", "Ana", *words[1:])
    assert found == status
    assert told in err
    assert not json.loads(say(capsys, "faults", path, "--json")[1])[0]["entries"]


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"number": "1", "by": "Ana", "cause": "x"}, "number is '1'; it is a whole number from 1 on"),
        ({"number": 1, "cause": "x"}, "by is missing"),
        ({"number": 1, "by": "Ana", "cuase": "x"}, "an entry on a fault has no cuase"),
        ({"number": 1, "by": "Ana", "dip_after_m": -1}, "dip_after_m is -1; it is an innage in m from 0 to 100"),
        ({"number": 1, "by": "Ana", "dip_after_m": float("nan")}, "dip_after_m is nan"),
    ],
)
def test_fields_that_are_wrong_are_told(fields: dict[str, Any], told: str) -> None:
    with pytest.raises(CallError, match=told):
        fault_entry_of({"instrument": "palm-top", **fields})


def test_an_instrument_that_there_is_not_is_unknown(tmp_path: Path) -> None:
    core = core_of(loop_site(tmp_path))
    act = fault_entry_of({"instrument": "cedar", "number": 1, "by": "Ana", "cause": "x"})
    assert isinstance(act, FaultEntry)
    assert act.apply(core, core.at).answer.status == "unknown"


def test_a_trace_is_told_as_a_recording_that_replay_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = two_faults(tmp_path)
    status, out, _ = say(capsys, "faults", str(site.path), "--trace", "palm-top:1")
    assert status == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert list(rows[0]) == ["time", "instrument", "outcome", "current", "temperature"]
    assert len(rows) == 60 + 6 + 30 + 10  # it was short: the two minutes after its start are not over yet
    again = tmp_path / "trace.csv"
    again.write_text(out, encoding="utf-8")
    replay(site, again, tmp_path / "out", lambda text: None)
    with (tmp_path / "out" / "faults.csv").open(newline="") as file:
        assert next(csv.DictReader(file))["start"] == "2026-01-31T08:01:00.000Z"
    status, _, err = say(capsys, "faults", str(site.path), "--trace", "palm-top:7")
    assert (status, "no trace of fault palm-top:7 is kept" in err) == (2, True)


def test_the_list_and_the_figures_are_told_for_people(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(two_faults(tmp_path).path)
    status, out, _ = say(capsys, "faults", path)
    assert status == 0
    assert [line.split()[0] for line in out.splitlines()] == ["instrument", "palm-top", "palm-top"]
    assert "not closed" in out
    assert "goes on" in out
    status, out, _ = say(capsys, "faults", path, "--figures", "--json")
    assert status == 0
    assert {row["instrument"] for row in json.loads(out)} == {"palm-top"}
    assert [row["days"] for row in json.loads(out)] == [30, 90]


def test_what_a_book_of_an_older_version_lacks_is_empty(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    old = {
        "change": "ended", "instrument": "palm-top", "number": 1, "class": "fail_low", "start_ms": START_MS,
        "end_ms": START_MS + 9000, "min_mA": 3.4, "max_mA": 3.5, "status": "F",
    }  # fmt: skip
    with open_stores(site) as stores:
        stores.book.commit([Entry(FAULT, START_MS, 1, old)], {})
        (row,) = fault_rows(stores.book)
        core = core_of(site)
        core.restore(stores.book.state())
    assert (row["level_m"], row["movement"], row["blinded"], row["blinded_s"]) == (None, "", [], 0.0)


async def test_the_daemon_tells_trace_figures_and_takes_an_entry(tmp_path: Path) -> None:
    async with running(tmp_path, speed=20) as run:
        await run.until(lambda live: [x["age_s"] for x in live["loops"] if x["instrument"] == "ridge_gauge"] != [None])
        run.farm.inject("ridge_gauge", "gap_low")
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: any(loop["fault"] == "gap_low" for loop in live["loops"]))

        async def faults() -> tuple[list[dict[str, Any]], int]:
            """Those in question, and how many there are: a busy machine may leave requests without an answer too."""
            rows = await facts.faults("ridge_gauge", 0, 2**60)
            return [row for row in rows if row["class"] == "gap_low"], len(rows)

        async with asyncio.timeout(PATIENCE_S):
            while not (await faults())[0]:  # decided is not yet written
                await asyncio.sleep(0.05)
        number = (await faults())[0][0]["number"]
        fault = {"instrument": "ridge_gauge", "number": number, "by": "Ana", "close": True}
        refused = await facts.act("fault_entry", fault)
        assert (refused.status, "still goes on" in refused.text) == ("refused", True)
        run.farm.clear("ridge_gauge")
        await run.until(
            lambda live: not any(loop["fault"] for loop in live["loops"] if loop["instrument"] == "ridge_gauge")
        )
        answer = await asyncio.to_thread(perform, run.site, "fault_entry", fault | {"cause": "supply"})
        assert (answer.status, answer.body["entry"]) == ("done", 1)
        (row,), count = await faults()
        assert (row["class"], row["status"], row["cause"], row["flag"]) == ("gap_low", "S", "supply", "")
        trace = await facts.fault_trace("ridge_gauge", number)
        assert row["start"] in [sample["time"] for sample in trace]
        assert trace[0]["time"] < row["start"]
        assert all(sample["raw"] for sample in trace if sample["outcome"] == "ok")
        figures = await facts.loop_figures("ridge_gauge")
        assert [(f["days"], f["faults"]) for f in figures] == [(30, count), (90, count)]
        assert 0 < figures[0]["lost_h"] < figures[0]["watched_h"]
    with look_into_traces(run.site) as traces:
        assert len(traces.trace("ridge_gauge", number)) >= len(trace)
