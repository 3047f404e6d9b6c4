"""The words of tank status: states, countdowns, the release form and its answers."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

STATUS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "until": "settling until {time}",
        "held": "settling, stopped while fuel flows out",
        "not_watched": "settling",
        "left": "{left} left of {need} by {rule} ({source})",
        "blind": "{time} without a trusted level, not counted",
        "blind_counted": "{time} without a trusted level, counted",
        "down": "{time} without the program, by the clock",
        "down_not_counted": "{time} without the program, not counted",
        "restarts": "begun anew {count} times",
        "restarted_once": "begun anew once",
        "no_depth": "depth not known, the full height was taken",
        "released_by": "by {by}, {time}",
        "early": "before it had settled",
        "not_done": "not done: {what}",
        "said_by": "by {by}, {time}: {reason}",
        "no_status": "This site keeps no tank status: the site file names no settling rule ([stock.settling]).",
        "flows_in": "flow in told by {what}",
        "flows_out": "flow out told by {what}",
        "via": "by way of tank {tank}",
        "lack": "{volume} more went out than the papers had brought in",
        "due": "to be tested again by {time} ({source})",
        "overdue": "to be tested again since {time} ({source})",
    }
)

SCRIPT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "reason_first": "write the reason first",
        "released": "{tank}: released by {by}.",
        "released_without": "{tank}: released by {by}. Not done: {what}.",
        "said": "{tank}: {status}.",
        "already": "{tank}: it was so already.",
    }
)
"""What the page's script says."""

ACTS: Final = (
    ("quarantine", "quarantine it"),
    ("quarantine/lift", "lift its quarantine"),
    ("service/remove", "take it out of service"),
    ("service/return", "return it to service"),
)
"""What a person may say of a tank beside a release: the end of the address, and the words."""

CAUTION: Final = (
    "A release is a person's decision by the site's fuel quality rules. The program counts time and keeps what was "
    "said; it tests nothing. Wait out the relaxation time before you sample: static electricity."
)
