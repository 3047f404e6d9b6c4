"""`gaugehouse history` looks after what is kept: copies out and in, sizes, soundness, figures by a corrected table."""

import csv
import io
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.site import Site
from gaugehouse.stores import READINGS, look_into_readings, open_stores
from history.sqlite import SqliteStore
from models.reading import READING_COLUMNS, Bound, Quality, Reading, Reason
from tests.gaugehouse.sites import LOOP_SITE, loop_site, write_site
from tests.gaugehouse.test_dips import Kept
from tests.gaugehouse.test_history_command import filled, history
from tests.history.samples import NOON_MS, bad, reading, run

Capture = pytest.CaptureFixture[str]
DAY_MS = 86_400_000


def mixed() -> list[Reading]:
    """Three days at one a minute, with failed, doubtful and bounded readings, over midnight."""
    out = run(3 * 1440, step_ms=60_000, tank="palm")
    out[10:20] = [bad(one.seq, one.time_ms, "palm") for one in out[10:20]]
    out[20] = out[20]._replace(quality=Quality.UNCERTAIN, reason=Reason.SUB_NORMAL, stock_quality=Quality.UNCERTAIN)
    out[21] = out[21]._replace(bound=Bound.AT_LEAST, gsv_m3=None, mass_kg=None)
    return out


def everything(site: Site) -> list[Reading]:
    with look_into_readings(site) as store:
        return list(store.read("palm", 0, 2 * NOON_MS))


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_what_goes_out_comes_back_in_to_the_last_digit(tmp_path: Path, capsys: Capture, suffix: str) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    old, new = filled(tmp_path / "old", mixed()), loop_site(tmp_path / "new")
    file = tmp_path / f"copy.{suffix}"
    assert history("export", old, "--out", str(file)) == 0
    assert "4320 readings" in capsys.readouterr().out
    assert history("import", new, str(file)) == 0
    assert "4320 readings imported" in capsys.readouterr().out
    assert [one._replace(seq=0) for one in everything(new)] == [one._replace(seq=0) for one in everything(old)]
    assert history("import", new, str(file)) == 0
    assert "0 readings imported, 4320 were there before" in capsys.readouterr().out, "once more changes nothing"
    assert history("verify", new) == 0
    capsys.readouterr()
    assert history("export", new, "--out", str(tmp_path / f"again.{suffix}")) == 0
    if suffix == "csv":
        assert (tmp_path / "again.csv").read_bytes() == file.read_bytes()
    assert history("export", old, "--out", str(file)) == 2
    assert "is there already" in capsys.readouterr().err


def test_a_range_is_cut_to_the_millisecond_and_looks_like_readings_csv(tmp_path: Path, capsys: Capture) -> None:
    site, file = filled(tmp_path), tmp_path / "part.csv"
    stretch = ("--from", "2026-01-01T12:00:02Z", "--to", "2026-01-01T12:00:05Z")
    assert history("export", site, "--out", str(file), "--tank", "palm", *stretch, "--json") == 0
    assert json.loads(capsys.readouterr().out)["readings"] == 3
    rows = list(csv.DictReader(io.StringIO(file.read_text())))
    assert tuple(rows[0]) == READING_COLUMNS
    assert [row["time"] for row in rows] == [f"2026-01-01T12:00:0{second}.000Z" for second in (2, 3, 4)]
    assert (rows[0]["level_m"], rows[0]["mass_kg"], rows[0]["quality"]) == ("5.00300", "313387.9", "Good")


def test_an_import_that_was_cut_off_goes_on_where_it_stopped(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    old, new, file = filled(tmp_path / "old", mixed()), loop_site(tmp_path / "new"), tmp_path / "copy.csv"
    assert history("export", old, "--out", str(file)) == 0
    kept = SqliteStore.append_columns
    calls = []

    def interrupted(self: SqliteStore, tank: str, columns: object) -> int:
        calls.append(len(columns))  # type: ignore[arg-type]  # columns have a length
        if len(calls) == 2:
            raise KeyboardInterrupt
        return kept(self, tank, columns)  # type: ignore[arg-type]  # as above

    monkeypatch.setattr("gaugehouse.historycopy.AT_ONCE", 700)
    monkeypatch.setattr(SqliteStore, "append_columns", interrupted)
    assert history("import", new, str(file)) == 130
    monkeypatch.undo()
    before = len(everything(new))
    assert 0 < before < 4320
    assert history("import", new, str(file)) == 0
    assert f"{4320 - before} readings imported, {before} were there before" in capsys.readouterr().out
    assert [one._replace(seq=0) for one in everything(new)] == [one._replace(seq=0) for one in everything(old)]


HEAD = ",".join(READING_COLUMNS)
GOOD_ROW = "2026-01-01T12:00:00.000Z,palm,Good,,12.0000,6.00000,15.000,,471.2,471.2,470.9,375000.0,50,50,7.5,,Good,,,"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no column time, tank"),
        (HEAD.replace("level_m", "level") + "\n", "no column level_m; unknown column 'level'"),
        (HEAD + ",tank\n", "column tank twice"),
        (f"{HEAD}\n{GOOD_ROW},\n", "row 2: 21 cells under 20 columns"),
        (f"{HEAD}\n{GOOD_ROW.replace('palm', 'elm')}\n", "row 2: column tank: no tank 'elm'; the site file has palm"),
        (
            f"{HEAD}\n{GOOD_ROW.replace('Good,,12', 'Fine,,12')}\n",
            "column quality: 'Fine'; allowed: Good, Uncertain, Bad",
        ),
        (f"{HEAD}\n{GOOD_ROW.replace('.000Z', '')}\n", "column time: time '2026-01-01T12:00:00' has no offset"),
        (f"{HEAD}\n{GOOD_ROW.replace('12.0000', '12,0')}\n", "21 cells under 20 columns"),
        (f"{HEAD}\n{GOOD_ROW.replace('12.0000', 'twelve')}\n", "column current_mA: 'twelve' is no number"),
        (f"{HEAD}\n{GOOD_ROW.replace('12.0000', 'nan')}\n", "column current_mA: nan is not a finite number"),
        (f"{HEAD}\n{GOOD_ROW.replace('6.00000', '')}\n", "level_m is empty although the reading is not Bad"),
        (f"{HEAD}\n{GOOD_ROW.replace('Good,,12', 'Good,BadDeviceFailure,12')}\n", "a Good reading has no reason"),
        (f"{HEAD}\n{GOOD_ROW.replace('Good,,12', 'Bad,,12')}\n", "a reading that is Bad has a reason"),
        (f"{HEAD}\n{GOOD_ROW}\n{GOOD_ROW.replace('12:00', '10:00')}\n", "row 3: time of tank palm falls to"),
        (f"{HEAD}\n" + "".join(f"x{GOOD_ROW}\n" for _ in range(30)), "and 10 mistakes more"),
    ],
)
def test_every_mistake_in_a_file_is_named_and_nothing_is_imported(
    tmp_path: Path, capsys: Capture, text: str, words: str
) -> None:
    site, file = loop_site(tmp_path), tmp_path / "wrong.csv"
    file.write_text(text)
    assert history("import", site, str(file)) in (1, 2)
    assert words in capsys.readouterr().err
    with open_stores(site) as stores:
        assert stores.readings.latest("palm") is None


def test_what_cannot_be_a_file_of_readings_is_refused(tmp_path: Path, capsys: Capture) -> None:
    site = filled(tmp_path, run(10, tank="palm"))
    (tmp_path / "x.parquet").write_bytes(b"PAR0 nonsense")
    (tmp_path / "x.csv").write_bytes(HEAD.encode() + b"\n\xff\xfe\n")
    for argv, status, words in (
        (("import", "x.txt"), 2, "name it *.csv or *.parquet"),
        (("import", "x.parquet"), 2, "is no Parquet file"),
        (("import", "x.csv"), 2, "is no UTF-8 text"),
        (("import", "none.csv"), 3, "cannot be read"),
        (("export", "--out", "x.json"), 2, "name it"),
        (("export", "--out", "no/folder/x.csv"), 3, "cannot be written"),
    ):
        what, *rest = argv
        assert history(what, site, *rest[:-1], str(tmp_path / rest[-1])) == status, argv
        assert words in capsys.readouterr().err


def test_older_readings_are_not_put_behind_newer_ones(tmp_path: Path, capsys: Capture) -> None:
    site, file = filled(tmp_path, run(10, tank="palm", start_ms=NOON_MS + DAY_MS)), tmp_path / "old.csv"
    file.write_text(f"{HEAD}\n{GOOD_ROW}\n")
    assert history("import", site, str(file)) == 1
    assert "tank palm has readings up to 2026-01-02T12:00:09.000Z already" in capsys.readouterr().err


def test_a_running_daemon_is_not_written_behind(tmp_path: Path, capsys: Capture) -> None:
    site, file = filled(tmp_path, run(10, tank="palm")), tmp_path / "x.csv"
    file.write_text(f"{HEAD}\n{GOOD_ROW}\n")
    with open_stores(site):
        assert history("import", site, str(file)) == 3
        assert "process" in capsys.readouterr().err
        assert history("seal", site) == 3
        assert history("verify", site) == 0, "looking is allowed beside it"


def test_size_tells_bytes_by_kind_and_what_a_retention_would_free(tmp_path: Path, capsys: Capture) -> None:
    site = filled(tmp_path, mixed())
    assert history("seal", site) == 0
    capsys.readouterr()
    assert history("size", site, "--keep", "1 day", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    (tank,) = told["tanks"]
    assert (tank["sealed"], tank["thinned"], tank["not sealed"]) == (4320, 0, 0)
    assert 0 < tank["frees [B]"] < tank["readings [B]"]
    assert told["file_bytes"] == (site.store_path / READINGS).stat().st_size
    with closing(sqlite3.connect(site.store_path / READINGS)) as connection:
        (parts,) = connection.execute("SELECT sum(length(data)) FROM part").fetchone()
    assert told["sealed_bytes"] == parts == sum(tank[f"{kind} [B]"] for kind in ("readings", "minutes", "hours"))
    assert history("size", site) == 0
    assert "kept for good" in capsys.readouterr().out
    for wrong in ("1e12 d", "400", "-1 d", "1 h", "400 m3"):
        assert history("size", site, f"--keep={wrong}") == 2
        assert "--keep:" in capsys.readouterr().err


FIRST = "block = (SELECT id FROM block WHERE first_seq = 1)"
BREAKS = {
    "a byte of a column": (
        "UPDATE part SET data = CAST(substr(data, 1, 20) || x'00' || substr(data, 22) AS BLOB) "
        f"WHERE name = 'fine_m' AND {FIRST}",
        "fine_m does not match its checksum",
    ),
    "a column that is gone": (f"DELETE FROM part WHERE name = 'gsv_m3' AND {FIRST}", "gsv_m3 is missing"),
    "a roll-up of another block": (
        "UPDATE part SET data = (SELECT data FROM part JOIN block ON block = block.id WHERE name = 'h:level_m' "
        f"AND first_seq = 721) WHERE name = 'h:level_m' AND {FIRST}",
        "a roll-up cannot be read: it is of another length",
    ),
    "a roll-up of another figure": (
        "UPDATE part SET data = (SELECT data FROM part JOIN block ON block = block.id WHERE name = 'h:tov_m3' "
        f"AND first_seq = 1) WHERE name = 'h:level_m' AND {FIRST}",
        "h:level_m does not add up to its readings",
    ),
    "a head that is not its block's": ("UPDATE block SET readings = readings + 1 WHERE first_seq = 1", "not 721"),
}


@pytest.mark.parametrize("how", BREAKS)
def test_verify_names_what_is_not_as_it_was_written(tmp_path: Path, capsys: Capture, how: str) -> None:
    site = filled(tmp_path, mixed())
    assert history("seal", site) == 0
    assert history("verify", site) == 0
    capsys.readouterr()
    statement, words = BREAKS[how]
    with closing(sqlite3.connect(site.store_path / READINGS)) as connection, connection:
        assert connection.execute(statement).rowcount == 1
    assert history("verify", site) == 1
    said = capsys.readouterr().out
    assert "tank palm, block " in said
    assert "(seq 1 to 720," in said
    assert words in said
    assert history("verify", site, "--json") == 1
    assert len(json.loads(capsys.readouterr().out)["faults"]) == 1, "and nothing else"


def test_a_minute_that_is_not_sealed_yet_is_compared_with_its_rows(tmp_path: Path, capsys: Capture) -> None:
    site = filled(tmp_path, run(600, tank="palm"))
    with closing(sqlite3.connect(site.store_path / READINGS)) as connection, connection:
        connection.execute("UPDATE minute SET level_m_total = level_m_total + 1 WHERE first_seq = 61")
    assert history("verify", site) == 1
    assert "the minute of seq 61 to 120 does not add up" in capsys.readouterr().out


def test_a_corrected_table_is_applied_to_history_and_both_figures_are_told(tmp_path: Path, capsys: Capture) -> None:
    site, file = filled(tmp_path, mixed()), tmp_path / "both.csv"
    assert history("seal", site) == 0
    assert history("recompute", site, "--out", str(tmp_path / "same.csv")) == 0
    corrected = write_site(tmp_path, LOOP_SITE.replace("10 m", "10.1 m"))
    capsys.readouterr()
    assert main(["history", "recompute", str(corrected), "--out", str(file), "--tank", "palm"]) == 0
    assert "4320 readings, 4310 of them with another figure" in capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(file.read_text())))
    first, failed = rows[0], rows[10]
    assert len({row["model_kept"] for row in rows}) == len({row["model_now"] for row in rows}) == 1
    assert first["model_kept"] != first["model_now"]
    assert float(first["tov_m3_now"]) == pytest.approx(float(first["level_m"]) * 10.1**2 * 3.14159265 / 4, abs=1e-3)
    assert float(first["tov_m3_kept"]) == pytest.approx(reading(1, 0).tov_m3 or 0, abs=1e-4)
    assert (failed["tov_m3_kept"], failed["tov_m3_now"]) == ("", "")
    kept = everything(site)
    assert main(["history", "recompute", str(corrected), "--out", str(file)]) == 2
    assert everything(site) == kept, "nothing that is kept has changed"


def recomputed(site: Path, out: Path, capsys: Capture) -> tuple[int, list[dict[str, str]]]:
    """How many readings have another figure, and the rows."""
    assert main(["history", "recompute", str(site), "--out", str(out), "--json"]) == 0
    return json.loads(capsys.readouterr().out)["changed"], list(csv.DictReader(io.StringIO(out.read_text())))


def test_a_density_sample_counts_for_what_was_read_after_it(tmp_path: Path, capsys: Capture) -> None:
    kept = Kept(tmp_path, LOOP_SITE)
    with open_stores(kept.site) as kept.stores:
        kept.still(6.0, 60)
        number = kept.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0).body["number"]
        kept.still(6.0, 30)
    changed, rows = recomputed(kept.site.path, tmp_path / "same.csv", capsys)
    assert (changed, len({row["mass_kg_now"] for row in rows if row["mass_kg_now"]})) == (0, 2)
    wider = write_site(tmp_path, LOOP_SITE.replace('"10 m"', '"10.1 m"'))
    changed, rows = recomputed(wider, tmp_path / "wider.csv", capsys)
    assert changed == 90
    ratios = {round(float(row["mass_kg_now"]) / float(row["mass_kg_kept"]), 5) for row in rows if row["mass_kg_now"]}
    assert ratios == {round(1.01**2, 5)}, "the table alone has changed"
    with open_stores(kept.site) as kept.stores:
        kept.act("withdraw_dip", kind="sample", number=number, why="wrong tank")
    write_site(tmp_path, LOOP_SITE)
    changed, _ = recomputed(kept.site.path, tmp_path / "without.csv", capsys)
    assert changed == 30, "a sample that was withdrawn counts no more"


def test_a_level_off_the_table_in_force_has_no_volume_and_one_that_came_onto_it_has(
    tmp_path: Path, capsys: Capture
) -> None:
    (tmp_path / "low").mkdir()
    short = LOOP_SITE.replace('height = "13 m"', 'height = "11.85 m"').replace("11.8 m", "11.7 m")
    for folder, then, now in ((tmp_path, LOOP_SITE, short), (tmp_path / "low", short, LOOP_SITE)):
        kept = Kept(folder, then)
        with open_stores(kept.site) as kept.stores:
            kept.still(11.84, 5)
            kept.still(11.95, 5)
        changed, rows = recomputed(write_site(folder, now), folder / "out.csv", capsys)
        assert changed == 10
        on, off = rows[0], rows[-1]
        assert on["tov_m3_now"] == on["tov_m3_kept"]
        missing, there = ("now", "kept") if now == short else ("kept", "now")
        assert [off[f"{name}_{missing}"] for name in ("tov_m3", "gsv_m3", "mass_kg", "volume_percent")] == [""] * 4
        assert float(off[f"tov_m3_{there}"]) == pytest.approx(11.95 * 78.5398163, abs=1e-3)
