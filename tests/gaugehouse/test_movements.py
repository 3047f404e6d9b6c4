"""Movements through the whole core, on the simulated farm with its physics of its own, into the record book and out.

Reference: what the farm's pumps really moved, and when they were told to.
"""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Act, act_of
from gaugehouse.cli import main
from gaugehouse.core import Core, Tick
from gaugehouse.movementrecords import COLUMNS, movement_rows
from gaugehouse.recording import Recorder, open_recording
from gaugehouse.replay import replay
from gaugehouse.site import Site, load_site
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import OK, TIMEOUT, Instant, Sample
from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.layout import Act as Move
from simulator.layout import Planned, Programme

START_MS = 1_700_000_000_000
POLL_S = 10


class Kept:
    """Some tanks of the demo and a core that is fed from them; a record book is written as the daemon writes it."""

    def __init__(self, folder: Path, seed: int, *tanks: str) -> None:
        self.site: Site = load_site(write_demo(folder, [1, 2], f"{POLL_S} s"))
        some = tuple(replace(tank, vibration_m=0.0) for tank in DEMO.tanks if tank.id in tanks)
        units = tuple(unit for unit in DEMO.units if unit.tank in tanks)
        self.farm = Farm(seed, START_MS, replace(DEMO, tanks=some, units=units, programme=Programme()))
        self.core: Core = core_of(self.site)
        self.second = self.seq = 0
        self.told: list[dict[str, Any]] = []
        self.samples: list[tuple[int, list[Sample]]] = []
        self.stores: Any = None
        self.silent: set[str] = set()

    def run(self, seconds: int) -> list[dict[str, Any]]:
        for _ in range(seconds // POLL_S):
            self.second += POLL_S
            ms = START_MS + 1000 * self.second
            self.farm.advance(ms)
            samples = []
            for name in self.farm.instruments:
                values = None if name in self.silent else self.farm.wire(name)
                samples.append(Sample(name, ms, TIMEOUT if values is None else OK, values or {}))
            self.step(samples)
        return self.told

    def step(self, samples: Sequence[Sample], acts: Sequence[Act] = ()) -> None:
        self.seq += 1
        ms = START_MS + 1000 * self.second
        if samples:
            self.samples.append((ms, list(samples)))
        result = self.core.step(Tick(Instant(self.seq, ms, 1000 * (self.second - POLL_S)), samples, acts))
        self.told += [dict(d.body) for d in result.decisions if d.kind == "movement"]
        if self.stores is not None and result.decisions:
            entries = [Entry(d.kind, ms, self.seq, d.body) for d in result.decisions]
            self.stores.book.commit(entries, self.core.changed_state())

    def plan(self, tank: str, kind: str, quantity_m3: float, rate_m3_per_h: float | None = None) -> None:
        rate = None if rate_m3_per_h is None else rate_m3_per_h / 3600
        fields = {"tank": tank, "by": "Ann", "kind": kind, "quantity_m3": quantity_m3, "rate_m3_per_s": rate}
        self.step([], [act_of("plan_movement", fields)])


def finals(told: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row for row in told if row["change"] == "final"]


def test_an_issue_is_found_with_its_time_and_volume_and_its_entries_point_at_each_other(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 31, "north")
    assert kept.run(3600) == []
    before = kept.farm.truth()["north"]
    kept.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=30))
    first, last = kept.run(3 * 3600)
    after = kept.farm.truth()["north"]
    assert [(one["change"], one["revision"], one["amends"]) for one in (first, last)] == [
        ("begun", 1, None), ("final", 2, 1),
    ]  # fmt: skip
    assert (first["kind"], first["end"], first["gov_m3"], first["gsv_m3"]) == ("issue", None, None, None)
    assert last["start_ms"] == pytest.approx(START_MS + 3_600_000, abs=2 * POLL_S * 1000)
    assert last["end_ms"] == pytest.approx(START_MS + 3_600_000 + 1_800_000, abs=2 * POLL_S * 1000)
    moved_m3 = after.standard_m3 - before.standard_m3
    assert last["gsv_m3"] == pytest.approx(moved_m3, abs=last["gsv_u95_m3"])
    assert last["gsv_u95_m3"] < 0.05 * 30
    assert last["mean_m3_per_h"] == pytest.approx(-60, rel=0.03)
    assert last["peak_m3_per_h"] == pytest.approx(-60, rel=0.15)
    assert (last["ordered"], last["pair"], last["faults"]) == ("", "", "")


def test_a_day_and_a_night_move_nothing(tmp_path: Path) -> None:
    """Layers, a lagged probe, a roof that the gauge hangs from, 1 mm registers: nothing of it is a movement."""
    assert Kept(tmp_path, 32, "north").run(86_400) == []


def test_a_transfer_pairs_two_tanks_of_one_product(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 33, "ridge", "palm")
    kept.run(3600)
    kept.farm.start(Planned(0, Move.TRANSFER, "ridge", 90, volume_m3=45, into="palm"))
    told = finals(kept.run(3 * 3600))
    newest = {row["tank"]: row for row in kept.told}
    assert {row["tank"] for row in told} == {"ridge", "palm"}
    assert (newest["ridge"]["kind"], newest["ridge"]["pair"]) == ("transfer_out", "palm:1")
    assert (newest["palm"]["kind"], newest["palm"]["pair"]) == ("transfer_in", "ridge:1")
    assert newest["ridge"]["tov_m3"] + newest["palm"]["tov_m3"] == pytest.approx(0, abs=0.5)


def test_a_transfer_whose_other_side_is_seen_late_amends_the_entry_of_the_first(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 33, "ridge", "palm")
    kept.run(3600)
    kept.silent.add(kept.site.tank("palm").instrument)
    kept.run(60)
    kept.farm.start(Planned(0, Move.TRANSFER, "ridge", 90, volume_m3=4, into="palm"))
    (issue,) = finals(kept.run(480))  # what left ridge is final before palm's gauge answers again
    assert (issue["tank"], issue["kind"], issue["pair"]) == ("ridge", "issue", "")
    kept.silent.clear()
    kept.run(3600)
    (amended,) = [row for row in kept.told if row["change"] == "amended"]
    assert (amended["number"], amended["kind"], amended["pair"]) == (issue["number"], "transfer_out", "palm:1")
    assert (amended["revision"], amended["amends"]) == (issue["revision"] + 1, issue["revision"])
    palm = [row for row in kept.told if row["tank"] == "palm"][-1]
    assert (palm["kind"], palm["pair"]) == ("transfer_in", "ridge:1")
    assert palm["blind_s"] == pytest.approx(540, abs=60)


def test_a_loop_fault_inside_a_movement_is_told_on_it(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 37, "palm")
    kept.run(3600)
    kept.farm.start(Planned(0, Move.RECEIVE, "palm", 60, volume_m3=30))
    kept.run(600)
    kept.silent.add(kept.site.tank("palm").instrument)
    kept.run(300)
    kept.silent.clear()
    (one,) = finals(kept.run(7200))
    assert one["faults"] == "no_answer"
    assert one["blind_s"] == pytest.approx(300, abs=60)
    assert one["tov_m3"] == pytest.approx(30, abs=0.5)


def test_what_was_ordered_is_joined(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 34, "north")
    kept.run(1800)
    kept.plan("north", "issue", 20.0)
    kept.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=20))
    (ordered,) = finals(kept.run(3 * 3600))
    assert (ordered["ordered"], ordered["differs"], ordered["ordered_m3"]) == ("yes", "", -20.0)
    assert ordered["more_m3"] == pytest.approx(0.0, abs=0.4)
    kept.told.clear()
    kept.plan("palm", "receipt", 5.0)
    kept.farm.start(Planned(0, Move.RECEIVE, "north", 60, volume_m3=10))
    other = finals(kept.run(3 * 3600))[0]
    assert (other["ordered"], other["differs"], other["ordered_m3"]) == ("no", "tank", None)


def test_a_movement_says_in_what_it_is_not_what_was_ordered(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 38, "north")
    kept.run(1800)
    kept.farm.start(Planned(0, Move.ISSUE, "north", 72, volume_m3=12))
    kept.run(300)
    kept.plan("north", "issue", 20.0, 48.0)  # late
    first = finals(kept.run(5400))[-1]
    assert first["differs"] == "quantity rate time"
    assert first["more_m3"] == pytest.approx(-8.0, abs=0.4)
    assert first["rate_ratio"] == pytest.approx(1.5, abs=0.06)
    assert first["early_s"] == pytest.approx(300, abs=30)
    kept.farm.start(Planned(0, Move.ISSUE, "north", 48, volume_m3=8))
    second = finals(kept.run(5400))[-1]
    assert (second["number"], second["differs"]) == (first["number"] + 1, "")  # the rest of the order
    assert second["more_m3"] == pytest.approx(0.0, abs=0.4)


def test_a_daemon_that_dies_in_a_movement_keeps_one_with_its_start(tmp_path: Path) -> None:
    kept = Kept(tmp_path, 35, "north")
    with open_stores(kept.site) as kept.stores:
        kept.run(1800)
        kept.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=40))
        kept.run(600)
        (begun,) = movement_rows(kept.stores.book)
    assert begun["end"] is None
    with open_stores(kept.site) as kept.stores:  # nothing but what the files hold
        kept.core = core_of(kept.site)
        kept.core.restore(kept.stores.book.state())
        kept.run(2 * 3600)
        (whole,) = movement_rows(kept.stores.book)
        assert kept.stores.book.verify().unbroken
    assert (whole["number"], whole["start"], whole["stage"]) == (begun["number"], begun["start"], "final")
    assert whole["tov_m3"] == pytest.approx(-40, abs=0.4)
    assert movement_rows_of(kept.site, None, START_MS + 1_700_000) == []


def movement_rows_of(site: Site, from_ms: int | None, to_ms: int | None) -> list[dict[str, Any]]:
    with open_stores(site) as stores:
        return movement_rows(stores.book, None, from_ms, to_ms)


def test_replay_and_the_command_tell_the_same_as_the_record_book(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = Kept(tmp_path, 36, "north")
    with open_stores(kept.site) as kept.stores:
        kept.run(1800)
        kept.farm.start(Planned(0, Move.RECEIVE, "north", 60, volume_m3=20))
        kept.run(5400)
        kept.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=90))
        kept.run(1800)  # it runs when the recording ends
    path = tmp_path / "samples.csv"
    out, new = open_recording(path, kept.site.signal_names)
    with out:
        recorder = Recorder(out, kept.site.signal_names, header=new)
        for ms, samples in kept.samples:
            recorder.write(samples, ms)
    replay(kept.site, path, tmp_path / "out", lambda text: None)
    lines = (tmp_path / "out" / "movements.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == ",".join(COLUMNS)
    receipt, issue = (dict(zip(COLUMNS, text.split(","), strict=True)) for text in lines[1:])
    assert (receipt["kind"], issue["kind"]) == ("receipt", "issue")
    assert receipt["end"] > receipt["start"]
    assert (issue["end"], issue["gov_m3"], issue["gsv_m3"], issue["level_end_m"]) == ("", "", "", "")
    assert float(issue["tov_m3"]) == pytest.approx(-30, abs=1.5)  # half an hour of 60 m3/h, so far
    assert main(["movements", str(kept.site.path), "--tank", "north", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["kind"] for row in rows] == ["receipt", "issue"]
    assert f"{rows[0]['gsv_m3']:.4f}" == receipt["gsv_m3"]
    assert rows[0]["start"] == receipt["start"]
    assert main(["movements", str(kept.site.path), "--to", "2020-01-01"]) == 0
    assert capsys.readouterr().out == "no movement in that time\n"
    assert main(["movements", str(kept.site.path), "--tank", "nowhere"]) == 2
