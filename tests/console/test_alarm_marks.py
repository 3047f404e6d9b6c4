"""Which states call, blink and bear a mark, beside the state model.

Source: tests/data/alarms/alarm_states.csv, ISA-18.2 / IEC 62682 alarm state model, from memory, as each row says.
"""

import re

import pytest

from alerts.lifecycle import State
from console.alarm_views import sounding, tab
from console.assets import FOLDER
from tests.reference import rows

LETTER = dict(zip("ABCDEFGHI", State, strict=True))
CSS = (FOLDER / "console.css").read_text(encoding="utf-8")


def blinking() -> set[str]:
    """The states whose mark has a moving edge in the style sheet."""
    rules = re.findall(r"([^{}]+)\{[^{}]*animation: blink[^{}]*\}", CSS)
    assert len(rules) == 1
    return set(re.findall(r'data-s="(\w+)"', rules[0]))


@pytest.mark.parametrize("row", rows("alarms/alarm_states.csv"), ids=lambda row: row["state"])
def test_a_state_calls_blinks_and_bears_a_mark_as_the_state_model_says(row: dict[str, str]) -> None:
    state = LETTER[row["state"]].value
    alarm = {"id": "a.high", "priority": 1, "occurrence": 1, "state": state, "raised": None}
    assert bool(sounding([alarm])) is (row["audible"] == "yes")
    if row["blinking"] != "optional":
        assert (state in blinking()) is (row["blinking"] == "yes")
    if row["symbol"] == "yes":
        assert tab(alarm) == {"p": "1", "s": state}
        assert f'data-s="{state}"' in CSS or state == "unacknowledged"


def test_an_edge_blinks_slower_than_three_times_a_second_and_stands_still_where_motion_is_unwanted() -> None:
    """WCAG 2.2 SC 2.3.1: not more than three flashes in any second; the period is that of 0.6 Hz."""
    period_s = float(re.findall(r"animation: blink ([\d.]+)s", CSS)[0])
    assert 1 / period_s < 3
    assert period_s == pytest.approx(1 / 0.6, abs=0.001)
    assert re.search(r"prefers-reduced-motion: reduce\) \{ \.tab \.halo \{ animation: none", CSS)
