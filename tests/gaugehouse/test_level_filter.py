"""A tank's filter in the core: what sees the damped level and what never does; what is stored; restart; `check`."""

import json
from pathlib import Path

from gaugehouse.checking import check
from gaugehouse.core import Core, Tick
from gaugehouse.replay import replay
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE

LIMITS = """
[tank.limits]
critical_high = "11 m"
high_high = "10.5 m"
high = { at = "10 m", on_delay = "0 s" }
low = { at = "2 m", on_delay = "0 s" }
"""
FILTER = '[tank.filter]\nkind = "first order"\ntime_constant = "60 s"\n'
RESPONSE = '[tank.response]\nmax_fill_rate = "1000 L/min"\n'


def site(folder: Path, extra: str = FILTER) -> Site:
    path = folder / "site.toml"
    text = LOOP_SITE.format(port=1502, period="1 s").partition("[tank.limits]")[0]
    path.write_text(text + LIMITS + extra, encoding="utf-8")
    return load_site(path)


def tick(second: float, level_m: float | None, current_mA: float | None = None) -> Tick:
    at = Instant(0, 1_800_000_000_000 + round(1000 * second), 5000 + round(1000 * second))
    current = 4 + level_m / 12 * 16 if level_m is not None else current_mA
    return Tick(at, (Sample("palm-top", at.time_ms, OK, {"current": current, "temperature": 20.0}),))


def raised(core: Core, *ticks: Tick) -> dict[str, list[float]]:
    """Conditions and the seconds at which they were raised."""
    found: dict[str, list[float]] = {}
    for one in ticks:
        for t in core.step(one).transitions:
            if t.event == "raised" and t.condition != "rate_impossible":  # the steps here are no fuel's
                found.setdefault(t.condition, []).append((one.at.elapsed_ms - 5000) / 1000)
    return found


def test_high_waits_for_the_damped_level_and_high_high_does_not(tmp_path):
    quiet, step = [tick(k, 9.0) for k in range(10)], [tick(10 + k, 10.4) for k in range(120)]
    # computed: a step from 9 to 10.4 m is at 10 m after 60 s x ln(1.4 / 0.4) = 75.2 s
    assert raised(core_of(site(tmp_path)), *quiet, *step) == {"high": [85.0]}
    assert raised(core_of(site(tmp_path, "")), *quiet, *step) == {"high": [10.0]}
    at_once = raised(core_of(site(tmp_path)), *quiet, tick(10, 10.6))
    assert at_once == {"high_high": [10.0], "high": [10.0]}, "high-high pulls high with it"


def test_a_spike_below_high_high_raises_nothing(tmp_path):
    ticks = [tick(k, 10.3 if k == 15 else 9.0) for k in range(30)]
    assert raised(core_of(site(tmp_path)), *ticks) == {}
    assert raised(core_of(site(tmp_path, "")), *ticks) == {"high": [15.0]}


def test_low_sees_the_damped_level_too(tmp_path):
    ticks = [tick(k, 1.5 if k == 15 else 3.0) for k in range(30)]
    assert raised(core_of(site(tmp_path)), *ticks) == {}
    assert raised(core_of(site(tmp_path, "")), *ticks) == {"low": [15.0]}


def test_a_signal_that_fails_is_told_as_without_a_filter(tmp_path):
    ticks = [tick(k, 9.0) for k in range(10)] + [tick(10 + k, None, 3.5) for k in range(10)]
    assert raised(core_of(site(tmp_path)), *ticks) == raised(core_of(site(tmp_path, "")), *ticks) == {
        "signal_low": [14.0]
    }  # fmt: skip


def test_a_current_above_full_is_at_least_100_percent_at_once(tmp_path):
    ticks = [tick(k, 9.0) for k in range(10)] + [tick(10 + k, None, 20.7) for k in range(3)]
    found = raised(core_of(site(tmp_path)), *ticks)
    assert found["critical_high"] == found["high_high"] == found["high"] == [10.0]


def test_what_is_read_and_stored_is_undamped(tmp_path):
    damped, bare = core_of(site(tmp_path)), core_of(site(tmp_path, ""))
    for k in range(30):
        assert damped.step(tick(k, 9.0 + k % 3)).readings == bare.step(tick(k, 9.0 + k % 3)).readings
    keeper = damped.keepers["palm"]
    assert keeper.latest is not None
    assert keeper.damped_m != keeper.latest.level_m
    assert bare.keepers["palm"].damped_m is None


def test_a_restart_keeps_the_filter_when_it_was_short(tmp_path):
    whole, before = core_of(site(tmp_path)), core_of(site(tmp_path))
    for k in range(10):
        whole.step(tick(k, 9.0))
        before.step(tick(k, 9.0))
    after = core_of(site(tmp_path))
    after.restore({key: text for key, text in before.slow_state().items() if text is not None})
    assert json.loads(before.slow_state()["tank/palm"])["filter"]["kind"] == "first order"
    for k in range(10, 40):
        whole.step(tick(k, 10.4))
        after.step(tick(k, 10.4))
        assert after.keepers["palm"].damped_m == whole.keepers["palm"].damped_m
    late = core_of(site(tmp_path))
    late.restore({key: text for key, text in before.slow_state().items() if text is not None})
    late.step(tick(100, 10.4))
    assert late.keepers["palm"].damped_m == late.keepers["palm"].latest.level_m


def test_replay_gives_the_same_bytes_each_time_and_a_filter_changes_alarms_only(tmp_path):
    rows = [f"2026-01-31T08:{k // 60:02d}:{k % 60:02d}Z,palm-top,{16 + k % 7 * 0.3:.3f},20.0" for k in range(300)]
    samples = tmp_path / "samples.csv"
    samples.write_text("\n".join(["time,instrument,current,temperature", *rows]) + "\n", encoding="utf-8")
    results = []
    for extra in (FILTER, FILTER, ""):
        replay(site(tmp_path, extra), samples, tmp_path / "out")
        results.append({path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()})
    assert results[0] == results[1]
    assert results[0]["readings.csv"] == results[2]["readings.csv"]
    assert results[0]["faults.csv"] == results[2]["faults.csv"]
    assert b",high,2,raised," in results[2]["alarms.csv"]
    assert b",high,2,raised," not in results[0]["alarms.csv"]


def test_check_adds_the_lag_to_what_passes_until_the_alarm(tmp_path):
    site(tmp_path, FILTER + RESPONSE)
    text = check(tmp_path / "site.toml").text()
    # computed: 1 + (1 + 0.5) + 60 s; 1000 L/min over 78.54 m2 is 12.73 mm/min
    assert (
        "high sees the level damped (first order, 60 s): raised within 62.5 s (poll 1, one missed poll 1.5, filter 60)"
        "; at the largest flow it rises 13 mm meanwhile"
    ) in text
    assert "low sees the level damped" in text
    assert "high_high sees" not in text
    assert "filter" not in text.partition("s from high-high to critical high")[2].partition("warning")[0]
