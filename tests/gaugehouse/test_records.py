"""The record book for people: what it holds, corrections that point at what they correct, settings that changed."""

import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.errors import CallError
from gaugehouse.journal import started, state_of_site
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, open_stores
from history.chain import Entry
from tests.gaugehouse.sites import LOOP_SITE, write_site


def entries_of(path: str, capsys: pytest.CaptureFixture[str], *more: str) -> list[dict[str, Any]]:
    capsys.readouterr()
    assert main(["records", path, "--json", *more]) == 0
    rows: list[dict[str, Any]] = json.loads(capsys.readouterr().out)
    return rows


def test_a_correction_is_a_new_entry_that_points_at_the_old_one_which_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(write_site(tmp_path))
    shelve = ["shelve", "palm.high", "--for", "1 h", "--by", "Ann", "--reason", "wrong tank"]
    assert main(["alarm", path, *shelve]) == 0
    (old,) = entries_of(path, capsys)
    assert main(["correct", path, "1", "--by", "Ann", "--text", "it was the tank beside it"]) == 0
    first, second = entries_of(path, capsys)
    assert (first["body"], first["hash"]) == (old["body"], old["hash"])
    assert first["corrected_by"] == [2]
    assert second["kind"] == "correction"
    assert (second["body"]["entry"], second["body"]["of"]) == (1, old["hash"])
    assert (second["body"]["kind"], second["body"]["by"]) == ("alarm", "Ann")
    assert main(["verify", path]) == 0
    assert main(["records", path]) == 0
    assert "it was the tank beside it" in capsys.readouterr().out
    assert [row["n"] for row in entries_of(path, capsys, "--kind", "correction")] == [2]
    assert [row["n"] for row in entries_of(path, capsys, "--newest", "1")] == [2]


def test_what_is_not_there_and_what_the_daemon_says_of_itself_is_not_corrected(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(write_site(tmp_path))
    site = load_site(Path(path))
    with open_stores(site) as stores:
        entries = [Entry(d.kind, 5, 0, d.body) for d in started(site, {}, "1", 5, simulated=False)]
        stores.book.commit(entries, state_of_site(site))
    count = len(entries)
    assert main(["correct", path, "1", "--by", "Ann", "--text", "x"]) == 2
    assert "the daemon's own" in capsys.readouterr().err
    assert main(["correct", path, str(count + 1), "--by", "Ann", "--text", "x"]) == 2
    assert f"its last one is {count}" in capsys.readouterr().err
    with pytest.raises(CallError, match="by its number"):
        act_of("correct", {"entry": 0, "by": "Ann", "text": "x", "of": "a", "kind": "alarm"})


def test_a_head_printed_earlier_still_vouches_for_what_came_before_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(write_site(tmp_path))
    act = ["alarm", path, "shelve", "palm.high", "--for", "1 h", "--by", "Ann", "--reason", "x"]
    assert main(act) == 0
    with look_into_book(load_site(Path(path))) as book:
        head = str(book.head())
    assert main(["alarm", path, "unshelve", "palm.high", "--by", "Ann"]) == 0
    assert main(["verify", path, "--against", head]) == 0
    other = head[:-1] + ("0" if head[-1] != "0" else "1")
    assert main(["verify", path, "--against", other]) == 1


def test_what_changed_in_site_file_and_alarm_sheet_is_kept_at_the_next_start(tmp_path: Path) -> None:
    sheet = '\n[alarms]\nsheet = "sheet.csv"\n'
    (tmp_path / "sheet.csv").write_text("source,condition,set_point,action\npalm,high,11 m,call Pat\n")
    first = load_site(write_site(tmp_path, LOOP_SITE + sheet))
    state = {key: value for key, value in state_of_site(first).items() if value is not None}
    assert not [d for d in started(first, state, "1", 5, simulated=False) if d.kind == "setting_changed"]
    (tmp_path / "sheet.csv").write_text("source,condition,set_point,action\npalm,high,10.5 m,call Kim\n")
    text = (LOOP_SITE + sheet).replace('low_low = "0.5 m"', 'low_low = "0.4 m"')
    second = load_site(write_site(tmp_path, text))
    changed = [str(d.body) for d in started(second, state, "1", 6, simulated=False) if d.kind == "setting_changed"]
    for words in ("11.0 -> 10.5", "0.5 -> 0.4", "call Pat -> call Kim"):
        assert any(words in line for line in changed), (words, changed)
