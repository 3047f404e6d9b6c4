"""Conditions of points, tanks and the system itself, from the site file through the core to alarms."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from gaugehouse.core import Core, Tick
from gaugehouse.liveview import LiveView
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, write_site

START_MS = 1_700_000_000_000

YARD = """
[[instrument]]
id = "yard"
bus = "gateway"
unit = 2

[[instrument.signal]]
name = "lshh"
function = 2
address = 0
counted_from = 0
type = "bit"

[[point]]
id = "lshh-palm"
name = "Switch of tank Palm"
signal = "yard.lshh"
role = "high_level_switch"
tank = "palm"
"""


def site_core(folder: Path, more: str) -> Core:
    return core_of(load_site(write_site(folder, LOOP_SITE + more)))


def live_view(core: Core) -> LiveView:
    return LiveView(core, "test", Collector(core.site.buses, lambda sample: None, RealClock()).health_of)


class Player:
    """Feeds a core by seconds and gathers what alarms did, as `condition event`."""

    def __init__(self, core: Core) -> None:
        self.core, self.seq = core, 0

    def tick(self, second: float, **values: Mapping[str, float | None] | None) -> list[str]:
        """`yard={"lshh": 1}`; None stands for an instrument that does not answer. Dashes are written as underscores."""
        self.seq += 1
        ms = round(second * 1000)
        samples = [
            Sample(name.replace("_", "-"), START_MS + ms, TIMEOUT if signals is None else OK, signals or {})
            for name, signals in values.items()
        ]
        result = self.core.step(Tick(Instant(self.seq, START_MS + ms, ms), samples))
        return [f"{t.source}.{t.condition} {t.event}" for t in result.transitions]


def test_a_switch_outside_the_gauge_raises_an_alarm_of_its_own_at_its_tank(tmp_path: Path) -> None:
    player = Player(site_core(tmp_path, YARD))
    assert player.tick(0, yard={"lshh": 0}) == []
    assert player.tick(1, yard={"lshh": 1}) == ["lshh-palm.high_level_switch raised"]
    assert player.tick(2, yard=None) == []  # a silent switch clears nothing
    live = LiveView(
        player.core, "test", Collector(player.core.site.buses, lambda sample: None, RealClock()).health_of
    ).build(1, START_MS + 2000)
    (alarm,) = live["alarms"]
    assert (alarm["priority"], alarm["tank"], alarm["not_independent"]) == (1, "palm", False)
    assert live["tanks"][0]["alarms"] == ["lshh-palm.high_level_switch"]
    player.tick(3, yard={"lshh": 0})
    assert player.tick(8, yard={"lshh": 0}) == ["lshh-palm.high_level_switch returned"]


def test_a_switch_that_opens_on_alarm_is_read_the_other_way_about(tmp_path: Path) -> None:
    player = Player(site_core(tmp_path, YARD + "alarm_when = 0\n"))
    assert player.tick(0, yard={"lshh": 1}) == []
    assert player.tick(1, yard={"lshh": 0}) == ["lshh-palm.high_level_switch raised"]


RESPONSE = """
[tank.response]
max_fill_rate = "2000 L/min"
reaction = "5 min"
"""
AREA_M2 = 78.5398


def current(level_m: float) -> Mapping[str, float]:
    return {"current": 4 + 16 * level_m / 12, "temperature": 15.0}


def fill(player: Player, start_m: float, litres_per_min: float, seconds: int, at: int = 0) -> list[str]:
    """Fill tank Palm from a level at a rate, one poll a second; what alarms did, with the second."""
    seen = []
    for second in range(seconds):
        level = start_m + litres_per_min / 60_000 / AREA_M2 * second
        seen += [f"{second} {what}" for what in player.tick(at + second, palm_top=current(level))]
    return seen


def test_a_receipt_at_the_agreed_rate_raises_nothing_below_high(tmp_path: Path) -> None:
    """From 300 mm below high-high: critical high is further than the response time all the way."""
    assert fill(Player(site_core(tmp_path, RESPONSE)), 10.6, 1900, 600) == []


def test_a_receipt_too_fast_is_told_and_too_little_time_only_below_high_high(tmp_path: Path) -> None:
    """Rule: an alarm when critical high is nearer than the response time while the level is below high-high. Computed:
    300 mm of a 10 m tank are 23.56 m3, 707 s at 2000 L/min; at 4000 L/min that is left 47.12 m3 = 600 mm below."""
    player = Player(site_core(tmp_path, RESPONSE))
    seen = fill(player, 10.0, 4000, 2000)
    assert [what.split()[1:] for what in seen[:2]] == [["palm.fill_rate_high", "raised"], ["palm.high", "raised"]]
    short = next(int(what.split()[0]) for what in seen if "response_short raised" in what)
    level = 10.0 + 4000 / 60_000 / AREA_M2 * (short - 10)  # its on-delay is 10 s
    assert level == pytest.approx(11.8 - 0.6, abs=0.01)
    gone = next(int(what.split()[0]) for what in seen if "response_short returned" in what)
    high_high = next(int(what.split()[0]) for what in seen if "high_high raised" in what)
    assert gone == high_high + 30  # from high-high on that alarm speaks; this one's off-delay is 30 s


def test_a_lost_signal_neither_raises_nor_clears_too_little_time(tmp_path: Path) -> None:
    player = Player(site_core(tmp_path, RESPONSE))
    fill(player, 11.2, 4000, 60)
    assert player.core.alarms.view("palm.response_short").state == "unacknowledged"  # type: ignore[union-attr]
    for second in range(60, 200):
        assert not [t for t in player.tick(second, palm_top=None) if "response" in t or "fill_rate" in t]


def test_the_time_to_high_high_and_critical_high_is_told_with_its_uncertainty(tmp_path: Path) -> None:
    """Computed: from 10 m at 2000 L/min, 1.5 m of a 10 m tank are 117.81 m3 and 3534 s, 1.8 m are 4241 s."""
    player = Player(site_core(tmp_path, RESPONSE))
    view = live_view(player.core)
    fill(player, 10.0 - 2000 / 60_000 / AREA_M2 * 119, 2000, 120)
    (tank,) = view.build(1, START_MS)["tanks"]
    found = tank["time_to"]
    assert found["high_high"]["seconds"] == pytest.approx(3534, abs=2)
    assert found["critical_high"]["seconds"] == pytest.approx(4241, abs=2)
    assert found["high_high"]["earliest_s"] <= found["high_high"]["seconds"] <= found["high_high"]["latest_s"]
    fill(player, 10.0, 0, 120, at=120)
    (tank,) = view.build(2, START_MS)["tanks"]
    assert tank["time_to"] == {"high_high": None, "critical_high": None}
