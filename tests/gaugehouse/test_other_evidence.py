"""What meters, points and orders tell of a tank whose level does not: how urgent its loss is, may a check begin.

Rules 11 and 12 of the domain: a fault takes the priority of the highest alarm that it blinds in the tank's present
state; an order counts as a movement that is about to begin.
"""

from pathlib import Path

import pytest

from alerts.loopfaults import Fault
from gaugehouse.acts import Taken, act_of
from gaugehouse.core import Core, Tick
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.gaugehouse.test_fault_why import CABINET, START_MS
from tests.gaugehouse.test_tank_status import RULE

BIT = """
[[instrument.signal]]
name = "lshh"
function = 1
address = 9
counted_from = 0
type = "bit"

"""
SWITCH = '\n[[point]]\nid = "lshh"\nsignal = "cabinet.lshh"\nrole = "high_level_switch"\ntank = "palm"\n'
POINT = '\n[[point]]\nid = "inlet"\nsignal = "cabinet.flow"\nrole = "valve"\ntank = "palm"\n'


def run(core: Core, first: int, last: int, current: float, flow_m3ph: float) -> list[str]:
    told: list[str] = []
    for second in range(first, last):
        at = START_MS + 1000 * second
        samples = [
            Sample("palm-top", at, OK, {"current": current + 0.001 * (second % 3), "temperature": 20.0}),
            Sample("cabinet", at, OK, {"volts": 24.0, "field": 12.0, "flow": flow_m3ph}),
        ]
        result = core.step(Tick(Instant(second, at, 1000 * second), samples))
        told += [f"{t.condition} {t.priority} {t.event}" for t in result.transitions]
    return told


@pytest.mark.parametrize("by", ["meter", "point", "order", "nothing"])
def test_a_blind_tank_that_is_filled_is_told_anew_as_urgent(tmp_path: Path, by: str) -> None:
    text = LOOP_SITE + CABINET
    if by == "point":
        text = (
            text.replace('fills = "palm"\n', "")
            + POINT
            + RULE.replace("early_release_by", 'receiving_points = ["inlet"]\nearly_release_by')
        )
    core = core_of(load_site(write_site(tmp_path, text)))
    assert run(core, 0, 90, 12.0, 0.0) == []
    assert run(core, 90, 110, 0.0, 0.0) == ["signal_low 2 raised"]
    if by == "order":
        plan = act_of("plan_movement", {"tank": "palm", "kind": "receipt", "quantity_m3": 30.0, "by": "Ann"})
        core.step(Tick(Instant(110, START_MS + 110_000, 110_000), (), [plan]))
    told = run(core, 111, 140, 0.0, 100.0 if by in ("meter", "point") else 0.0)
    assert told == ([] if by == "nothing" else ["signal_low 1 raised_again"])
    assert run(core, 140, 160, 0.0, 0.0) == []  # never less urgent while it stands


@pytest.mark.parametrize(("current", "flow_m3ph"), [(0.0, 100.0), (12.0, 100.0), (0.0, 0.0)])
def test_no_loop_check_begins_while_a_meter_moves_the_tank_whatever_is_said_of_it(
    tmp_path: Path, current: float, flow_m3ph: float
) -> None:
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE + CABINET)))
    run(core, 0, 80, 12.0, 0.0)
    run(core, 80, 90, current, flow_m3ph)
    start = act_of("start_loop_check", {"instrument": "palm-top", "by": "Ada", "at_rest": "valves shut, I was there"})
    (answer,) = core.step(Tick(Instant(90, START_MS + 90_000, 90_000), (), [start])).answers
    if flow_m3ph:
        assert answer.status is Taken.REFUSED
        assert "a meter or point says that tank palm fills: wait until nothing flows" in answer.text
    else:
        assert answer.status is Taken.DONE


def test_a_fault_blinds_what_the_site_watches_by_the_level_too(tmp_path: Path) -> None:
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE + '[tank.watch]\nunordered_movement = "8 mm"\n')))
    assert [x for x in core.loops.log._blinded(_fault()) if "unordered" in x] == ["palm.unordered_movement"]


def _fault() -> Fault:
    return Fault("palm-top", 1, "fail_low", 0, None, 0.0, 0.0, "F")


def test_a_switch_card_that_falls_silent_blinds_its_alarm_and_is_urgent_while_the_tank_fills(tmp_path: Path) -> None:
    text = LOOP_SITE + CABINET.replace("[[point]]", BIT + "[[point]]", 1) + SWITCH
    core = core_of(load_site(write_site(tmp_path, text)))
    told: list[tuple[str, int]] = []
    blinded: list[tuple[str, ...]] = []
    for second in range(240):
        at = START_MS + 1000 * second
        told_by_box = {} if second >= 200 else {"volts": 24.0, "field": 12.0, "flow": 0.0, "lshh": 0.0}
        level = Sample("palm-top", at, OK, {"current": 10.0 + 0.004 * second + 0.001 * (second % 3)})
        box = Sample("cabinet", at, OK if told_by_box else TIMEOUT, told_by_box)
        result = core.step(Tick(Instant(second, at, 1000 * second), [level, box]))
        told += [(t.condition, t.priority) for t in result.transitions]
        blinded += [case.blinded for _, case in result.fault_changes]
    assert told == [("no_answer", 1)]
    assert blinded == [("lshh.high_level_switch",)]
