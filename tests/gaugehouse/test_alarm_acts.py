"""Acts on alarms through the core and by command: what is kept of them, and what a restart makes of it."""

import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Taken, act_of
from gaugehouse.cli import main
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.errors import CallError
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from gaugehouse.wiring import core_of
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import loop_site, write_site

FULL = 19.5  # mA: 11.625 m, above high-high


def run(core: Core, second: float, current: float | None = None, *acts: tuple[str, dict[str, Any]]) -> StepResult:
    ms = round(second * 1000)
    values = {"current": current, "temperature": 15.0}
    samples = [] if current is None else [Sample("palm-top", ms, OK, values)]
    return core.step(Tick(Instant(core.at.seq + 1, ms, ms), samples, [act_of(name, fields) for name, fields in acts]))


def test_an_act_is_kept_as_alarm_entries_and_answered_with_what_changed(tmp_path: Path) -> None:
    core = core_of(loop_site(tmp_path))
    run(core, 0, FULL)
    shelve = {"alarm": "palm.high_high", "by": " Ann ", "reason": "being cleaned", "span_s": 60}
    result = run(core, 1, None, ("shelve", shelve))
    (answer,) = result.answers
    assert (answer.status, answer.body["until"]) == (Taken.DONE, "1970-01-01T00:01:01.000Z")
    assert answer.body["changed"] == [{"id": "palm.high_high", "state": "shelved", "occurrence": 1}]
    (entry,) = result.decisions
    assert (entry.kind, entry.body["event"], entry.body["by"]) == ("alarm", "shelved", "Ann")
    assert entry.body["comment"] == "being cleaned"
    assert [(t.id, t.event.value) for t in run(core, 61, FULL).transitions] == [("palm.high_high", "shelf_expired")]


@pytest.mark.parametrize(
    ("name", "fields", "status", "why"),
    [
        ("reset_latch", {"alarm": "palm.high", "by": "Ann"}, Taken.REFUSED, "nothing is latched"),
        ("unshelve", {"alarm": "palm.high", "by": "Ann"}, Taken.ALREADY, "it is not shelved"),
        ("acknowledge", {"alarm": "palm.low", "by": "Ann"}, Taken.REFUSED, "nothing to acknowledge"),
        ("shelve", {"alarm": "palm.high", "by": "Ann", "reason": "x", "span_s": 90_000}, Taken.REFUSED, "8 h at most"),
        ("return_to_service", {"alarms": ["palm.high", "palm.low"], "by": "Ann"}, Taken.ALREADY, "it is in service"),
    ],
)
def test_an_act_that_the_lifecycle_ignores_is_answered_and_kept(
    tmp_path: Path, name: str, fields: dict[str, Any], status: Taken, why: str
) -> None:
    core = core_of(loop_site(tmp_path))
    result = run(core, 0, None, (name, fields))
    (answer,) = result.answers
    assert answer.status is status
    assert why in answer.text
    (entry,) = result.decisions
    assert (entry.kind, entry.body["act"], entry.body["by"]) == ("alarm_act_ignored", name, "Ann")
    assert why in str(entry.body["why"])
    assert result.transitions == []


@pytest.mark.parametrize(
    ("name", "fields", "words"),
    [
        ("shelve", {"alarm": "palm.high", "by": "Ann", "reason": "x"}, "a time above 0 s"),
        ("shelve", {"alarm": "palm.high", "by": "Ann", "reason": "x", "span_s": -7200.0}, "a time above 0 s"),
        ("shelve", {"alarm": "palm.high", "by": "Ann", "span_s": 60}, "reason is missing"),
        ("shelve", {"alarm": "palm.high", "reason": "x", "span_s": 60}, "say who does it"),
        ("shelve", {"alarm": "palm.high", "by": "Ann", "reason": "x", "span_s": True}, "a time above 0 s"),
        ("remove_from_service", {"alarms": [], "by": "Ann", "reason": "x"}, "name at least one alarm"),
        ("remove_from_service", {"alarms": ["a.b"] * 201, "by": "Ann", "reason": "x"}, "200 at most"),
        ("return_to_service", {"alarms": "palm.high", "by": "Ann"}, "alarms is missing"),
    ],
)
def test_an_act_with_a_field_missing_is_a_wrong_call(name: str, fields: dict[str, Any], words: str) -> None:
    with pytest.raises(CallError, match=words):
        act_of(name, fields)


def test_commands_shelve_and_take_out_of_service_with_no_daemon_and_the_next_start_knows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(write_site(tmp_path))
    who = ["--by", "Ann", "--reason", "being cleaned"]
    assert main(["alarm", path, "shelve", "palm.high", "--for", "2 h", *who]) == 0
    assert "palm.high: shelved until" in capsys.readouterr().out
    assert main(["alarm", path, "shelve", "palm.high", "--for", "2 h", *who]) == 0
    assert "nothing to do" in capsys.readouterr().out
    assert main(["alarm", path, "remove", "palm.low", "palm-top.frozen", *who, "--json"]) == 0
    assert [c["id"] for c in json.loads(capsys.readouterr().out)["changed"]] == ["palm-top.frozen", "palm.low"][::-1]
    assert main(["alarm", path, "shelve", "palm.high", "--for", "9 h", *who]) == 3
    assert main(["alarm", path, "shelve", "palm.low_low", "--for", "0.2 s", *who]) == 3
    assert "for 1 s at least" in capsys.readouterr().err
    assert main(["alarm", path, "shelve", "palm.high", "--for", "2 m", *who]) == 2
    assert main(["alarm", path, "unshelve", "palm.hihg", "--by", "Ann"]) == 2
    assert main(["alarm", path, "reset", "palm.high", "--by", "Ann"]) == 3
    assert "it is hidden now" in capsys.readouterr().err
    site = load_site(Path(path))
    with look_into_book(site) as book:
        assert book.verify().unbroken
        core = core_of(site)
        core.restore(book.state())
        ignored = [str(entry.body["why"]) for entry in book.entries(["alarm_act_ignored"])]
    assert [(view.id, view.state.value) for view in core.alarms.standing()] == [
        ("palm-top.frozen", "out_of_service"),
        ("palm.high", "shelved"),
        ("palm.low", "out_of_service"),
    ]
    too_long, too_short = "an alarm may be shelved for 8 h at most on this site", "an alarm is shelved for 1 s at least"
    assert ignored == ["shelved already", too_long, too_short, "it is hidden now"]
