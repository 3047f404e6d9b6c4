"""`gaugehouse loop damping`: from what was polled and kept, and from a recorder's CSV and WAV files."""

import json
import math

import numpy as np
import pytest
from scipy.io import wavfile

from gaugehouse.burst import read_burst
from gaugehouse.cli import main
from gaugehouse.core import Tick
from gaugehouse.errors import CallError
from gaugehouse.levelsignal import even_stretch
from gaugehouse.site import load_site
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Instant, Quality, Reading, Reason, Sample
from tests.gaugehouse.sites import write_site
from tests.models.test_spectrum import sines

START_MS = 1_800_000_000_000
MM_IN_MA = 16 / 12_000


@pytest.fixture
def site(tmp_path):
    return write_site(tmp_path)


def keep(path, levels_m):
    """Levels polled once a second through the core into the store; None is a poll without an answer."""
    site = load_site(path)
    core = core_of(site)
    readings = []
    for k, level_m in enumerate(levels_m):
        at = Instant(k + 1, START_MS + 1000 * k, 5000 + 1000 * k)
        values = {} if level_m is None else {"current": 4 + level_m / 12 * 16, "temperature": 20.0}
        outcome = TIMEOUT if level_m is None else OK
        readings += core.step(Tick(at, (Sample("palm-top", at.time_ms, outcome, values),))).readings
    with open_stores(site) as stores:
        stores.readings.append(readings)


def damping(site, *words):
    return main(["loop", "damping", str(site), "palm", *map(str, words)])


def told(capsys, site, *words):
    assert damping(site, *words, "--json") == 0
    return json.loads(capsys.readouterr().out)


def burst_file(folder, values_mm, header="current [mA]"):
    path = folder / "burst.csv"
    lines = [f"{12 + mm * MM_IN_MA:.6f}" for mm in values_mm]
    path.write_text("\n".join(["# simulated", *([header] if header else []), *lines]) + "\n", encoding="utf-8")
    return path


def test_vibration_polled_once_a_second_is_said_not_to_be_told_from_slosh(site, capsys):
    keep(site, 6 + sines(1800, 1, (24.7, 0.004), noise=0.001))
    found = told(capsys, site, "--suspect", "24.7 Hz")
    (line,) = found["lines"]
    assert line["frequency_Hz"] == pytest.approx(0.3, abs=0.01)
    assert line["kind"] == "cannot be told"
    assert "slosh cannot be told from vibration" in line["words"]
    assert found["highest_Hz"] == 0.5
    assert "cannot be told from slosh" in found["suspects"][0]
    assert any("independent recorder" in reason for reason in found["advice"]["reasons"])


def test_the_same_vibration_is_found_in_a_recorders_file_and_the_mains_called_pick_up(site, tmp_path, capsys):
    path = burst_file(tmp_path, sines(60, 200, (24.7, 3.0), (50, 2.0), noise=1.0))
    lines = told(capsys, site, "--file", path, "--rate", "200 Hz")["lines"]
    assert [line["kind"] for line in lines] == ["vibration", "electrical pick-up"]
    assert lines[0]["frequency_Hz"] == pytest.approx(24.7, abs=0.2)
    assert lines[0]["amplitude"] == pytest.approx(0.003, rel=0.1)


def test_the_text_tells_table_costs_and_advice(site, capsys):
    keep(site, 6 + sines(1200, 1, (0.3, 0.005), noise=0.001))
    assert damping(site, "--fill-rate", "1000 L/min") == 0
    out = capsys.readouterr().out
    assert "1200 levels polled every 1 s" in out
    assert "the highest frequency of a moving surface that can be seen this way is 0.5 Hz" in out
    # computed: 1000 L/min over 78.54 m2 for 10 s
    (row,) = [line.split() for line in out.splitlines() if line.split()[:1] == ["10"]]
    assert (float(row[2]), row[3]) == (pytest.approx(2.122, abs=0.001), "10")
    assert "advice: a first-order filter of" in out
    assert "licensed practice" in out


def test_a_level_at_rest_needs_no_damping(site, capsys):
    keep(site, 6 + sines(600, 1, noise=0.0003))
    found = told(capsys, site)
    assert (found["lines"], found["advice"]["time_constant_s"]) == ([], 0.0)


def test_lost_polls_are_filled_and_a_hole_ends_the_stretch(site, capsys):
    levels = list(6 + sines(1000, 1, (0.2, 0.004), noise=0.001))
    for k in (100, 101, 300):
        levels[k] = None
    levels[700:760] = [None] * 60
    keep(site, levels)
    found = told(capsys, site)
    assert found["signal"].startswith("700 levels polled every 1 s")
    assert found["signal"].endswith("3 lost")
    assert found["lines"][0]["frequency_Hz"] == pytest.approx(0.2, abs=0.005)


def test_the_time_can_be_chosen(site, capsys):
    keep(site, 6 + sines(1000, 1, noise=0.001))
    found = told(capsys, site, "--from", "2027-01-15T08:05:00Z", "--to", "2027-01-15T08:10:00Z")
    assert found["signal"].startswith("300 levels polled every 1 s from 2027-01-15T08:05:00.000Z")


@pytest.mark.parametrize(("words", "status", "said"), [
    (("--from", "2027-01-15T08:00:00Z", "--to", "2027-01-15T08:00:30Z"), 2, "a spectrum needs 64"),
    (("--rate", "200 Hz"), 2, "--rate is for a recorder's file"),
    (("--update", "fast"), 2, "--update: "),
    (("--fill-rate", "0 L/min"), 2, "must be above zero"),
    (("--suspect", "1482 rpm"), 2, "divide turns a minute by 60"),
    (("--file", "nowhere.csv"), 2, "there is no such file"),
])  # fmt: skip
def test_a_wrong_call_is_told_with_the_mend(site, capsys, words, status, said):
    keep(site, 6 + sines(100, 1, noise=0.001))
    assert damping(site, *words) == status
    assert said in capsys.readouterr().err


def test_an_unknown_tank_and_an_empty_store_are_told(site, capsys):
    assert main(["loop", "damping", str(site), "elm"]) == 2
    assert "no tank 'elm'; there are palm" in capsys.readouterr().err
    assert damping(site) == 3
    assert "run `gaugehouse run" in capsys.readouterr().err


def test_a_wav_file_is_read_by_its_full_scale(site, tmp_path, capsys):
    path = tmp_path / "burst.wav"
    mm = sines(30, 400, (24.7, 3.0), (50, 2.0), noise=0.5)
    wavfile.write(path, 400, np.round((12 + mm * MM_IN_MA) / 25 * 32768).astype(np.int16))
    lines = told(capsys, site, "--file", path, "--full-scale", "25 mA")["lines"]
    assert [(line["kind"], round(line["frequency_Hz"], 1)) for line in lines] == [
        ("vibration", 24.7), ("electrical pick-up", 50.0)]  # fmt: skip
    bare = told(capsys, site, "--file", path)
    assert (bare["advice"], bare["time_constants"]) == (None, [])
    assert len(bare["lines"]) == 2
    assert damping(site, "--file", path) == 0
    assert "give --unit or --full-scale" in capsys.readouterr().out


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32])
def test_every_kind_of_wav_sample_is_a_part_of_full_scale(tmp_path, kind):
    path = tmp_path / "burst.wav"
    part = 0.5 * np.sin(np.arange(1000) / 10)
    scaled = {np.uint8: 128 + 128 * part, np.int16: 32768 * part, np.int32: 2.0**31 * part, np.float32: part}[kind]
    stereo = np.stack([np.zeros_like(scaled), scaled], axis=1).astype(kind)
    wavfile.write(path, 200, stereo)
    burst = read_burst(path, None, None, 2)
    assert burst.rate_Hz == 200
    assert burst.values == pytest.approx(part, abs=0.01)
    with pytest.raises(CallError, match="no channel 3; it has 2"):
        read_burst(path, None, None, 3)


def test_volts_over_a_shunt_and_lengths_are_levels_too(site, tmp_path, capsys):
    mm = sines(30, 200, (24.7, 3.0), noise=0.5)
    path = tmp_path / "volts.csv"
    volts = (12 + mm * MM_IN_MA) / 1000 * 250
    path.write_text("time [s],loop [V]\n" + "".join(f"{k / 200:.3f},{v:.7f}\n" for k, v in enumerate(volts)))
    (line,) = told(capsys, site, "--file", path, "--shunt", "250 ohm")["lines"]
    assert line["amplitude"] == pytest.approx(0.003, rel=0.1)
    assert damping(site, "--file", path) == 2
    assert "give it with --shunt" in capsys.readouterr().err
    path.write_text("level [mm]\n" + "".join(f"{6000 + v:.3f}\n" for v in mm))
    (line,) = told(capsys, site, "--file", path, "--rate", "200 Hz")["lines"]
    assert line["amplitude"] == pytest.approx(0.003, rel=0.1)


def uneven(at):
    times = [k / 100 for k in range(200)]
    times[at:] = [t + 0.5 for t in times[at:]]
    return "".join(f"{t:.2f},1.0\n" for t in times)


@pytest.mark.parametrize(("text", "options", "said"), [
    ("", {}, "the file is empty"),
    ("1.0\n2.0\n", {}, "give its rate with --rate"),
    ("current [mA]\n12.0\ntwelve\n", {"rate_Hz": 10}, 'row 3, "twelve": a number is missing'),
    ("time [s],a,b\n0,1,2\n1,1,2\n", {}, "it has 2 columns of values; name one with --column"),
    ("time [s],a,b\n0,1,2\n1,1,2\n", {"column": "c"}, "no column 'c'; there are 'a', 'b'"),
    ("time [h],a\n0,1\n1,1\n", {}, "times in [h] are not understood"),
    ("time [s],a\n1,1\n0,1\n", {}, "its times do not rise"),
    ("time [s],a\n0,1\n", {}, "one sample is no burst"),
    (uneven(120), {}, "after sample 120 the step in time is 0.51 s"),
    ("time [s],a\n0,1\n0.01,1\n0.02,1\n", {"rate_Hz": 50}, "its own times say 100 Hz and --rate says 50 Hz"),
    ("a\n1\n", {"rate_Hz": 50, "channel": 2}, "--channel is for WAV files"),
])  # fmt: skip
def test_a_wrong_file_is_told_with_the_place(tmp_path, text, options, said):
    path = tmp_path / "burst.csv"
    path.write_text(text, encoding="utf-8")
    arguments = {"rate_Hz": None, "column": None, "channel": None} | options
    with pytest.raises(CallError) as caught:
        read_burst(path, **arguments)
    assert said in str(caught.value)
    assert str(path) in str(caught.value) or "--channel" in str(caught.value)


def test_a_file_that_is_no_wav_is_told(tmp_path):
    path = tmp_path / "burst.wav"
    path.write_bytes(b"no sound at all, and too long to be one by chance")
    with pytest.raises(CallError, match="no WAV file of plain samples"):
        read_burst(path, None, None, None)


def test_times_in_ms_and_a_header_with_spaces(tmp_path):
    path = tmp_path / "burst.csv"
    path.write_text("time [ms],loop current [mA],b\n" + "".join(f"{5 * k},{k},0\n" for k in range(10)))
    burst = read_burst(path, None, "loop current", None)
    assert (burst.rate_Hz, burst.unit, burst.values[3]) == (200, "mA", 3)


def test_a_level_that_is_only_a_bound_is_no_level_to_look_into(site, capsys):
    keep(site, [*(6 + sines(100, 1, noise=0.001)), *[12.2] * 300])
    assert told(capsys, site)["signal"].startswith("100 levels polled")


def test_a_clock_that_steps_back_ends_a_stretch():
    def level(time_ms):
        return Reading(0, time_ms, "palm", Quality.GOOD, Reason.NONE, level_m=6.0)

    stretch = even_stretch([level(1000 * k) for k in range(50)] + [level(20_000 + 1000 * k) for k in range(80)])
    assert (len(stretch[0]), stretch[1], stretch[2], stretch[3]) == (80, 1000.0, 20_000, 0)
    assert not math.isnan(sum(stretch[0]))
