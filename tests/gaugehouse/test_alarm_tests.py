"""Tests of alarms through the core, by command and on the sheet; what is overdue until the record book has one."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Taken, act_of
from gaugehouse.alarmtestacts import proof_rows
from gaugehouse.cli import main
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.errors import CallError
from gaugehouse.site import load_site
from gaugehouse.sitefile.sheetlines import overdue_tests
from gaugehouse.stores import look_into_book, open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, loop_site, write_site

NAME = "palm.high_high"


def run(core: Core, second: float, current: float | None = None, *acts: tuple[str, dict[str, Any]]) -> StepResult:
    ms = round(second * 1000)
    samples = [] if current is None else [Sample("palm-top", ms, OK, {"current": current, "temperature": 15.0})]
    return core.step(Tick(Instant(core.at.seq + 1, ms, ms), samples, [act_of(name, fields) for name, fields in acts]))


def test_a_test_is_kept_with_its_seconds_and_the_seconds_to_the_first_message(tmp_path: Path) -> None:
    core = core_of(loop_site(tmp_path))
    begin = ("begin_alarm_test", {"alarm": NAME, "by": "Ann", "means": "wet", "comment": "float lifted"})
    results = [run(core, 0, 12.0), run(core, 1, None, begin), run(core, 4.5, 19.5)]
    assert results[1].answers[0].status is Taken.DONE
    decisions = [(d, r) for r in results for d in r.decisions if d.kind == "alarm_test"]
    assert [d.body["change"] for d, _ in decisions] == ["begun", "ended"]
    ended = decisions[1][0].body
    assert (ended["passed"], ended["raised_s"], ended["by"], ended["how"]) == (True, 3.5, "Ann", "measured")
    with open_stores(core.site) as stores:
        entries = [Entry(d.kind, 1000 * n, n, d.body) for n, (d, _) in enumerate(decisions)]
        told = {"channel": "duty", "alarms": [f"{NAME}#1-2"]}
        stores.book.commit([*entries, Entry("notified", 7_000, 9, told)], {})
    with look_into_book(core.site) as book:
        (row,) = proof_rows(book)
        assert proof_rows(book, "palm.low") == []
    assert (row["raised_s"], row["notified_s"], row["begun"]) == (3.5, 6.0, "1970-01-01T00:00:01.000Z")


def test_a_test_is_refused_where_it_could_prove_nothing(tmp_path: Path) -> None:
    core = core_of(loop_site(tmp_path))
    fields = {"alarm": NAME, "by": "Ann", "means": "simulated"}
    run(core, 0, 19.5)
    assert run(core, 1, None, ("begin_alarm_test", fields)).answers[0].status is Taken.REFUSED
    run(core, 2, 12.0)
    run(core, 8, 12.0)
    assert run(core, 9, None, ("begin_alarm_test", fields)).answers[0].status is Taken.DONE
    assert run(core, 10, None, ("begin_alarm_test", fields)).answers[0].status is Taken.ALREADY
    assert run(core, 11, None, ("end_alarm_test", fields)).answers[0].status is Taken.DONE
    assert run(core, 12, None, ("end_alarm_test", fields)).answers[0].status is Taken.ALREADY
    nobody = run(core, 13, None, ("begin_alarm_test", fields | {"alarm": "palm.hihg"}))
    assert nobody.answers[0].status is Taken.UNKNOWN


@pytest.mark.parametrize(
    ("name", "fields", "words"),
    [
        ("begin_alarm_test", {"means": "dry"}, "means is 'dry'"),
        ("begin_alarm_test", {"means": "wet", "limit_s": 7200}, "allowed is 1 to 3600"),
        ("tell_alarm_test", {"means": "wet"}, "give --took"),
        ("tell_alarm_test", {"means": "wet", "seconds": -1}, "write how long"),
    ],
)
def test_a_test_with_wrong_fields_is_a_wrong_call(name: str, fields: dict[str, Any], words: str) -> None:
    with pytest.raises(CallError, match=words):
        act_of(name, {"alarm": NAME, "by": "Ann"} | fields)


def test_a_test_told_by_command_shows_on_the_sheet_and_is_no_longer_overdue(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sheet.csv").write_text(
        "source,condition,test_every,last_test\npalm,high_high,365 d,2020-01-31\npalm,high,365 d,\n"
    )
    path = str(write_site(tmp_path, LOOP_SITE + '\n[alarms]\nsheet = "sheet.csv"\n'))
    site = load_site(Path(path))
    assert overdue_tests(site, date(2021, 1, 30)) == ["palm.high"]
    assert overdue_tests(site, date(2021, 1, 31)) == ["palm.high_high", "palm.high"]
    assert overdue_tests(site, date(2021, 1, 31), {"palm.high": "2020-06-01"}) == ["palm.high_high"]
    who = ["--by", "Ann", "--means", "wet"]
    assert main(["alarm", path, "tested", NAME, *who, "--took", "4.2 s", "--comment", "with the test lever"]) == 0
    assert main(["alarm", path, "tested", "palm.high", *who, "--failed"]) == 0
    assert main(["alarm", path, "tested", "palm.high", *who]) == 2
    capsys.readouterr()
    assert main(["alarms", path, "--tests", "--json"]) == 0
    first, second = json.loads(capsys.readouterr().out)
    assert (first["alarm"], first["passed"], first["raised_s"], first["how"]) == (NAME, True, 4.2, "by hand")
    assert (second["passed"], second["raised_s"]) == (False, None)
    assert main(["alarms", path, "--sheet", "--json"]) == 0
    lines = {line["condition"]: line for line in json.loads(capsys.readouterr().out)}
    assert lines["high_high"]["last_test"] == first["ended"][:10]
    assert lines["high"]["last_test"] == ""
    core = core_of(site)
    with look_into_book(site) as book:
        core.restore(book.state())
    assert set(core.tests.passed_ms()) == {NAME}
