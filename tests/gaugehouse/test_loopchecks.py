"""Loop checks in the core: who may start one and when, what it blinds, the steps, the ways in which it ends."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Answer, Taken, act_of
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.errors import CallError
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import Instant, Quality, Reason, Sample
from tests.gaugehouse.sites import LOOP_SITE

T0 = 1_790_000_000_000
POINT = """
[[instrument]]
id = "switch-box"
bus = "gateway"
unit = 2

[[instrument.signal]]
name = "top"
function = 2
address = 0
counted_from = 0
type = "bit"

[[instrument.signal]]
name = "second"
function = 3
address = 8
counted_from = 0
type = "uint16"
unit = "mm"

[[point]]
id = "palm-top-switch"
signal = "switch-box.top"
role = "high_level_switch"
tank = "palm"

[[point]]
id = "elsewhere"
signal = "switch-box.top"
role = "other"

[[point]]
id = "palm-second"
signal = "switch-box.second"
role = "other"
tank = "palm"
"""
BESIDE = LOOP_SITE.replace(
    "[[product]]",
    """[[instrument.signal]]
name = "level"
function = 3
address = 4
counted_from = 0
type = "float32"
unit = "mm"

[[product]]""",
).replace('level = "palm-top.current"', 'level = "palm-top.level"')

RECORD = {
    "start": "start_loop_check",
    "step": "take_loop_step",
    "finish": "finish_loop_check",
    "abort": "abort_loop_check",
}


class Bench:
    """A core with one tank, polled each second of a clock of its own."""

    def __init__(self, folder: Path, text: str = LOOP_SITE, more: str = "") -> None:
        path = folder / "site.toml"
        path.write_text((text + more).format(port=1502, period="1 s"), encoding="utf-8")
        self.site = load_site(path)
        self.core: Core = core_of(self.site)
        self.ms = T0
        self.elapsed_ms = 0
        self.seq = 0
        self.state: dict[str, str] = {}
        self.said: list[Any] = []
        self.book: list[Any] = []

    def tick(self, samples: list[Sample] = [], acts: list[Any] = []) -> StepResult:  # noqa: B006 - never changed
        self.seq += 1
        result = self.core.step(Tick(Instant(self.seq, self.ms, self.elapsed_ms), samples, acts))
        self.book += result.decisions
        for key, value in self.core.changed_state().items():
            if value is None:
                self.state.pop(key, None)
            else:
                self.state[key] = value
        return result

    def poll(self, current_mA: float | None, **values: float | None) -> StepResult:
        """A second later the instrument shows this."""
        self.ms += 1000
        self.elapsed_ms += 1000
        told = {} if current_mA is None else {"current": current_mA, "temperature": 20.0}
        samples = [Sample("palm-top", self.ms, "ok" if told else "timeout", told | values)]
        if "switch-box" in self.site.instrument_names:
            samples.append(Sample("switch-box", self.ms, "ok", {"top": 0.0, "second": 6000.0}))
        return self.tick(samples)

    def polls(self, current_mA: float, seconds: int) -> StepResult:
        for _ in range(seconds):
            result = self.poll(current_mA)
        return result

    def do(self, what: str, **fields: Any) -> Answer:
        given = {"instrument": "palm-top", "by": "Ada"} | fields
        return self.tick(acts=[act_of(RECORD[what], given)]).answers[0]

    def whole_run(self, shows: Callable[[float], float] = float) -> None:
        for point in (4, 8, 12, 16, 20, 20, 16, 12, 8, 4):
            self.polls(shows(point), 5)
            said = self.do("step")
            assert said.status is Taken.DONE, said.text

    def states(self) -> dict[str, str]:
        return {view.id: view.state.value for view in self.core.alarms.standing()}

    def restart(self, down_s: float) -> None:
        """kill -9: what was committed is there, nothing else; the slow state as it was saved at the end."""
        saved = json.loads(json.dumps({**self.core.slow_state(), **self.state}))
        self.core = core_of(self.site)
        self.core.restore(saved)
        self.elapsed_ms = self.core.at.elapsed_ms
        self.ms += round(down_s * 1000)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path)
    made.polls(12.0, 30)  # half full, at rest
    return made


def test_a_check_makes_the_level_bad_out_of_service_and_leaves_no_stock(bench: Bench) -> None:
    assert bench.do("start").status is Taken.DONE
    reading = bench.poll(20.0).readings[0]
    assert (reading.quality, reading.reason) == (Quality.BAD, Reason.OUT_OF_SERVICE)
    assert reading.current_mA == 20.0
    assert reading.stock_quality is Quality.BAD
    figures = ("level_m", "tov_m3", "gov_m3", "gsv_m3", "mass_kg", "volume_percent", "rate_m3_per_h", "ullage_m")
    assert {name: getattr(reading, name) for name in figures} == dict.fromkeys(figures)


def test_a_simulated_current_beyond_the_range_bounds_nothing(bench: Bench) -> None:
    bench.do("start")
    reading = bench.poll(20.8).readings[0]
    assert (reading.level_m, reading.tov_m3, reading.bound.value) == (None, None, "")


def test_the_blinded_alarms_are_listed_out_of_service_and_none_is_raised(bench: Bench) -> None:
    said = bench.do("start")
    blinds = set(said.body["blinds"])
    assert {"palm.critical_high", "palm.high_high", "palm.high", "palm.low", "palm.low_low"} <= blinds
    assert {"palm-top.signal_low", "palm-top.signal_high", "palm-top.no_answer", "palm-top.frozen"} <= blinds
    assert "palm-top.check_overdue" not in blinds  # it does not rest on the signal
    assert len(said.body["blinded_names"]) == len(blinds)
    assert {state for alarm, state in bench.states().items() if alarm in blinds} == {"out_of_service"}
    for current in (20.0, 0.0, 22.0, 4.0):
        result = bench.polls(current, 10)
        assert (result.transitions, result.fault_changes) == ([], [])
    assert bench.core.faults.open_faults() == []


def test_the_alarms_are_back_after_the_end_and_judge_again(bench: Bench) -> None:
    bench.do("start")
    bench.do("abort", why="phone rang")
    assert bench.states() == {}
    bench.polls(18.9, 2)
    assert "palm.high" not in bench.states()  # an on-delay of 5 s begins anew
    bench.polls(18.9, 10)
    assert bench.states()["palm.high"] == "unacknowledged"


def test_what_was_out_of_service_before_stays_so(bench: Bench) -> None:
    act = act_of("remove_from_service", {"alarm": "palm.low", "by": "Bo", "reason": "tank in repair"})
    bench.tick(acts=[act])
    bench.do("start")
    bench.do("abort")
    assert bench.states() == {"palm.low": "out_of_service"}


def test_the_way_back_is_uncertain_for_4_s(bench: Bench) -> None:
    """NE 43 in time: the same way back as after a fault."""
    bench.do("start")
    bench.polls(16.0, 3)
    bench.do("abort")
    assert [bench.poll(12.0).readings[0].quality.word for _ in range(6)] == ["Uncertain"] * 4 + ["Good"] * 2


def test_a_check_has_a_name_or_does_not_start(bench: Bench) -> None:
    with pytest.raises(CallError, match="by is missing: say who does it"):
        bench.do("start", by="  ")


def test_it_is_refused_while_the_tank_receives_and_while_it_issues(tmp_path: Path) -> None:
    for step, word in ((0.002, "receives"), (-0.002, "issues")):
        bench = Bench(tmp_path)
        for second in range(120):
            bench.poll(12.0 + second * step)
        said = bench.do("start", at_rest="I looked")
        assert said.status is Taken.REFUSED
        assert f"tank palm {word}" in said.text
        assert bench.core.checks.get("palm-top") is None


def test_a_covering_point_allows_it_while_the_tank_receives(tmp_path: Path) -> None:
    bench = Bench(tmp_path, more=POINT)
    for second in range(120):
        bench.poll(12.0 + second * 0.002)
    for point, words in (
        ("elsewhere", "there are: palm-top-switch, palm-second"),
        ("x", "is no [[point]]"),
    ):
        assert words in bench.do("start", covered_by=point).text
    said = bench.do("start", covered_by="palm-top-switch")
    assert said.status is Taken.DONE
    assert said.body["covered_by"] == "palm-top-switch"


def test_a_switch_covers_no_issue_but_another_level_does(tmp_path: Path) -> None:
    bench = Bench(tmp_path, more=POINT)
    for second in range(120):
        bench.poll(12.0 - second * 0.002)
    assert "it sees a receipt only" in bench.do("start", covered_by="palm-top-switch").text
    assert bench.do("start", covered_by="palm-second").status is Taken.DONE


def test_an_ordered_movement_and_a_check_keep_each_other_away(bench: Bench) -> None:
    order = {"tank": "palm", "kind": "receipt", "quantity_m3": 30.0, "by": "Bo"}
    assert bench.tick(acts=[act_of("plan_movement", order)]).answers[0].status is Taken.DONE
    said = bench.do("start", at_rest="valves closed")
    assert said.status is Taken.REFUSED
    assert "a movement of tank palm is ordered (receipt, by Bo): end the order first" in said.text
    bench.tick(acts=[act_of("end_plan", {"tank": "palm", "by": "Bo"})])
    assert bench.do("start").status is Taken.DONE
    said = bench.tick(acts=[act_of("plan_movement", order)]).answers[0]
    assert said.status is Taken.REFUSED
    assert "a loop check of palm-top is under way by Ada" in said.text


def test_a_cover_is_one_also_where_the_tank_stands_still_and_lets_only_movements_that_it_sees_be_ordered(
    tmp_path: Path,
) -> None:
    bench = Bench(tmp_path, more=POINT)
    bench.polls(12.0, 120)
    assert "is no [[point]]" in bench.do("start", covered_by="x").text
    assert bench.do("start", covered_by="palm-top-switch").status is Taken.DONE
    order = {"tank": "palm", "kind": "issue", "quantity_m3": 30.0, "by": "Bo"}
    said = bench.tick(acts=[act_of("plan_movement", order)]).answers[0]
    assert said.status is Taken.REFUSED
    assert "a loop check of palm-top is under way by Ada" in said.text
    said = bench.tick(acts=[act_of("plan_movement", order | {"kind": "receipt"})]).answers[0]
    assert said.status is Taken.DONE


def test_a_point_that_does_not_answer_covers_nothing(tmp_path: Path) -> None:
    bench = Bench(tmp_path, more=POINT)
    for second in range(120):
        bench.poll(12.0 + second * 0.002)
    bench.elapsed_ms += 61_000
    assert "does not answer now" in bench.do("start", covered_by="palm-top-switch").text


def test_a_loop_that_has_failed_needs_a_word_on_how_it_is_known_to_stand_still(bench: Bench) -> None:
    bench.polls(3.0, 10)
    said = bench.do("start")
    assert said.status is Taken.REFUSED
    assert "say how you know that nothing flows" in said.text
    said = bench.do("start", at_rest="both valves closed and locked")
    assert said.status is Taken.DONE
    assert (
        bench.book[-1 - len(bench.core.checks.get("palm-top").hidden)].body["at_rest"]
        == "both valves closed and locked"
    )


def test_without_a_sample_since_the_start_it_is_refused(tmp_path: Path) -> None:
    assert "has not been asked" in Bench(tmp_path).do("start", at_rest="yes").text


def test_an_unknown_instrument_and_a_second_start_are_answered(bench: Bench) -> None:
    assert bench.do("start", instrument="nobody").status is Taken.UNKNOWN
    bench.do("start")
    said = bench.do("start", by="Bo")
    assert (said.status, said.body["by"]) == (Taken.ALREADY, "Ada")
    for what in ("step", "finish", "abort"):
        assert bench.do(what, instrument="nobody").status is Taken.UNKNOWN


@pytest.mark.parametrize("minutes", [0, -1, 61])
def test_its_time_is_limited(bench: Bench, minutes: float) -> None:
    assert "60 min at most" in bench.do("start", minutes=minutes).text


def test_it_returns_by_itself_when_its_time_is_over(bench: Bench) -> None:
    bench.do("start", minutes=1)
    bench.polls(4.0, 5)
    bench.do("step")
    bench.polls(8.0, 54)
    assert bench.core.checks.get("palm-top") is not None
    result = bench.poll(12.0)
    assert bench.core.checks.get("palm-top") is None
    assert result.readings[0].quality is Quality.UNCERTAIN
    assert bench.states() == {}
    record = next(d.body for d in result.decisions if d.kind == "loop_check")
    assert (record["how"], record["passes"], len(record["runs"]["as_found"]["steps"])) == ("time over", None, 1)
    assert {t.event.value for t in result.transitions} == {"returned_to_service"}


def test_it_survives_a_restart_and_its_time_runs_on_while_the_daemon_is_down(bench: Bench) -> None:
    bench.do("start", minutes=10)
    bench.polls(4.0, 5)
    bench.do("step")
    bench.restart(down_s=300)
    assert bench.poll(8.0).readings[0].reason is Reason.OUT_OF_SERVICE
    assert set(bench.states().values()) == {"out_of_service"}
    assert [step.point_mA for step in bench.core.checks.get("palm-top").steps] == [4.0]
    bench.polls(8.0, 292)
    assert bench.core.checks.get("palm-top") is not None
    bench.polls(8.0, 2)
    assert bench.core.checks.get("palm-top") is None
    assert bench.do("start").body["number"] == 2


def test_a_restart_after_its_time_ends_it_at_the_first_tick(bench: Bench) -> None:
    bench.do("start", minutes=10)
    bench.restart(down_s=601)
    result = bench.poll(12.0)
    assert result.readings[0].quality is Quality.UNCERTAIN
    assert bench.states() == {}


def test_alarms_that_the_site_file_no_longer_has_keep_no_other_out_of_service(tmp_path: Path) -> None:
    """The site file lost a limit while a check was under way: the rest of the alarms comes back all the same."""
    bench = Bench(tmp_path)
    bench.polls(12.0, 30)
    bench.do("start", minutes=10)
    path = tmp_path / "site.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('low_low = "0.5 m"\n', ""), encoding="utf-8")
    bench.site = load_site(path)
    bench.restart(down_s=601)
    bench.poll(12.0)
    assert bench.core.checks.get("palm-top") is None
    assert bench.states() == {}


def test_an_act_alone_ends_no_check(bench: Bench) -> None:
    """Delays are judged at ticks with samples only."""
    bench.do("start", minutes=1)
    bench.elapsed_ms += 61_000
    bench.tick()
    assert bench.core.checks.get("palm-top") is not None


def test_a_live_step_is_the_mean_of_the_newest_samples_with_their_spread(bench: Bench) -> None:
    bench.do("start")
    for current in (3.9, 4.000, 4.002, 4.004, 4.002, 4.002):
        bench.poll(current)
    step = bench.do("step").body["step"]
    assert (step["run"], step["point_mA"], step["direction"], step["how"]) == ("as_found", 4.0, "up", "live")
    assert step["shown_mA"] == pytest.approx(4.002)
    assert step["spread_mA"] == pytest.approx(0.004)
    assert step["samples"] == 5
    assert step["level_m"] == pytest.approx(0.002 / 16 * 12)
    assert step["expected_m"] == 0.0


def test_a_step_needs_samples_of_its_own_that_are_steady(bench: Bench) -> None:
    bench.do("start")
    bench.polls(4.0, 5)
    assert bench.do("step").status is Taken.DONE
    assert "0 of 5 samples have come since the last step" in bench.do("step").text
    for current in (8.0, 8.0, 8.1, 8.0, 8.0):
        bench.poll(current)
    said = bench.do("step")
    assert said.status is Taken.REFUSED
    assert "between 8.000 and 8.100 mA, allowed is 0.1 % of span" in said.text


def test_a_live_step_before_the_current_is_applied_is_refused(bench: Bench) -> None:
    bench.do("start")
    bench.polls(4.0, 5)
    bench.do("step")
    bench.polls(4.0, 5)
    said = bench.do("step")
    assert said.status is Taken.REFUSED
    assert "shows 4.000 mA, not near the applied 8 mA" in said.text
    assert bench.do("step", shown_mA=4.0).status is Taken.DONE


def test_a_step_may_be_typed_named_and_taken_again(bench: Bench) -> None:
    bench.do("start")
    bench.do("step", point_mA=12, direction="up", applied_mA=12.01, shown_mA=12.05)
    bench.do("step", point_mA=12, direction="up", applied_mA=12.0, shown_mA=12.02)
    bench.do("step", point_mA=12, shown_mA=12.03)  # the direction that is still missing
    steps = bench.core.checks.get("palm-top").of("as_found")
    assert [(s.point_mA, s.direction, s.shown_mA, s.how) for s in steps] == [
        (12.0, "up", 12.02, "typed"),
        (12.0, "down", 12.03, "typed"),
    ]
    assert len([d for d in bench.book if d.kind == "loop_check" and d.body["change"] == "step"]) == 3
    assert "in which direction" in bench.do("step", point_mA=12, shown_mA=12.0).text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"point_mA": 5, "direction": "up", "shown_mA": 5}, "none of the five points"),
        ({"point_mA": 8, "direction": "sideways", "shown_mA": 8}, "write up or down"),
        ({"run": "later", "point_mA": 8, "shown_mA": 8}, "write as_found or as_left"),
        ({"shown_mA": 4.0, "applied_mA": 6.0}, "more than 0.5 mA from the point"),
        ({"shown_mA": 40.0}, "allowed is 0 to 25 mA"),
    ],
)
def test_a_step_that_cannot_be_is_refused_with_the_mend(bench: Bench, fields: dict[str, Any], words: str) -> None:
    bench.do("start")
    said = bench.do("step", **fields)
    assert said.status is Taken.REFUSED
    assert words in said.text


@pytest.mark.parametrize("value", ["8", True, float("nan"), float("inf"), [8]])
def test_a_number_that_is_none_is_a_wrong_call(bench: Bench, value: object) -> None:
    with pytest.raises(CallError, match="is no number"):
        bench.do("step", shown_mA=value)


def test_a_whole_check_gives_a_record_with_its_verdict(bench: Bench) -> None:
    bench.do("start", permit="PTW-17")
    bench.whole_run(lambda point: point + 0.02)  # 0.125 % of span
    assert bench.do("finish", reference_due="2026-12-31", remarks="calm").status is Taken.DONE
    record = next(d.body for d in reversed(bench.book) if d.kind == "loop_check")
    assert (record["how"], record["passes"], record["by"], record["ended_by"]) == ("finished", True, "Ada", "Ada")
    found = record["runs"]["as_found"]
    assert len(found["steps"]) == 10
    assert found["current"]["zero_percent"] == pytest.approx(0.125)
    assert found["current"]["hysteresis_percent"] == pytest.approx(0.0)
    assert found["level"] is None  # the level is made of this very current
    assert record["filled"] == {"reference_due": "2026-12-31", "remarks": "calm"}
    assert record["permit"] == "PTW-17"
    assert record["before_m"] == {"palm": pytest.approx(6.0)}
    json.dumps(record)


def test_as_found_out_of_limits_adjusted_and_as_left_within(bench: Bench) -> None:
    bench.do("start")
    bench.whole_run(lambda point: point + 0.05)
    assert "take the as-left steps" in bench.do("finish", adjusted="zero trimmed").text
    bench.whole_run()
    bench.do("finish", adjusted="zero trimmed")
    record = next(d.body for d in reversed(bench.book) if d.kind == "loop_check")
    assert record["runs"]["as_found"]["passes"] is False
    assert record["runs"]["as_left"]["passes"] is True
    assert record["passes"] is True


def test_a_run_that_is_not_whole_cannot_be_finished(bench: Bench) -> None:
    bench.do("start")
    bench.do("step", shown_mA=4.0)
    said = bench.do("finish")
    assert said.status is Taken.REFUSED
    assert "as found is not whole, missing: 8 mA up, 12 mA up" in said.text
    assert bench.core.checks.get("palm-top") is not None


def test_a_date_that_is_none_is_a_wrong_call(bench: Bench) -> None:
    bench.do("start")
    with pytest.raises(CallError, match="write it as 2026-01-31"):
        bench.do("finish", reference_due="next week")


def test_a_level_register_of_its_own_is_judged_beside_the_current(tmp_path: Path) -> None:
    """The current is right, the level register was scaled for 11.9 m instead of 12 m: 0.83 % of span at the top."""
    bench = Bench(tmp_path, BESIDE)
    for _ in range(30):
        bench.poll(12.0, level=6000.0)
    bench.do("start")
    for point in (4, 8, 12, 16, 20, 20, 16, 12, 8, 4):
        for _ in range(5):
            bench.poll(point, level=(point - 4) / 16 * 11_900)
        assert bench.do("step").status is Taken.DONE
    bench.do("finish")
    record = next(d.body for d in reversed(bench.book) if d.kind == "loop_check")
    run = record["runs"]["as_found"]
    assert run["current"]["passes"] is True
    assert run["level"]["passes"] is False
    assert run["level"]["largest_percent"] == pytest.approx(100 * 100 / 12_000)
    assert record["passes"] is False
    assert run["steps"][4]["level_m"] == pytest.approx(11.9)
    assert run["steps"][4]["expected_m"] == pytest.approx(12.0)
