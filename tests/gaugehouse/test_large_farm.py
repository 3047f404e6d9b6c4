"""What must not grow faster than a farm: settings are sought once, the live object is made in pieces, state too."""

import gc
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from gaugehouse import fastloop
from gaugehouse.core import Tick
from gaugehouse.corestate import STATES_TOGETHER
from gaugehouse.journal import started, state_of_site
from gaugehouse.liveview import TOGETHER, LiveView
from gaugehouse.wiring import core_of
from models.reading import OK, Instant, Sample
from tests.bench.scalefarm import farm_site

TANKS = 2 * STATES_TOGETHER + 1


def test_a_farm_of_many_tanks_tells_the_model_of_each(tmp_path: Path) -> None:
    site = farm_site(tmp_path, 20, [1502])
    told = {d.body["tank"]: d.body for d in started(site, {}, "b", 0, simulated=True) if d.kind == "model_version"}
    assert list(told) == [tank.id for tank in site.tanks]
    for tank, body in told.items():
        wanted = (f"tank[{tank}].model.", "product[jet].model.")
        by_hand = {key: value for key, value in site.settings.items() if key.startswith(wanted)}
        assert body["model"] == by_hand
        assert list(body["model"]) == list(by_hand)  # the record book writes them in this order
        assert f"site/model/{tank}/{body['version']}" in state_of_site(site)


def test_the_live_object_in_pieces_is_the_one_made_in_one_go(tmp_path: Path) -> None:
    site = farm_site(tmp_path, TANKS, [1502, 1503])
    core = core_of(site)
    samples = [Sample(f"i{n}", 1000, OK, {"level": 5000.0 + n}) for n in range(TANKS)]
    core.step(Tick(Instant(1, 1000, 1000), samples))
    view = LiveView(core, "test", Collector(site.buses, lambda sample: None, RealClock()).health_of)
    whole, made = view.build(1, 2000), {}
    building = view.building(1, 2000)

    def drive() -> Iterator[None]:
        made.update((yield from building))

    pieces = sum(1 for _ in drive())
    assert made == whole
    assert pieces >= 2 * (TANKS // TOGETHER)
    assert [tank["tank"] for tank in whole["tanks"]] == [tank.id for tank in site.tanks]


def test_an_alarm_of_an_instrument_or_a_tank_stands_at_its_tank_alone(tmp_path: Path) -> None:
    site = farm_site(tmp_path, 3, [1502])
    core = core_of(site)
    for second in range(20):
        high = Sample("i1", 1000 * second, OK, {"level": 9900.0})
        silent = Sample("i2", 1000 * second, "timeout", {})
        core.step(Tick(Instant(second, 1000 * second, 1000 * second), [high, silent]))
    view = LiveView(core, "test", Collector(site.buses, lambda sample: None, RealClock()).health_of)
    alarms = {tank["tank"]: tank["alarms"] for tank in view.build(1, 20_000)["tanks"]}
    assert alarms["t0"] == []
    assert {alarm.partition(".")[0] for alarm in alarms["t1"]} == {"t1"}
    assert "t1.high_high" in alarms["t1"]
    assert alarms["t2"] == ["i2.no_answer"]


def test_state_saved_in_parts_is_the_whole_state(tmp_path: Path) -> None:
    core = core_of(farm_site(tmp_path, TANKS, [1502]))
    core.step(Tick(Instant(1, 1000, 1000), [Sample("i3", 1000, OK, {"level": 5000.0})]))
    parts = list(core.slow_parts())
    assert all(part["core/elapsed_ms"] == "1000" for part in parts)
    assert max(len(part) for part in parts) == STATES_TOGETHER + 2
    saved = core.slow_state()
    assert {key for part in parts for key in part} >= saved.keys()
    assert {key for key in saved if key.startswith("tank/")} == {f"tank/t{n}" for n in range(TANKS)}
    assert json.loads(saved["tank/t3"] or "") != json.loads(saved["tank/t4"] or "")


def test_the_memory_collector_looks_the_more_seldom_the_more_tanks_there_are() -> None:
    before = gc.get_threshold()
    try:
        fastloop.settle_memory(0)
        assert gc.get_threshold() == (fastloop.YOUNG, *before[1:])
        fastloop.settle_memory(2000)
        assert gc.get_threshold() == (fastloop.YOUNG + 2000 * fastloop.YOUNG_A_TANK, *before[1:])
        assert gc.isenabled()
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()


def test_the_daemons_loop_is_uvloop_only_where_it_is_there_and_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    uvloop = pytest.importorskip("uvloop")
    monkeypatch.delenv(fastloop.VARIABLE, raising=False)
    with fastloop.runner() as runner:
        assert isinstance(runner.get_loop(), uvloop.Loop)
    monkeypatch.setenv(fastloop.VARIABLE, "asyncio")
    with fastloop.runner() as runner:
        assert not isinstance(runner.get_loop(), uvloop.Loop)
    monkeypatch.delenv(fastloop.VARIABLE)
    monkeypatch.setitem(sys.modules, "uvloop", None)  # as where it is not installed
    with fastloop.runner() as runner:
        assert not isinstance(runner.get_loop(), uvloop.Loop)
