"""What the trends page says, in words for people. Knows sentences; refuses to know figures."""

from collections.abc import Mapping
from typing import Final

TRENDS: Final[Mapping[str, str]] = {
    "help": "point at the trend, or focus it: ← → move, + − zoom, [ ] read out, 0 now",
    "loading": "reading history",
    "empty": "nothing recorded in this span",
    "failed": "history cannot be read: {why}",
    "no_value": "no value",
    "partly": "partly not good",
    "none_chosen": "choose at least one tank",
    "most": "six tanks at most in one chart",
    "ends": "no value since {time}",
    "left_out": "{count} more marks are not shown: zoom in",
    "marks_failed": "alarms, movements and faults cannot be read: {why}",
    "alarm": "alarms",
    "movement": "movements",
    "fault": "loop faults",
    "one_alarm": "alarm",
    "one_movement": "movement",
    "one_fault": "loop fault",
    "now": "goes on",
    "before": "before {time}",
    "saved": "picture saved",
    "simulated": "SIMULATED: every figure is invented",
    "caution": "not for custody transfer, not a shutdown system",
    "second": "thin line, right axis",
}
"""`{...}` is filled in."""
