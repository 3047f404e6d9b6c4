"""Why a fault came, from what the house kept of it: trace, points, meters, supplies, other loops, hours of the day.

The signatures are those of tests/alerts/test_diagnosis.py; the timelines are the house's own.
"""

import json
import random
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from alerts.diagnosis import AROUND
from alerts.noise import LoopNoise
from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.core import Core, Tick
from gaugehouse.faultwhy import floor_m, why
from gaugehouse.site import Site, SiteError, load_site
from gaugehouse.stores import Stores, look_into_book, look_into_readings, look_into_traces, open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, write_site

START_MS = 1_769_846_400_000  # 2026-01-31T08:00:00Z

CABINET = """
[[instrument]]
id = "cabinet"
bus = "gateway"
unit = 2

[[instrument.signal]]
name = "volts"
function = 3
address = 0
counted_from = 0
type = "float32"
unit = "V"

[[instrument.signal]]
name = "field"
function = 3
address = 2
counted_from = 0
type = "float32"
unit = "mA"

[[instrument.signal]]
name = "flow"
function = 3
address = 4
counted_from = 0
type = "float32"
unit = "m3/h"

[[point]]
id = "supply"
signal = "cabinet.volts"
role = "supply_voltage"

[[point]]
id = "at-the-gauge"
signal = "cabinet.field"
role = "field_current"
tank = "palm"

[[meter]]
id = "inlet"
signal = "cabinet.flow"
kind = "flow"
fills = "palm"
"""

Loop = Callable[[int], float | None]


def played(site: Site, seconds: int, loop: Loop, cabinet: Callable[[int], Mapping[str, float]] | None = None) -> None:
    """What the daemon does with each tick, one a second, into the site's own files."""
    with open_stores(site) as stores:
        core = core_of(site)
        for second in range(seconds):
            mA = loop(second)
            told = {} if mA is None else {"current": mA, "temperature": 20.0}
            samples = [Sample("palm-top", START_MS + second * 1000, OK if told else "timeout", told)]
            if cabinet is not None:
                samples.append(Sample("cabinet", START_MS + second * 1000, OK, cabinet(second)))
            _tick(core, stores, second, samples)
        stores.book.save_state(core.slow_state())


def _tick(core: Core, stores: Stores, second: int, samples: list[Sample]) -> None:
    at = Instant(second + 1, START_MS + second * 1000, second * 1000)
    result = core.step(Tick(at, samples))
    stores.traces.keep(*core.loops.traces.take())
    stores.readings.append(result.readings)
    if result.decisions:
        entries = [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
        stores.book.commit(entries, core.changed_state())


def causes(site: Site, number: int = 1) -> dict[str, Any]:
    with look_into_book(site) as book, look_into_traces(site) as traces, look_into_readings(site) as store:
        found = why(site, book, traces, store, "palm-top", number)
    assert found is not None
    return found


def best(found: dict[str, Any]) -> set[str]:
    return {cause["cause"] for cause in found["causes"] if cause["best"]}


def living(level_mA: float = 12.0) -> Loop:
    rng = random.Random(8)
    return lambda second: level_mA + rng.gauss(0, 0.002)


def test_a_transmitter_s_failure_is_told_by_the_command_and_as_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = load_site(write_site(tmp_path))
    alive = living()
    played(site, 200, lambda s: 3.5 if 120 <= s < 180 else alive(s))
    assert main(["faults", str(site.path), "--why", "palm-top:1"]) == 0
    text = capsys.readouterr().out
    assert "* The transmitter reports a failure (low)" in text
    assert "for: 3.50 mA" in text
    assert "test: Read the transmitter's own status" in text
    assert "licensed" in text
    assert "%" not in text.replace("0.5 %", "")  # no probability
    assert main(["faults", str(site.path), "--why", "palm-top:1", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer == causes(site)
    assert answer["verdict"] == "told"


def test_without_extra_signals_a_dead_loop_cannot_be_told_apart_and_the_exit_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = load_site(write_site(tmp_path))
    alive = living()
    played(site, 200, lambda s: 0.0 if s >= 120 else alive(s))
    assert main(["faults", str(site.path), "--why", "palm-top:1"]) == 1
    assert "cannot be told apart" in capsys.readouterr().out
    assert best(causes(site)) == {"open_circuit", "supply_lost", "short"}


@pytest.mark.parametrize(
    ("volts", "field", "cause"), [(24.0, 0.0, "open_circuit"), (0.3, 0.0, "supply_lost"), (24.0, 12.0, "short")]
)
def test_points_of_the_cabinet_part_the_causes_of_a_dead_loop(
    tmp_path: Path, volts: float, field: float, cause: str
) -> None:
    site = load_site(write_site(tmp_path, LOOP_SITE + CABINET))
    alive = living()
    broken = {"volts": volts, "field": field, "flow": 0.0}
    played(
        site, 200, lambda s: 0.0 if s >= 120 else alive(s),
        lambda s: broken if s >= 120 else {"volts": 24.0, "field": 12.0, "flow": 0.0},
    )  # fmt: skip
    assert best(causes(site)) == {cause}


def test_a_loop_powered_indicator_that_falls_silent_points_to_its_loop(tmp_path: Path) -> None:
    text = LOOP_SITE.replace('id = "palm-top"\n', 'id = "palm-top"\npowered_by = "loop"\n', 1)
    alive = living()
    for name, where in (("loop", text), ("itself", LOOP_SITE)):
        (tmp_path / name).mkdir()
        site = load_site(write_site(tmp_path / name, where))
        played(site, 200, lambda s: None if s >= 120 else alive(s))
        found = causes(site)
        if name == "loop":
            assert best(found) == {"open_circuit", "supply_lost"}
        else:
            assert best(found) == {"silent_unit"}


def test_a_level_that_stands_while_the_meter_fills_its_tank_is_a_frozen_register_by_the_field_s_word(
    tmp_path: Path,
) -> None:
    """18 m3/h into 78.5 m2 are 0.229 m an hour, 0.0051 mA a minute of a 12 m loop (computed)."""
    site = load_site(write_site(tmp_path, LOOP_SITE + CABINET))
    alive = living()
    stuck = 12.0005
    played(
        site, 1500, lambda s: stuck if s >= 120 else alive(s),
        lambda s: {"volts": 24.0, "field": 12.0 + max(0, s - 120) * 0.0051 * 10 / 60, "flow": 180.0},
    )  # fmt: skip
    found = causes(site)
    assert best(found) == {"frozen_register"}
    said = " ".join(found["causes"][0]["evidence_for"])
    assert "equal to the last digit" in said
    assert "moved on" in said
    assert "a movement elsewhere" in said


def test_an_unknown_fault_is_refused_with_the_way_to_find_the_known_ones(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = load_site(write_site(tmp_path))
    played(site, 10, living())
    assert main(["faults", str(site.path), "--why", "palm-top:7"]) == 2
    assert "lists the faults" in capsys.readouterr().err


def test_a_meter_that_fills_a_tank_that_is_not_there_is_a_mistake_of_the_site_file(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match=r"meter\[inlet\].*fills|fills"):
        load_site(write_site(tmp_path, LOOP_SITE + CABINET.replace('fills = "palm"', 'fills = "plam"')))


def test_every_cause_stands_in_the_maintainers_page_and_every_role_that_helps() -> None:
    page = (Path(__file__).parents[2] / "docs" / "diagnosis.md").read_text(encoding="utf-8").lower()
    for words in ("open circuit", "supply lost", "short", "starved loop", "reset cycling", "leak to earth"):
        assert words in page
    for role in AROUND:
        assert role == "ambient_temperature" or f'role = "{role}"' in page


# Dips, and the quietest that the loop has been


def dipped(site: Site, off_m: Callable[[float], float], levels: Sequence[float], days: int = 1) -> None:
    """Dips of the days after the fault, each at another level, with what the gauge told then in the entry."""
    with open_stores(site) as stores:
        core = core_of(site)
        core.restore(stores.book.state())
        for k, level in enumerate(levels, 1):
            at = Instant(100_000 + k, START_MS + (days * k) * 86_400_000, 10_000_000 + k)
            fields = {"tank": "palm", "by": "Ann", "readings_m": [level, level]}
            result = core.step(Tick(at, (), [act_of("add_dip", fields)]))
            bodies = [{**d.body, "gauge_m": level + off_m(level)} for d in result.decisions]
            stores.book.commit(
                [Entry(d.kind, at.time_ms, at.seq, body) for d, body in zip(result.decisions, bodies, strict=True)],
                core.changed_state(),
            )


@pytest.mark.parametrize(
    ("off_m", "wanted"),
    [(lambda h: 0.045, {"zero_shift"}), (lambda h: 0.008 * h, {"span_error"}), (lambda h: 0.001, set())],
)
def test_dips_after_a_fault_speak_for_a_moved_zero_or_a_wrong_scale(
    tmp_path: Path, off_m: Callable[[float], float], wanted: set[str]
) -> None:
    site = load_site(write_site(tmp_path))
    alive = living()
    played(site, 200, lambda s: 3.5 if 120 <= s < 180 else alive(s))
    assert not {"zero_shift", "span_error"} & {one["cause"] for one in causes(site)["causes"]}
    dipped(site, off_m, [2.0, 5.0, 8.0, 11.0])
    told = {one["cause"]: one["evidence_for"] for one in causes(site)["causes"]}
    spoken = {name for name in ("zero_shift", "span_error") if told.get(name)}
    assert spoken >= wanted
    assert bool(spoken) == bool(wanted)
    assert all("4 dips" in " ".join(told[name]) for name in wanted)


def test_the_lowest_noise_that_a_loop_has_learned_is_asked_of_the_saved_state(tmp_path: Path) -> None:
    site = load_site(write_site(tmp_path))
    noise = LoopNoise()
    rng = random.Random(4)
    for second in range(100_000):
        if noise.take(second * 1000, "current", 12 + rng.gauss(0, 0.002)):
            noise.learn(second * 1000)
    state = {"fault/palm-top": json.dumps({"noise": noise.saved()})}
    found = floor_m(site, state, "palm-top")
    assert found is not None
    assert found == pytest.approx(0.002 * 12 / 16, rel=0.5)
    assert floor_m(site, {}, "palm-top") is None
    assert floor_m(site, {"fault/palm-top": json.dumps({"noise": LoopNoise().saved()})}, "palm-top") is None
