"""A receipt that fills another tank than was ordered, with a loop fault in the midst of it: record, alarm, page and
replay say the same of it, and nothing is bridged in silence.

Reference: what the farm's pump really moved, and how long the gauge was kept silent.
"""

import csv
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from console.movement_views import movement
from console.words import DIFFERS, MOVEMENT_FLAGS
from gaugehouse.movementrecords import movement_rows
from gaugehouse.recording import Recorder, open_recording
from gaugehouse.replay import replay
from gaugehouse.stores import look_into_book, open_stores
from simulator.layout import Act as Move
from simulator.layout import Planned
from tests.gaugehouse.test_movements import finals
from tests.gaugehouse.test_receipts import Receiving

SILENT_S = 300
UTC = ZoneInfo("Etc/UTC")


def test_a_receipt_into_another_tank_with_a_fault_inside_is_told_alike_everywhere(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 43, "ridge", "north")
    with open_stores(kept.site) as kept.stores:
        kept.run(3600)
        kept.plan("ridge", "receipt", 30.0, 60.0)
        kept.farm.start(Planned(0, Move.RECEIVE, "north", 60, volume_m3=30))
        kept.run(600)
        assert kept.alarm("north.wrong_tank")
        kept.silent.add(kept.site.tank("north").instrument)
        kept.run(SILENT_S)
        kept.silent.clear()
        kept.run(600)
        assert kept.alarm("ridge.no_rise")  # nothing has come where it was meant to
        told = finals(kept.run(6000))
    (one,) = told
    assert (one["tank"], one["kind"]) == ("north", "receipt")
    assert (one["ordered"], one["differs"]) == ("no", "tank")
    assert (one["faults"], one["blind_s"]) == ("no_answer", pytest.approx(SILENT_S, abs=60))
    assert one["tov_m3"] == pytest.approx(30, abs=0.5)

    with look_into_book(kept.site) as book:  # the record, as pages and command read it
        (row,) = movement_rows(book, {"north"})
        assert list(movement_rows(book, {"ridge"})) == []
    assert {name: row[name] for name in ("ordered", "differs", "faults", "blind_s")} == {
        name: one[name] for name in ("ordered", "differs", "faults", "blind_s")
    }
    shown = movement(row, row["end"], UTC)
    blind = MOVEMENT_FLAGS["blind"].format(seconds=f"{one['blind_s']:.0f}", faults="no answer")
    assert blind in shown["notes"]
    assert shown["notes"].startswith(DIFFERS["tank"])
    assert shown["ordered"]

    path = tmp_path / "samples.csv"
    out, new = open_recording(path, kept.site.signal_names)
    with out:
        recorder = Recorder(out, kept.site.signal_names, header=new)
        for ms, samples in kept.samples:
            recorder.write(samples, ms)
    replay(kept.site, path, tmp_path / "out", lambda text: None)
    with (tmp_path / "out" / "movements.csv").open(newline="", encoding="utf-8") as file:
        (again,) = list(csv.DictReader(file))
    assert (again["tank"], again["faults"], again["start"]) == ("north", "no_answer", one["start"])
    assert float(again["blind_s"]) == pytest.approx(one["blind_s"], abs=0.1)
    assert float(again["gsv_m3"]) == pytest.approx(one["gsv_m3"], abs=0.0001)
