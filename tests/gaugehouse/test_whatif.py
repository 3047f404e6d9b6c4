"""The same past under other alarm sheets: from a recording through the core, and from kept readings alike."""

import json
import math
from pathlib import Path

import pytest

from alerts.spec import SIGNAL_CONDITIONS
from gaugehouse.cli import main
from gaugehouse.days import iso_ms
from gaugehouse.recording import read_samples
from gaugehouse.replay import ticks
from gaugehouse.site import load_site
from gaugehouse.stores import open_stores
from gaugehouse.whatif import NO_END_MS, kept, recorded
from gaugehouse.wiring import core_of
from tests.gaugehouse.sites import LOOP_SITE, write_site

START_MS = 1_769_846_400_000
RATES = '\nrise_fast = "60 mm/min"\nfall_fast = "2 m3/min"\n'


def recording(folder: Path) -> Path:
    """Half an hour at 1 Hz: the level swings between 8 m and 11.2 m, twice, with a short failure of the loop."""
    path = folder / "samples.csv"
    lines = ["time,instrument,outcome,current,temperature"]
    for second in range(1800):
        level_m = 9.6 + 1.6 * math.sin(2 * math.pi * second / 900)
        current = 3.5 if 400 <= second < 410 else 4 + 16 * level_m / 12
        lines.append(f"{iso_ms(START_MS + 1000 * second)},palm-top,ok,{current:.5f},15.0")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_other_sheets_stand_beside_the_site_s_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site, samples = str(write_site(tmp_path)), str(recording(tmp_path))
    (tmp_path / "higher.csv").write_text("source,condition,set_point,on_delay\npalm,high,11.5 m,0 s\n")
    (tmp_path / "lower.csv").write_text("source,condition,set_point,on_delay\npalm,high,10.9 m,5 s\n")
    sheets = ["--sheet", str(tmp_path / "higher.csv"), "--sheet", str(tmp_path / "lower.csv")]
    assert main(["whatif", site, *sheets, "--samples", samples, "--json"]) == 0
    rows = {(Path(row["sheet"]).name, row["alarm"]): row for row in json.loads(capsys.readouterr().out)}
    higher, lower = rows["higher.csv", "palm.high"], rows["lower.csv", "palm.high"]
    assert (higher["raised_own"], higher["raised"], len(higher["missed"])) == (2, 0, 2)
    assert (lower["raised_own"], lower["raised"], len(lower["missed"]), len(lower["new"])) == (2, 2, 0, 0)
    # 9.6 + 1.6 sin(2 pi t / 900) crosses 10.9 m and 11 m at these seconds, up to the poll of 1 s
    earlier = [900 / (2 * math.pi) * math.asin((at - 9.6) / 1.6) for at in (10.9, 11.0)]
    assert lower["later_s"] == pytest.approx(earlier[0] - earlier[1], abs=1.0)
    assert rows["lower.csv", "palm-top.signal_low"]["raised"] == 1
    assert main(["whatif", site, *sheets, "--samples", samples]) == 0
    said = capsys.readouterr().out
    assert "2 missed" in said
    assert f"missed: palm.high from {higher['missed'][0]['start']}" in said


def test_kept_readings_are_judged_as_the_daemon_judged_them(tmp_path: Path) -> None:
    site = load_site(write_site(tmp_path, LOOP_SITE + RATES))
    samples = recording(tmp_path)
    core = core_of(site)
    order = {"palm-top": 0}
    live = []
    with open_stores(site) as stores:
        for tick in ticks(read_samples(samples, site.signal_names), order, samples, print):
            result = core.step(tick)
            live += [t for t in result.transitions if t.condition not in SIGNAL_CONDITIONS]
            stores.readings.append(result.readings)
    again = list(kept(site, 0, NO_END_MS))
    assert {t.condition for t in live} >= {"high", "rise_fast", "fall_fast"}
    assert [(t.time_ms, t.id, t.event, t.state) for t in again] == [(t.time_ms, t.id, t.event, t.state) for t in live]
    whole = [t for t in recorded(site, samples) if t.condition not in SIGNAL_CONDITIONS]
    assert [(t.time_ms, t.id, t.event) for t in whole] == [(t.time_ms, t.id, t.event) for t in live]


def test_kept_readings_are_chosen_by_time_and_a_recording_is_taken_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_site(tmp_path)
    site, samples = load_site(path), recording(tmp_path)
    (tmp_path / "other.csv").write_text("source,condition,priority\npalm,high,1\n")
    core = core_of(site)
    with open_stores(site) as stores:
        for tick in ticks(read_samples(samples, site.signal_names), {"palm-top": 0}, samples, print):
            stores.readings.append(core.step(tick).readings)
    call = ["whatif", str(path), "--sheet", str(tmp_path / "other.csv"), "--json"]
    half = iso_ms(START_MS + 900_000)
    counts = []
    for span in ([], ["--from", half], ["--to", half]):
        assert main([*call, *span]) == 0
        rows = [row for row in json.loads(capsys.readouterr().out) if row["alarm"] == "palm.high"]
        counts.append(sum(row["raised"] for row in rows))
    assert counts == [2, 1, 1]
    assert main([*call, "--samples", str(samples), "--from", half]) == 2
    assert "a recording is taken whole" in capsys.readouterr().err


def test_replay_takes_another_sheet_in_place_of_the_site_s(tmp_path: Path) -> None:
    path, samples = write_site(tmp_path), recording(tmp_path)
    (tmp_path / "other.csv").write_text("source,condition,priority\npalm,high,1\n")
    for out, more in (("own", []), ("other", ["--sheet", str(tmp_path / "other.csv")])):
        assert main(["replay", str(path), str(samples), "--out", str(tmp_path / out), *more]) == 0
    own, other = ((tmp_path / out / "alarms.csv").read_text() for out in ("own", "other"))
    assert "palm,high,2,raised" in own
    # the fault of the loop hides that alarm while the tank issues, and takes its priority with it
    expected = own.replace("palm,high,2", "palm,high,1").replace("signal_low,2", "signal_low,1")
    assert other == expected
