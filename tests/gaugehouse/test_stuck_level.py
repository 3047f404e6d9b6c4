"""A level that is held while a meter fills its tank, through the whole core; and what meters say of a tank.

The rule is common practice without a source; the figures are computed: 180 m3/h into 78.54 m2 are 0.64 mm/s.
"""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from gaugehouse.core import Core, Tick
from gaugehouse.meterflow import MeterFlows
from gaugehouse.site import MeterSpec, load_site
from gaugehouse.wiring import core_of
from models.reading import OK, Instant, Sample
from models.tank import Linear
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.gaugehouse.test_fault_why import CABINET, START_MS


def run(core: Core, seconds: int, current: Callable[[int], float], flow_m3ph: float) -> list[tuple[int, str, str, str]]:
    """Second, class, change and quality of the tank's reading, of every change of a fault."""
    told = []
    for second in range(seconds):
        at = START_MS + 1000 * second
        samples = [
            Sample("palm-top", at, OK, {"current": current(second), "temperature": 20.0}),
            Sample("cabinet", at, OK, {"volts": 24.0, "field": 12.0, "flow": flow_m3ph}),
        ]
        result = core.step(Tick(Instant(second, at, 1000 * second), samples))
        quality = result.readings[0].quality.word
        told += [(second, c.fault.fault_class, c.change, quality) for c, _ in result.fault_changes]
    return told


@pytest.mark.parametrize("flow_m3ph", [180.0, 0.0])
def test_a_held_level_with_noise_of_its_own_is_frozen_only_while_a_meter_fills_the_tank(
    tmp_path: Path, flow_m3ph: float
) -> None:
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE + CABINET)))
    rng = random.Random(5)
    told = run(core, 500, lambda s: 12.0 + rng.gauss(0, 0.001), flow_m3ph)
    if not flow_m3ph:
        assert told == []
        return
    ((second, fault_class, change, _),) = told
    assert (fault_class, change) == ("frozen", "declared")
    assert 359 <= second <= 361  # a minute until its noise is known, then frozen_after; 30 mm take 47 s
    latest = core.keepers["palm"].latest
    assert latest is not None
    assert (latest.quality.word, latest.reason.value, latest.level_m) == ("Bad", "BadDeviceFailure", None)


def test_a_level_that_follows_its_meter_has_no_fault(tmp_path: Path) -> None:
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE + CABINET)))
    rng = random.Random(5)
    assert run(core, 900, lambda s: 12.0 + rng.gauss(0, 0.001) + s * 0.000637 / 0.75, 180.0) == []


def meter(kind: str, **where: str) -> MeterSpec:
    return MeterSpec("m", "m", kind, Linear("totaliser", "volume"), factor=1.01, **where)  # type: ignore[arg-type]


def test_a_flow_is_signed_by_the_tank_that_it_fills_or_draws_from() -> None:
    both = MeterFlows([meter("flow", fills="a", draws_from="b")])
    assert both.take(0, {"m": 0.02}) == {"a": pytest.approx(0.0202), "b": pytest.approx(-0.0202)}
    assert both.take(1000, {"m": 5e-5}) == {}
    assert both.take(1000, {"m": None}) == {}
    assert MeterFlows([meter("flow")]).meters == []


def test_a_totaliser_s_flow_is_its_gain_and_a_reset_is_no_flow() -> None:
    flows = MeterFlows([meter("volume", fills="a")])
    assert flows.take(0, {"m": 100.0}) == {}
    assert flows.take(5_000, {"m": 100.1}) == {}
    assert flows.take(10_000, {"m": 100.2}) == {"a": pytest.approx(0.0202)}
    assert flows.take(12_000, {"m": 100.21}) == {"a": pytest.approx(0.0202)}
    assert flows.take(20_000, {"m": 0.0}) == {}
    assert flows.take(21_000, {"m": None}) == {}
    assert flows.take(22_000, {"m": 0.3}) == {}
