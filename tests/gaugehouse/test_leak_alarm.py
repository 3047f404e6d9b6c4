"""A signed leak test that finds a loss is an alarm; a later test that could have seen as much, or a person, ends it."""

import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.act import Answer
from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.leakacts import leak_tests
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from gaugehouse.wiring import core_of
from simulator.demo import write_demo
from tests.bench.leaknights import TANK
from tests.gaugehouse.test_movements import START_MS
from tests.gaugehouse.test_receipts import Receiving

ALARM = f"{TANK}.leak_suspected"
DAY_MS = 86_400_000
DAY_1 = START_MS - 10 * DAY_MS


def found(verdict: str, day: int, loss: float = 0.006, detectable: float = 0.0034, tank: str = TANK) -> dict[str, Any]:
    """A test of a whole day as it was found, made up."""
    return {
        "tank": tank, "product": "Jet A-1", "verdict": verdict, "from": iso_ms(DAY_1 + day * DAY_MS),
        "to": iso_ms(DAY_1 + (day + 1) * DAY_MS), "hours": 24.0, "smallest_m3_per_h": 0.0014,
        "claim_at_most_m3_per_h": 0.00757, "refusals": [], "averaging": True, "loss_m3_per_h": loss,
        "u_m3_per_h": 0.001, "threshold_m3_per_h": detectable / 2, "detectable_m3_per_h": detectable, "free": 40.0,
        "terms": [], "fit": None,
    }  # fmt: skip


class Signing(Receiving):
    """A tank, and a person who signs tests."""

    def sign(self, verdict: str, day: int, **figures: Any) -> Answer:
        answer = self.do("sign_leak_test", result=found(verdict, day, **figures))
        assert answer.status == "done", answer.text
        self.run(20)
        return answer


@pytest.fixture
def kept(tmp_path: Path) -> Signing:
    one = Signing(tmp_path, 41, TANK)
    one.run(60)
    assert not one.alarm(ALARM)
    return one


def test_a_loss_is_an_alarm_with_the_sheets_priority_and_texts_and_is_acknowledged_like_others(kept: Signing) -> None:
    assert kept.sign("loss", 1).body["alarm"] == "raised"
    assert kept.alarm(ALARM)
    view = kept.core.alarms.view(ALARM)
    assert view is not None
    entry = kept.core.site.sheet.entry(TANK, "leak_suspected")
    assert (view.priority, entry.action != "") == (2, True)
    answer = kept.do("acknowledge", alarm=ALARM, occurrence=view.occurrence)
    assert answer.status == "done", answer.text
    kept.run(20)
    assert kept.alarm(ALARM)  # acknowledging finds no leak


def test_a_later_test_ends_it_only_where_it_could_have_seen_as_much(kept: Signing) -> None:
    kept.sign("loss", 3)
    for verdict, day, figures in (
        ("no_loss_seen", 2, {"loss": 0.0}),  # of hours before
        ("no_loss_seen", 3, {"loss": 0.0}),  # of the same hours
        ("no_loss_seen", 5, {"loss": 0.0, "detectable": 0.0075}),  # would have missed it
        ("cannot_tell", 6, {"loss": 0.0}),
        ("gain", 6, {"loss": -0.01}),
    ):
        assert kept.sign(verdict, day, **figures).body["alarm"] == "stands"
        assert kept.alarm(ALARM)
    assert kept.sign("no_loss_seen", 7, loss=0.0001).body["alarm"] == "cleared"
    assert not kept.alarm(ALARM)
    assert kept.sign("loss", 3).body["alarm"] == "none"  # an old test is no news
    assert not kept.alarm(ALARM)
    assert kept.sign("loss", 8).body["alarm"] == "raised"


def test_a_person_ends_it_with_a_reason_that_the_record_keeps(kept: Signing) -> None:
    assert kept.do("decide_leak", tank=TANK, reason="nothing").status == "already"
    kept.sign("loss", 1)
    with pytest.raises(CallError, match="reason"):
        act_of("decide_leak", {"tank": TANK, "by": "Ann"})
    answer = kept.do("decide_leak", tank=TANK, reason="a ticket of 140 L was missing")
    assert answer.status == "done"
    assert answer.body["suspected"]["loss_m3_per_h"] == 0.006
    kept.run(20)
    assert not kept.alarm(ALARM)
    kept.sign("loss", 1)  # the same test signed again was decided upon
    assert not kept.alarm(ALARM)
    assert kept.do("decide_leak", tank="nowhere", reason="x").status == "unknown"


def test_a_suspicion_outlives_a_restart(kept: Signing) -> None:
    kept.sign("loss", 1)
    saved = json.loads(json.dumps(kept.core.leaks.save(False)))
    other = core_of(kept.core.site)
    other.leaks.restore(saved)
    assert other.leaks.get(TANK) == kept.core.leaks.get(TANK)
    assert [told.on for told in other.leaks.tell() if told.source == TANK] == [True]
    kept.do("decide_leak", tank=TANK, reason="repaired")
    again = core_of(kept.core.site)
    again.leaks.restore(json.loads(json.dumps(kept.core.leaks.save(False))))
    assert again.leaks.get(TANK) is None
    assert again.leaks.news  # told once after a start, so that a saved alarm agrees with it


def test_by_command_without_a_daemon(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_demo(tmp_path, [1, 2], "10 s")
    from gaugehouse.acting import perform

    site = load_site(path)
    perform(site, "sign_leak_test", {"result": found("loss", 1), "by": "Ada"})
    with look_into_book(site) as book:
        (record,) = leak_tests(book)
    assert record["alarm"] == "raised"
    assert main(["leak", str(path), "--decide", "renewed the drain valve"]) == 2
    assert "--decide goes with --tank and --by" in capsys.readouterr().err
    assert main(["leak", str(path), "--tank", TANK, "--by", "Ada", "--decide", "renewed the drain valve"]) == 0
    assert "decided by Ada" in capsys.readouterr().out
    assert main(["leak", str(path), "--tank", TANK, "--by", "Ada", "--decide", "again"]) == 0
    assert "nothing to do" in capsys.readouterr().out
