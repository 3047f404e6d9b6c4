"""Words of receipts: pages, papers and commands say the same thing in the same way."""

from types import MappingProxyType
from typing import Final

PHASES: Final = MappingProxyType(
    {
        "planned": "planned",
        "awaits flow": "started, no flow seen yet",
        "receiving": "receiving",
        "settling": "settling: the surface is not calm yet",
        "calm": "calm: ready to be held against its papers",
        "not seen": "the level cannot be trusted now",
        "accepted": "accepted",
        "accepted with protest": "accepted with protest",
        "rejected": "rejected",
        "called off": "called off",
    }
)

TOPS: Final = MappingProxyType(
    {
        "high": "the maximum working level", "high_high": "high-high", "critical_high": "critical high",
        "safe_fill": "safe fill", "table": "the top of the table",
    }
)  # fmt: skip
"""Up to where a tank is filled."""

FITS: Final = MappingProxyType(
    {
        "fits": "It fits below {top}.",
        "not surely": "It may not fit below {top}: within its uncertainty it does not.",
        "does not fit": "IT DOES NOT FIT below {top}.",
        "not judged": "Whether it fits was not judged: the level is not known now. Gauge the tank by hand first.",
    }
)

BASES: Final = MappingProxyType({"standard": "at {degC} °C", "observed": "observed"})

DUE: Final = MappingProxyType(
    {
        "": "no check is due",
        "waits": "next check of line against tank at {time}",
        "due": "CHECK NOW: enter what line or vehicle say has been delivered",
        "overdue": "CHECK OVERDUE since {time}: enter what line or vehicle say has been delivered",
    }
)

WATER: Final = MappingProxyType(
    {"signal": "by the gauge", "dips": "by dips", "none": "not measured here: find the water cut by hand"}
)

PAPER: Final = MappingProxyType(
    {
        "observed_m3": "Quantity, observed", "standard_m3": "Quantity, at {degC} °C", "temperature_degC": "Temperature",
        "density_15_kgpm3": "Density at 15 °C", "note": "Delivery note", "batch": "Batch", "certificate": "Certificate",
        "vehicle": "Vehicle or line", "owner": "Owner",
    }
)  # fmt: skip
"""Fields of a delivery's paper, in their order."""

THREE: Final = MappingProxyType({"tank": "Tank", "paper": "Papers", "meter": "Line meter"})
APART: Final = MappingProxyType(
    {
        "tank": "Papers and line meter agree; the tank stands apart: look at its gauge, its table and what left it.",
        "paper": "Tank and line meter agree; the papers stand apart.",
        "meter": "Tank and papers agree; the line meter stands apart: look at its factor and when it was proved.",
        "": "",
    }
)
"""Which of the three differs from both others while these agree."""

METER: Final = MappingProxyType(
    {
        "register": "{name}: {opening} to {closing} by its register, factor {factor}, {how}",
        "compensated": "compensated",
        "at": "not compensated, line at {degC}",
        "no_degC": "not compensated, the line's temperature is not known",
        "so_far": "{volume} so far, {basis}",
        "not_now": "not to be had now",
    }
)

NOT_STATED: Final = "not stated"
NOT_DONE: Final = "not done"

TEXT: Final = MappingProxyType(
    {
        "ends_release": " until this receipt",
        "slow_start": "slow start: not held against the agreed rate yet",
        "rate_agrees": "agreed {agreed}: {off}",
        "no_rate": "no rate was agreed",
        "no_flow": "nothing flows",
        "missed": "{count} checks were not done in time",
        "no_missed": "every check was done in time",
        "unseen": "the tank cannot tell what it has gained: {why}",
        "no_level": "no trusted level now",
        "no_opening": "its level before the receipt was not known",
        "response_enough": "{available} from high-high to critical high at the agreed rate, {needed} needed: enough",
        "response_short": "{available} from high-high to critical high at the agreed rate, {needed} needed: TOO SHORT",
        "response_unknown": "not judged: the site gives no response time, no limits, or no rate was agreed",
        "rate_too_high": "ABOVE THE RATE that the tank's limits were set for",
        "rate_fine": "within the rate that the tank's limits were set for",
        "rate_unknown": "the site names no largest rate",
        "passed": "passed after {time} of flow",
        "passed_now": "PASSED ALREADY",
        "passed_no_rate": "passed",
        "not_passed": "not passed, {room} below it in the end",
        "paper_error": "the paper's own two quantities differ by {percent} % from its temperature and density",
        "made": "planned by {name}",
        "beyond_paper": "MORE HAS COME THAN THE PAPERS STATE: stop, find out what flows",
        "diverges": "LINE AND TANK DISAGREE: stop, check the line-up, walk the line",
        "beyond": "beyond the limit",
        "agrees": "line and tank agree within the site's limit",
        "cannot_tell_yet": "the tank cannot tell so little yet",
    }
)

SCRIPT: Final = MappingProxyType(
    {
        "name_first": "write your name first",
        "figure_first": "write the figure first",
        "failed": "not done: {why}",
        "offline": "the console does not answer",
        "sure": "{why} Press once more if it is so.",
        "tank_first": "choose the tank that it is for",
        "quantity_first": "write the quantity of the paper first",
        "noted": "written down",
        "started": "started: the tank is watched from now on",
        "decided": "decided; the record is kept",
        "off": "called off",
        "line_metered": "written down by the line's meter; what the tank says stands above, under Line against tank",
        "line": "written down: {figure}; what the tank says stands above, under Line against tank",
        "document": "the delivery note is in the book as document {number}",
    }
)
"""What the page's script says."""
