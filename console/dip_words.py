"""The words of dips and density samples on the pages."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

CAUTION: Final = (
    "Fuel that has just flowed is charged: no tape and no sampler goes in before the relaxation time is over. Bond "
    "tape and sampler, stand where your site says, follow your local code. This page knows only of flow that a gauge "
    "saw."
)

DUE: Final[Mapping[str, str]] = MappingProxyType({"gauge against dip": "gauge against dip", "water": "water"})

DIP: Final[Mapping[str, str]] = MappingProxyType(
    {
        "none": "not dipped yet",
        "by": "by {by}, {time}",
        "last": "{level} by {by}, {time}",
        "due": "next due {time} ({why})",
        "overdue": "overdue since {time} ({why})",
        "due_now": "due now ({why})",
        "off": "{off} ± {u95}",
        "within": "within {limit}",
        "beyond": "beyond {limit}",
        "no_gauge": "the gauge's level then is not known",
        "water": "{water}, {time}",
        "water_old": "{water}, {time}: too old to count",
        "water_none": "never found",
        "base": "{base}, product",
        "base_sample": "{base}, sample {number} of {time}",
        "wait": "wait {minutes} min more: static electricity",
        "flows": "fuel flows: no dip, no sample; then wait {minutes} min",
        "unwatched": "not watched long enough to know: ask who moves fuel before a tape goes in",
        "free": "the relaxation time is over, by what the gauge has shown",
        "split": "{dips} dips; {left} are left unexplained",
        "zero": "{value} ± {u95} at an innage of {at}",
        "span": "{value} ± {u95} a {length}",
        "steady": "none seen",
        "up": "reads more than it did, since about {time}",
        "down": "reads less than it did, since about {time}",
        "runs": "a gauge that stands still is wrongly said to have moved once in {runs} dips on the average",
        "metric": "metre",
        "us": "foot",
        "not_done": "not done",
        "accepted": "accepted",
        "rejected": "not accepted: {why}",
    }
)

SCRIPT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "written": "dip {number} written by {name}: {read}. {note}",
        "sampled": "sample {number} written by {name}: {base} at {degC} °C, {verdict}. {note}",
        "accepted": "accepted",
        "rejected": "not accepted",
        "withdrawn": "number {number} withdrawn by {name}",
        "before": "it was written before, as number {number}",
        "which": "write its number, as in the list",
        "nothing_read": "no level",
        "water_read": "water {water}",
        "figures_first": "write the density as read and its temperature first",
        "settled": "{level} ({how})",
        "against": "gauge less dip {off} ± {u95}",
        "nothing": "",
    }
)
