"""Drain checks through the core: by name, into the record book, over a restart; what is refused and in what words."""

import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.act import Decision, Taken
from gaugehouse.acts import act_of
from gaugehouse.core import Core, Tick
from gaugehouse.errors import CallError
from gaugehouse.waterroom import AIR_DAYS, AirNow
from gaugehouse.wiring import core_of
from inventory.draincheck import DrainResult
from models.moistair import vapour_density_kgpm3
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, loop_site
from tests.gaugehouse.waterpast import movement

DAY_MS = 86_400_000
START_MS = 1_772_323_200_000  # 2026-03-01T00:00:00Z


@pytest.fixture
def core(tmp_path: Path) -> Core:
    return core_of(loop_site(tmp_path))


def told(core: Core, at_ms: int = START_MS + 3_600_000, name: str = "drain_check", **fields: Any) -> Any:
    fields = {"tank": "palm", "by": "Ada", **fields} if name == "drain_check" else {"by": "Ada", **fields}
    result = core.step(Tick(Instant(1, at_ms, at_ms - START_MS), (), [act_of(name, fields)]))
    return result.answers[0], result.decisions


CLEAR = {"result": "clear", "appearance": "clear and bright"}


def again(core: Core, tmp_path: Path) -> Core:
    """A new core with what the old one's rooms saved, by way of JSON as the record book keeps it."""
    state = {key: text for key, text in core.changed_state().items() if text is not None}
    fresh = core_of(loop_site(tmp_path))
    fresh.restore(state)
    return fresh


def test_a_check_is_written_whole_and_the_next_one_is_due_a_week_on(core: Core) -> None:
    answer, decisions = told(core, **CLEAR)
    assert answer.status is Taken.DONE
    assert answer.body["next_due"] == "2026-03-08"
    assert [d.kind for d in decisions] == ["drain_check"]
    body = decisions[0].body
    assert (body["tank"], body["day"], body["by"], body["result"]) == ("palm", "2026-03-01", "Ada", "clear")
    assert body["time"] == "2026-03-01T01:00:00.000Z"
    json.dumps(body)


def test_a_check_that_was_not_done_is_written_and_stays_due(core: Core) -> None:
    told(core, **CLEAR)
    told(core, START_MS + 8 * DAY_MS, result="not done", why="thunderstorm")
    assert core.waterlog.next_due("palm", START_MS + 8 * DAY_MS).day == "2026-03-08"
    missed = core.waterlog.last_missed("palm")
    assert missed is not None
    assert missed.why == "thunderstorm"
    told(core, START_MS + 9 * DAY_MS, result="water", water_m3=0.00025, appearance="cloudy")
    assert core.waterlog.last_missed("palm") is None
    assert core.waterlog.next_due("palm", START_MS + 9 * DAY_MS).day == "2026-03-17"


def test_checks_outlive_a_restart(core: Core, tmp_path: Path) -> None:
    told(core, result="water", water_m3=0.00025, appearance="cloudy", comment="rust in it")
    core.waterlog.see_air(Instant(2, START_MS, 0), AirNow(31.0, 80.0, None))
    fresh = again(core, tmp_path)
    kept = fresh.waterlog.last_done("palm")
    assert kept is not None
    assert (kept.water_m3, kept.result, kept.comment) == (0.00025, DrainResult.WATER, "rust in it")
    assert fresh.waterlog.next_number() == 2
    assert fresh.waterlog.air()["2026-03-01"].high_degC == 31.0


def test_a_withdrawn_check_counts_no_more(core: Core, tmp_path: Path) -> None:
    told(core, **CLEAR)
    told(core, START_MS + 2 * DAY_MS, **CLEAR)
    answer, decisions = told(core, START_MS + 3 * DAY_MS, "withdraw_drain_check", number=2, comment="wrong tank")
    assert answer.status is Taken.DONE
    assert decisions[0].kind == "drain_check_withdrawn"
    assert again(core, tmp_path).waterlog.next_due("palm", START_MS + 3 * DAY_MS).day == "2026-03-08"
    answer, decisions = told(core, START_MS + 3 * DAY_MS, "withdraw_drain_check", number=2, comment="wrong tank")
    assert answer.status is Taken.UNKNOWN
    assert decisions == []


def test_a_check_entered_the_morning_after_counts_for_its_day(core: Core) -> None:
    told(core, START_MS + 5 * DAY_MS, day="2026-03-05", **CLEAR)
    assert core.waterlog.next_due("palm", START_MS + 5 * DAY_MS).day == "2026-03-12"
    answer, _ = told(core, START_MS + 5 * DAY_MS, day="2026-03-07", **CLEAR)
    assert answer.status is Taken.REFUSED
    assert "has not begun yet" in answer.text
    answer, _ = told(core, START_MS + 90 * DAY_MS, day="2026-03-07", **CLEAR)
    assert "more than 31 days ago" in answer.text


def test_a_sample_drawn_just_after_flow_bears_that_word(core: Core) -> None:
    core.waterlog._moved["palm"] = START_MS + 3_000_000
    answer, decisions = told(core, START_MS + 3_600_000, **CLEAR)
    assert answer.text == "fuel moved until 10 min before; 30 min of rest are usual before a sample"
    assert decisions[0].body["note"] == answer.text
    assert told(core, START_MS + 6_000_000, **CLEAR)[0].text == ""


def test_an_unknown_tank_is_told_with_those_there_are(core: Core) -> None:
    answer, decisions = told(core, tank="elm", **CLEAR)
    assert answer.status is Taken.UNKNOWN
    assert "there are palm" in answer.text
    assert decisions == []


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"result": "fine"}, "one of clear, water, not done"),
        ({"result": "clear"}, "appearance is missing"),
        ({"result": "clear", "appearance": "nice"}, "one of clear and bright"),
        ({"result": "clear", "water_m3": 0.1, "appearance": "hazy"}, "but the result is clear"),
        ({"result": "water", "appearance": "hazy"}, "water_m3 is missing"),
        ({"result": "water", "water_m3": 250, "appearance": "hazy"}, "250 mL are 0.00025"),
        ({"result": "water", "water_m3": float("nan"), "appearance": "hazy"}, "a volume in m3"),
        ({"result": "not done"}, "why is missing"),
        ({"result": "not done", "why": "rain", "water_m3": 0.1}, "no volumes"),
        ({"result": "clear", "appearance": "hazy", "day": "1.3.2026"}, "write it as 2026-01-31"),
        ({"result": "clear", "appearance": "hazy", "document": 0}, "from 1 on"),
        ({"result": "clear", "appearance": "hazy", "volume": 1}, "has no volume"),
        ({"result": "clear", "appearance": "hazy", "by": " "}, "say who does it"),
        ({"result": "clear", "appearance": "hazy", "comment": "x" * 501}, "501 characters"),
    ],
)
def test_a_field_that_is_wrong_is_named(fields: dict[str, Any], words: str) -> None:
    with pytest.raises(CallError, match=words):
        act_of("drain_check", {"tank": "palm", "by": "Ada", **fields})


def test_the_air_of_a_day_is_kept_and_old_days_go(core: Core, tmp_path: Path) -> None:
    for day in range(AIR_DAYS + 3):
        at = Instant(day, START_MS + day * DAY_MS, day * DAY_MS)
        core.waterlog.see_air(at, AirNow(20.0 + day % 7, 70.0, None))
        core.waterlog.see_air(at, AirNow(30.0, 101.0, None))
        core.waterlog.see_air(at, AirNow(30.0, 500.0, None))
        core.waterlog.see_air(at, AirNow(None, 70.0, None))
    air = core.waterlog.air()
    assert len(air) == AIR_DAYS
    assert min(air) == "2026-03-04"
    newest = air[max(air)]
    assert (newest.low_degC, newest.high_degC) == (20.0 + (AIR_DAYS + 2) % 7, 30.0)
    assert newest.vapour_kgpm3 == pytest.approx(0.0304, abs=2e-4)
    changed = core.changed_state()
    assert changed["water/air:2026-03-01"] is None
    assert again(core, tmp_path).waterlog.air() == {}  # what was told as changed is not told again
    core.waterlog.see_air(Instant(9, START_MS + 402 * DAY_MS, 0), AirNow(40.0, None, None))
    assert "water/air:2027-04-07" in core.slow_state()


def test_a_tank_works_from_the_first_word_of_a_movement_on(core: Core, tmp_path: Path) -> None:
    begun = movement(1, "issue", START_MS, -5.0) | {"end_ms": None, "stage": "moving"}
    core.waterlog.see_moved(Instant(1, START_MS + 60_000, 60_000), [Decision("movement", begun)])
    assert core.waterlog.moved_ms("palm") == START_MS + 60_000
    late = movement(1, "issue", START_MS + 120_000, -5.0)
    core.waterlog.see_moved(Instant(2, START_MS + 999_000, 999_000), [Decision("movement", late)])
    assert core.waterlog.moved_ms("palm") == START_MS + 120_000
    taken_back = movement(2, "issue", START_MS + 900_000, -5.0) | {"stage": "withdrawn"}
    core.waterlog.see_moved(Instant(3, START_MS + 999_000, 999_000), [Decision("movement", taken_back)])
    fresh = again(core, tmp_path)
    assert fresh.waterlog.moved_ms("palm") == START_MS + 120_000
    assert fresh.waterlog.works("palm", START_MS + DAY_MS)
    assert not fresh.waterlog.works("palm", START_MS + 4 * DAY_MS)


AIR_SITE = LOOP_SITE.replace(
    "\n[[product]]",
    """
[[instrument.signal]]
name = "air"
function = 3
address = 4
counted_from = 0
type = "float32"
unit = "degF"

[[instrument.signal]]
name = "damp"
function = 3
address = 6
counted_from = 0
type = "float32"
unit = "%"

[[point]]
id = "air"
signal = "palm-top.air"
role = "ambient_temperature"

[[point]]
id = "damp"
signal = "palm-top.damp"
role = "humidity"

[[product]]""",
    1,
)


def test_the_sites_own_air_is_seen_once_a_minute_in_its_own_unit(tmp_path: Path) -> None:
    core = core_of(loop_site(tmp_path, text=AIR_SITE))
    for second, fahrenheit in ((0, 86.0), (30, 95.0), (60, 77.0)):
        values = {"current": 12.0, "temperature": 28.0, "air": fahrenheit, "damp": 80.0}
        at_ms = START_MS + 1000 * second
        core.step(Tick(Instant(second + 1, at_ms, 1000 * second), [Sample("palm-top", at_ms, OK, values)]))
    day = core.waterlog.air()["2026-03-01"]
    assert (day.low_degC, day.high_degC) == pytest.approx((25.0, 30.0))  # what stood between two looks is not known
    assert day.vapour_kgpm3 == pytest.approx(vapour_density_kgpm3(30.0, 80.0))
