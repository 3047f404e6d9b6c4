"""The system's own conditions: from plain facts to what is known of each. The house's own rules."""

import pytest

from alerts.selfwatch import DAY_MS, HOUR_MS, SystemFacts, SystemRules, judged

FINE = SystemFacts(0.1, 0.0, 40.0)


def known(facts: SystemFacts) -> dict[str, tuple[float | None, bool | None]]:
    return {f"{t.source}.{t.condition}": (t.value, t.on) for t in judged(facts, SystemRules(), ["L1"])}


def test_values_are_handed_on_to_be_held_against_their_limits() -> None:
    assert known(FINE._replace(store_lag_s=61.0, publisher_away_s=301.0, disk_used_percent=91.0)) == {
        "system.store_late": (61.0, None),
        "system.publisher_late": (301.0, None),
        "system.disk_filling": (91.0, None),
        "system.clock_wrong": (None, False),
        "system.store_damaged": (0.0, False),
        "system.check_overdue": (0.0, False),
        "L1.check_overdue": (None, False),
    }


def test_without_a_broker_or_a_disk_that_tells_nothing_is_said_of_them() -> None:
    found = known(FINE._replace(publisher_away_s=None, disk_used_percent=None))
    assert "system.publisher_late" not in found
    assert found["system.disk_filling"] == (None, None)


@pytest.mark.parametrize(
    ("facts", "wrong"),
    [
        (FINE._replace(clock_behind=True), True),
        (FINE._replace(step_ms=-60_000, stepped_ms=0), True),
        (FINE._replace(step_ms=59_999, stepped_ms=0), False),
        (FINE._replace(step_ms=3_600_000, stepped_ms=HOUR_MS - 1), True),
        (FINE._replace(step_ms=3_600_000, stepped_ms=HOUR_MS), False),
    ],
)
def test_the_clock_is_wrong_behind_what_is_stored_and_for_an_hour_after_a_step(facts: SystemFacts, wrong: bool) -> None:
    assert known(facts)["system.clock_wrong"][1] is wrong


def test_a_failed_check_is_overdue_after_its_time_and_overdue_tests_are_counted() -> None:
    assert known(FINE._replace(failed_checks_ms={"L1": 7 * DAY_MS - 1}))["L1.check_overdue"][1] is False
    assert known(FINE._replace(failed_checks_ms={"L1": 7 * DAY_MS}))["L1.check_overdue"] == (7.0, True)
    assert known(FINE._replace(tests_overdue=3))["system.check_overdue"] == (3.0, True)
