"""Conditions of points, tanks and the system itself, from the site file through the core to alarms."""

from collections.abc import Mapping
from pathlib import Path

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
        player.core, "test", Collector(player.core.site.buses, lambda sample: None, RealClock()).health
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
