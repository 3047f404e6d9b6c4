"""The alarm sheet says something of every built-in condition, and refuses lines that say nothing."""

from dataclasses import replace

import pytest

from alerts.errors import BadSetup
from alerts.lifecycle import Kind
from alerts.sheet import (
    BUILT_IN,
    INDEPENDENT,
    LIMIT_DEFAULTS,
    NOT_INDEPENDENT,
    WATCH_DEFAULTS,
    WATCH_UNITS,
    Sheet,
    default_limit,
    mark_of,
)
from alerts.spec import (
    CONCERN_CONDITIONS,
    LEVEL_HIGH_CONDITIONS,
    LEVEL_LOW_CONDITIONS,
    LOSS_CONDITIONS,
    MOVEMENT_CONDITIONS,
    POINT_CONDITIONS,
    RATE_CONDITIONS,
    SIGNAL_CONDITIONS,
    STATUS_CONDITIONS,
    WATCHED_CONDITIONS,
)

LIMITS = (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS, *RATE_CONDITIONS)


def test_every_built_in_condition_has_its_line() -> None:
    assert tuple(BUILT_IN) == (*LIMITS, *SIGNAL_CONDITIONS, *WATCHED_CONDITIONS)
    assert tuple(WATCH_DEFAULTS) == tuple(WATCH_UNITS) == WATCHED_CONDITIONS
    for entry in BUILT_IN.values():
        assert all(len(text) > 5 for text in (entry.name, entry.cause, entry.consequence, entry.action, entry.respond))
    assert len({entry.action for entry in BUILT_IN.values()}) > 8  # not one sentence for all


def test_alarms_of_the_gauging_instrument_are_marked_not_independent() -> None:
    # Source: API 2350 asks for an independent high-high sensor in its highest category (public summary of the standard)
    assert {c for c in BUILT_IN if mark_of(c) == NOT_INDEPENDENT} == {
        *LIMITS,
        *CONCERN_CONDITIONS,
        *MOVEMENT_CONDITIONS,
        *STATUS_CONDITIONS,
        *LOSS_CONDITIONS,
    }
    assert {c for c in BUILT_IN if mark_of(c) == INDEPENDENT} == set(POINT_CONDITIONS)


@pytest.mark.parametrize(
    ("condition", "on_ms", "priority"),
    [
        ("critical_high", 0, 1), ("high_high", 0, 1), ("high", 5000, 2), ("low", 5000, 3), ("low_low", 5000, 2),
        ("rise_fast", 5000, 2), ("fall_fast", 5000, 2),
    ],
)  # fmt: skip
def test_defaults_of_a_limit_are_the_house_s(condition: str, on_ms: int, priority: int) -> None:
    limit = default_limit(condition, 9.8, "m/s" if condition in RATE_CONDITIONS else "")
    assert (limit.on_delay_ms, limit.off_delay_ms, limit.priority) == (on_ms, 5000, priority)
    assert limit.deadband == pytest.approx(0.98 if condition in RATE_CONDITIONS else 0.010)
    assert tuple(LIMIT_DEFAULTS) == LIMITS


def test_an_unknown_limit_is_refused_with_the_known_names() -> None:
    with pytest.raises(BadSetup, match=r"'high_hi'.*high_high"):
        default_limit("high_hi", 9.8)


def test_a_site_s_own_line_replaces_the_built_in_one_for_a_condition_or_for_one_alarm() -> None:
    own = replace(BUILT_IN["high"], action="Call the shift leader", kind=Kind(latching=True))
    sheet = Sheet({"low": replace(own, name="Low"), ("T2", "high"): own})
    assert sheet.entry("T2", "high") is own
    assert sheet.entry("T1", "high") is BUILT_IN["high"]
    assert sheet.entry("T1", "low").name == "Low"


def test_every_text_emptied_by_hand_is_named_at_once() -> None:
    blank = replace(BUILT_IN["high"], action=" ", cause="")
    with pytest.raises(BadSetup, match=r"high: cause; high: action; T1\.low: cause; T1\.low: action"):
        Sheet({"high": blank, ("T1", "low"): blank})


def test_a_condition_without_a_line_is_refused() -> None:
    with pytest.raises(BadSetup, match=r"no line for T1\.foam_high"):
        Sheet().entry("T1", "foam_high")
