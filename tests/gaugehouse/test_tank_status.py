"""Tank status through the whole core: flows of the simulated farm and hand-made ones, people, alarms, restarts."""

import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Answer, Taken, act_of
from gaugehouse.core import Tick
from gaugehouse.site import load_site
from gaugehouse.statusroom import STATUS
from gaugehouse.wiring import core_of, core_of_recording
from models.reading import Instant
from simulator.layout import Act as Move
from simulator.layout import Planned
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.gaugehouse.test_movements import POLL_S, START_MS, Kept
from tests.gaugehouse.test_watching import AREA_M2, Player, current

RULE = """
[stock.settling]
early_release_by = ["Chief"]

[[stock.settling.rule]]
time = "2 h"
source = "test manual 4.2"
"""
RESULT = {"appearance": "clear and bright", "water_test": "passed", "certificate": "C-17"}


class Farm(Kept):
    """Some tanks of the demo with a settling rule; what is told of their status."""

    def __init__(self, folder: Path, seed: int, *tanks: str) -> None:
        super().__init__(folder, seed, *tanks)
        with self.site.path.open("a", encoding="utf-8") as file:
            file.write(RULE)
        self.site = load_site(self.site.path)
        self.core = core_of(self.site)
        self.moves: list[tuple[str, str, str]] = []
        self.alarms: list[str] = []
        self.down_s = 0  # how long no program ran: elapsed time stood still

    def step(self, samples: Any, acts: Any = ()) -> Any:
        self.seq += 1
        ms = START_MS + 1000 * self.second
        elapsed_ms = 1000 * (self.second - POLL_S - self.down_s)
        result = self.core.step(Tick(Instant(self.seq, ms, elapsed_ms), samples, acts))
        for decision in result.decisions:
            if decision.kind == STATUS:
                body = json.loads(json.dumps(decision.body))
                self.moves.append((body["event"], body["from"], body["to"]))
        self.alarms += [f"{t.source}.{t.condition} {t.event}" for t in result.transitions]
        self.answers = result.answers
        return result

    def act(self, name: str, **fields: Any) -> Answer:
        self.step([], [act_of(name, fields)])
        return self.answers[0]

    def status(self, tank: str) -> str:
        return self.core.status.state(tank).status.value


def test_a_receipt_settles_is_released_and_issued_without_an_alarm(tmp_path: Path) -> None:
    farm = Farm(tmp_path, 41, "north")
    farm.run(1800)
    assert farm.status("north") == "awaiting test"
    farm.farm.start(Planned(0, Move.RECEIVE, "north", 120, volume_m3=40))
    farm.run(1200 + 900)
    assert farm.status("north") == "settling"
    countdown = farm.core.status.state("north").countdown
    assert countdown is not None
    assert countdown.need_ms == 2 * 3_600_000
    early = farm.act("release_tank", tank="north", by="Ann", **RESULT)
    assert early.status is Taken.REFUSED
    assert "test manual 4.2" in early.text
    assert "Chief" in early.text
    farm.run(2 * 3600)
    assert farm.status("north") == "awaiting test"
    done = farm.act("release_tank", tank="north", by="Ann", **RESULT)
    assert done.status is Taken.DONE
    assert done.body["now"]["release"]["not_done"] == ["density", "conductivity"]
    assert done.body["now"]["release"]["settling"]["counted_ms"] >= 2 * 3_600_000
    farm.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=20))
    farm.run(1200 + 900)
    assert farm.status("north") == "in use"
    assert [to for _, _, to in farm.moves] == ["receiving", "settling", "awaiting test", "released", "in use"]
    assert not [alarm for alarm in farm.alarms if "released" in alarm]


def test_an_issue_from_a_tank_that_nobody_released_is_an_alarm_until_it_ends(tmp_path: Path) -> None:
    farm = Farm(tmp_path, 42, "north")
    farm.run(1800)
    farm.farm.start(Planned(0, Move.ISSUE, "north", 60, volume_m3=20))
    farm.run(1200 + 900)
    assert [a for a in farm.alarms if "issue_not_released" in a] == [
        "north.issue_not_released raised", "north.issue_not_released returned",
    ]  # fmt: skip
    assert farm.status("north") == "settling"  # disturbed before any release


def test_a_restart_in_mid_settling_takes_the_countdown_up_again(tmp_path: Path) -> None:
    farm = Farm(tmp_path, 43, "north")
    farm.run(1800)
    farm.farm.start(Planned(0, Move.RECEIVE, "north", 120, volume_m3=40))
    farm.run(1200 + 900 + 1800)
    before = farm.core.status.state("north").countdown
    assert before is not None
    left_ms = before.left_ms
    saved = {key: text for key, text in farm.core.slow_state().items() if text is not None}
    farm.core = core_of(farm.site)
    farm.core.restore(saved)
    farm.second += 1800
    farm.down_s = 1800
    farm.farm.advance(START_MS + 1000 * farm.second)
    farm.run(POLL_S)
    after = farm.core.status.state("north").countdown
    assert after is not None
    assert left_ms - after.left_ms == pytest.approx(1_800_000, abs=30_000)
    assert after.down_ms == pytest.approx(1_800_000, abs=30_000)
    assert farm.status("north") == "settling"


PUMP = """
[[instrument]]
id = "yard"
bus = "gateway"
unit = 2

[[instrument.signal]]
name = "pump"
function = 2
address = 0
counted_from = 0
type = "bit"

[[instrument.signal]]
name = "flow"
function = 3
address = 10
counted_from = 0
type = "float32"
unit = "L/min"

[[meter]]
id = "m1"
signal = "yard.flow"
kind = "flow"
draws_from = "palm"

[[point]]
id = "pump-palm"
signal = "yard.pump"
role = "pump"
tank = "palm"

[stock.settling]
issuing_points = ["pump-palm"]

[[stock.settling.rule]]
time = "2 h"
source = "test manual 4.2"
"""


@pytest.mark.parametrize("yard", [{"pump": 1, "flow": 0.0}, {"pump": 0, "flow": 300.0}])
def test_receipt_and_issue_at_once_is_seen_where_a_meter_or_a_point_tells_of_the_issue(
    tmp_path: Path, yard: dict[str, float]
) -> None:
    player = Player(core_of(load_site(write_site(tmp_path, LOOP_SITE + PUMP))))
    seen: list[str] = []
    for second in range(0, 2400, 5):
        level = 5.0 + max(0, second - 900) * (1.0 / 60 / AREA_M2)  # 1000 L/min into the tank from 900 s on
        now = yard if second > 1500 else {"pump": 0, "flow": 0.0}
        seen += player.tick(second, yard=now, palm_top=current(level))
    assert "palm.receipt_with_issue raised" in seen
    assert "palm.issue_not_released raised" in seen
    state = player.core.status.state("palm")
    assert state.status == "receiving"
    assert len(state.flow_out) == 1


def test_one_gauge_alone_sees_no_issue_in_a_receipt(tmp_path: Path) -> None:
    player = Player(core_of(load_site(write_site(tmp_path, LOOP_SITE + RULE))))
    seen: list[str] = []
    for second in range(0, 2400, 5):
        seen += player.tick(second, palm_top=current(5.0 + max(0, second - 900) * (0.7 / 60 / AREA_M2)))
    assert not [alarm for alarm in seen if "receipt_with_issue" in alarm]


def test_a_meter_tells_of_a_receipt_that_a_blind_gauge_does_not_see(tmp_path: Path) -> None:
    site = LOOP_SITE + PUMP.replace('draws_from = "palm"', 'fills = "palm"')
    player = Player(core_of(load_site(write_site(tmp_path, site))))
    player.tick(0, yard={"pump": 0, "flow": 0.0}, palm_top=current(5.0))
    player.tick(1, yard={"pump": 0, "flow": 800.0}, palm_top=None)
    assert player.core.status.state("palm").status == "receiving"


def test_people_set_a_tank_aside_with_a_reason_and_take_it_back(tmp_path: Path) -> None:
    farm = Farm(tmp_path, 44, "north")
    farm.run(600)
    assert (
        farm.act("quarantine_tank", tank="north", by="Ann", reason="odd smell").body["now"]["status"] == "quarantined"
    )
    assert farm.act("quarantine_tank", tank="north", by="Ben", reason="again").status is Taken.ALREADY
    assert farm.act("release_tank", tank="north", by="Ann", **RESULT).status is Taken.REFUSED
    back = farm.act("lift_quarantine", tank="north", by="Ben", reason="second sample is fine")
    assert back.body["now"]["status"] == "awaiting test"
    assert farm.act("remove_tank", tank="north", by="Ben", reason="cleaning").body["now"]["status"] == "out of service"
    assert farm.act("return_tank", tank="north", by="Ben", reason="cleaned").body["now"]["status"] == "awaiting test"
    assert farm.act("release_tank", tank="east", by="Ben", **RESULT).status is Taken.UNKNOWN
    assert farm.moves[0][0] == "quarantined by a person"


def test_a_recording_knows_no_release_so_that_nothing_of_it_is_judged(tmp_path: Path) -> None:
    core = core_of_recording(load_site(write_site(tmp_path, LOOP_SITE + RULE)))
    assert not core.status
    player = Player(core)
    seen: list[str] = []
    for second in range(0, 1800, 5):
        seen += player.tick(second, palm_top=current(5.0 - max(0, second - 900) * (1.0 / 60 / AREA_M2)))
    assert not [alarm for alarm in seen if "released" in alarm]


def test_a_site_without_a_rule_keeps_no_status_and_says_so(tmp_path: Path) -> None:
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE)))
    assert not core.status
    fields = {"tank": "palm", "by": "Ann", **RESULT}
    answer = core.step(Tick(Instant(1, START_MS, 0), (), [act_of("release_tank", fields)])).answers[0]
    assert answer.status is Taken.REFUSED
    assert "[stock.settling]" in answer.text
