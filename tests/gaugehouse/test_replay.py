"""`replay`: scenarios as recordings, judged by the rows that come out.

Source of the current limits: NAMUR NE 43 (2003), secondary texts. What follows from them is the project's own rule.
"""

import csv
from pathlib import Path

import pytest

from gaugehouse.errors import CallError
from gaugehouse.replay import replay
from tests.gaugehouse.sites import loop_site

START = 1_769_846_400  # 2026-01-31T08:00:00Z


def at(second: float) -> str:
    minutes, rest = divmod(second, 60)
    return f"2026-01-31T08:{int(minutes):02d}:{rest:06.3f}Z"


def recording(folder: Path, rows: list[str], header: str = "time,instrument,outcome,current,temperature") -> Path:
    path = folder / "samples.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def currents(values: list[float | None], start: float = 0, temperature: str = "25.0") -> list[str]:
    rows = []
    for second, value in enumerate(values):
        cells = "timeout,," if value is None else f"ok,{value},{temperature}"
        rows.append(f"{at(start + second)},palm-top,{cells}")
    return rows


def run(tmp_path: Path, rows: list[str], **site: object) -> dict[str, list[dict[str, str]]]:
    said: list[str] = []
    out = tmp_path / "out"
    replay(loop_site(tmp_path, **site), recording(tmp_path, rows), out, said.append)
    result: dict[str, list[dict[str, str]]] = {}
    for name in ("readings", "alarms", "faults", "movements"):
        with (out / f"{name}.csv").open(newline="") as file:
            result[name] = list(csv.DictReader(file))
    result["said"] = [{"text": text} for text in said]
    return result


def test_a_still_tank_gives_good_readings_with_every_figure(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0] * 12))
    last = out["readings"][-1]
    assert last["quality"] == last["stock_quality"] == "Good"
    assert last["reason"] == last["bound"] == ""
    assert last["time"] == "2026-01-31T08:00:11.000Z"
    assert (last["current_mA"], last["level_m"], last["temperature_degC"]) == ("12.0000", "6.00000", "25.000")
    assert float(last["tov_m3"]) == pytest.approx(471.2389, abs=5e-5)  # computed: pi/4 * 10^2 * 6
    assert float(last["gov_m3"]) == float(last["tov_m3"])
    # computed: jet at 800 kg/m3 expands 9.29e-4 per degC near 15 degC (1980 metric jet group)
    assert float(last["gsv_m3"]) == pytest.approx(471.2389 * (1 - 9.29e-4 * 10), rel=1e-4)
    assert float(last["mass_kg"]) == pytest.approx(float(last["gsv_m3"]) * 800, abs=0.1)
    assert last["rate_m3_per_h"] == "0.000"
    assert last["ullage_m"] == "7.50000"
    assert out["readings"][8]["rate_m3_per_h"] == ""
    assert not out["alarms"]
    assert not out["faults"]
    assert not out["movements"]


def test_a_failed_signal_is_bad_at_once_and_a_fault_after_four_seconds(tmp_path: Path) -> None:
    values = [12.0] * 5 + [3.5] * 8 + [12.0] * 12
    out = run(tmp_path, currents(values))
    readings = out["readings"]
    assert [r["quality"] for r in readings[5:13]] == ["Bad"] * 8
    assert {r["reason"] for r in readings[5:13]} == {"BadSensorFailure"}
    bad = readings[6]
    assert bad["current_mA"] == "3.5000"
    assert [bad[k] for k in ("level_m", "tov_m3", "gsv_m3", "mass_kg", "volume_percent", "ullage_m")] == [""] * 6
    assert [r["quality"] for r in readings[13:18]] == ["Uncertain"] * 4 + ["Good"]
    assert readings[13]["reason"] == "UncertainSubNormal"
    raised = out["alarms"][0]
    assert (raised["time"], raised["source"], raised["condition"]) == (
        "2026-01-31T08:00:09.000Z", "palm-top", "signal_low",
    )  # fmt: skip
    assert (raised["event"], raised["state"], raised["priority"]) == ("raised", "unacknowledged", "2")
    (fault,) = out["faults"]
    assert fault["class"] == "fail_low"
    assert (fault["start"], fault["end"]) == ("2026-01-31T08:00:05.000Z", "2026-01-31T08:00:13.000Z")
    assert (fault["min_mA"], fault["max_mA"]) == ("3.5000", "3.5000")


def test_a_spike_of_one_sample_is_bad_but_no_fault(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0, 12.0, 21.5, 12.0, 12.0, 12.0, 12.0, 12.0]))
    assert [r["quality"] for r in out["readings"]][:4] == ["Good", "Good", "Bad", "Uncertain"]
    assert not out["faults"]
    assert not out["alarms"]


def test_a_lost_signal_never_clears_a_high_level(tmp_path: Path) -> None:
    above = 4 + 16 * 11.2 / 12
    out = run(tmp_path, currents([above] * 10 + [3.5] * 20 + [12.0] * 3))
    events = [(a["condition"], a["event"]) for a in out["alarms"]]
    assert events[0] == ("high", "raised")
    assert ("high", "returned") not in events


def test_above_20_5_mA_the_high_side_is_still_judged_and_the_volume_is_a_bound(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0] * 3 + [20.7] * 8))
    reading = out["readings"][5]
    assert (reading["quality"], reading["reason"], reading["bound"]) == ("Bad", "BadOutOfRange", "ge")
    assert reading["level_m"] == "12.00000"
    assert reading["gsv_m3"] == ""
    raised = {a["condition"] for a in out["alarms"] if a["event"] == "raised"}
    assert {"critical_high", "high_high", "high", "out_of_range"} <= raised


def test_from_21_mA_on_only_the_signal_fault_is_raised(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0] * 3 + [21.5] * 8))
    assert {a["condition"] for a in out["alarms"]} == {"signal_high"}


def test_high_waits_for_its_delay_and_returns_below_its_deadband(tmp_path: Path) -> None:
    def mA(level: float) -> float:
        return 4 + 16 * level / 12

    values = [mA(10.9)] * 3 + [mA(11.05)] * 10 + [mA(10.995)] * 10 + [mA(10.9)] * 10
    out = run(tmp_path, currents(values))
    assert [(a["time"][17:23], a["event"]) for a in out["alarms"]] == [("08.000", "raised"), ("28.000", "returned")]


def test_three_polls_without_an_answer_are_a_fault_from_the_first(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0, None, None, 12.0, None, None, None, None]))
    assert [r["reason"] for r in out["readings"]] == [
        "", "BadNoCommunication", "BadNoCommunication", "", *["BadNoCommunication"] * 4,
    ]  # fmt: skip
    (fault,) = out["faults"]
    assert (fault["class"], fault["start"], fault["end"]) == ("no_answer", "2026-01-31T08:00:04.000Z", "")


def test_a_temperature_that_is_too_old_takes_standard_volume_away(tmp_path: Path) -> None:
    rows = currents([12.0])
    rows += [f"2026-01-31T08:{9 + k}:00Z,palm-top,ok,12.0," for k in range(1, 5)]
    out = run(tmp_path, rows)
    assert [r["temperature_degC"] for r in out["readings"]] == ["25.000", "25.000", "", "", ""]
    assert out["readings"][1]["gsv_m3"] != ""
    assert (out["readings"][2]["gsv_m3"], out["readings"][2]["stock_quality"]) == ("", "Bad")
    assert out["readings"][2]["tov_m3"] != ""


def test_a_rising_level_has_a_rate(tmp_path: Path) -> None:
    out = run(tmp_path, currents([12.0 + k * 0.001 for k in range(70)]))
    per_s = 0.001 / 16 * 12 * 78.5398163  # m3/s, computed
    assert float(out["readings"][-1]["rate_m3_per_h"]) == pytest.approx(per_s * 3600, abs=2e-3)
    assert float(out["readings"][-1]["rate_sd_m3_per_h"]) == pytest.approx(0, abs=2e-3)


def test_the_same_recording_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    rows = currents([12.0] * 20 + [3.5] * 10 + [20.7] * 10 + [None] * 5 + [18.9] * 20)
    first = run(tmp_path, rows)
    bytes_before = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}
    second = run(tmp_path, rows)
    assert first == second
    assert bytes_before == {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}
    assert sorted(bytes_before) == ["alarms.csv", "faults.csv", "movements.csv", "readings.csv"]


def test_a_clock_step_back_keeps_the_order_and_is_named(tmp_path: Path) -> None:
    rows = currents([12.0] * 5, start=60) + currents([12.0] * 5, start=0)
    out = run(tmp_path, rows)
    assert [r["time"][14:19] for r in out["readings"]][4:6] == ["01:04", "00:00"]
    assert "steps back by 64 s" in out["said"][0]["text"]
    assert "row 7" in out["said"][0]["text"]


@pytest.mark.parametrize(
    ("header", "row", "words"),
    [
        ("time,instrument,current", "2026-01-31T08:00:00Z,elm-top,12", "row 2: unknown instrument 'elm-top'"),
        ("time,instrument,pressure", "2026-01-31T08:00:00Z,palm-top,12", "row 1: unknown column 'pressure'"),
        ("time,instrument,current", "2026-01-31T08:00:00,palm-top,12", "has no offset"),
        ("time,instrument,current", "yesterday,palm-top,12", "row 2, column time"),
        (
            "time,instrument,current",
            "2026-01-31T08:00:00Z,palm-top,12 mA",
            "row 2, column current: '12 mA' is no number",
        ),
        ("time,instrument,outcome,current", "2026-01-31T08:00:00Z,palm-top,lost,", "column outcome: 'lost'"),
        ("instrument,current", "palm-top,12", "no column 'time'"),
        ("time,instrument,current,current", "2026-01-31T08:00:00Z,palm-top,12,12", "stands there twice"),
        ("time,instrument,current", "2026-01-31T08:00:00Z,palm-top,12,13", "row 2: 4 cells under 3 columns"),
    ],
)
def test_a_recording_that_is_wrong_names_the_row(tmp_path: Path, header: str, row: str, words: str) -> None:
    with pytest.raises(CallError, match=words.replace("(", r"\(")):
        replay(loop_site(tmp_path), recording(tmp_path, [row], header), tmp_path / "out")


def test_a_time_that_falls_by_more_than_an_hour_is_refused(tmp_path: Path) -> None:
    rows = ["2026-01-31T10:00:00Z,palm-top,ok,12,20", "2026-01-31T08:59:59Z,palm-top,ok,12,20"]
    with pytest.raises(CallError, match="row 3: time falls by 3601 s"):
        replay(loop_site(tmp_path), recording(tmp_path, rows), tmp_path / "out")


def test_a_wrong_recording_leaves_the_results_of_the_last_run_alone(tmp_path: Path) -> None:
    run(tmp_path, currents([12.0] * 3))
    before = (tmp_path / "out" / "readings.csv").read_bytes()
    with pytest.raises(CallError):
        replay(loop_site(tmp_path), recording(tmp_path, [*currents([12.0]), "x,palm-top,ok,1,1"]), tmp_path / "out")
    assert (tmp_path / "out" / "readings.csv").read_bytes() == before


def test_rows_at_one_time_form_one_tick(tmp_path: Path) -> None:
    rows = [f"{at(0)},palm-top,ok,,25.0", f"{at(0)},palm-top,ok,12.0,"]
    out = run(tmp_path, rows)
    assert [r["temperature_degC"] for r in out["readings"]] == ["25.000", "25.000"]
