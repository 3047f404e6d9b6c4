"""Default texts of the conditions that are judged outside the engine: name, cause, consequence, action, respond.

Only words, the house's own: common practice, no source; a site replaces them by its own.
"""

from typing import Final

WATCH_TEXTS: Final[dict[str, tuple[str, str, str, str, str]]] = {
    "response_short": (
        "Too little time to critical high",
        "The tank fills so fast that critical high would come within the response time, with high-high still ahead",
        "When high-high comes it is too late to stop the flow in good order",
        "Throttle or stop the receipt now; do not wait for high-high",
        "at once",
    ),
    "fill_rate_high": (
        "Filling faster than the limits allow for",
        "A receipt above the agreed rate, or two at once",
        "High-high was set for a slower flow: its response time is shorter than it seems",
        "Throttle the receipt to the agreed rate; if the rate is to stay, have the limits set anew first",
        "within minutes",
    ),
    "high_level_switch": (
        "Independent high-level switch",
        "The fuel has reached the switch, or the switch or its wiring has failed to its safe side",
        "The tank is about to overflow, whatever its gauge shows",
        "Stop all flow into the tank now; gauge it by hand before anything is believed or reset",
        "at once",
    ),
    "notification_failing": (
        "People are not told",
        "The mail server, broker or service of this channel is away, refuses the message, or the way to it is broken",
        "Whoever relies on this channel does not hear of alarms: nobody may come",
        "Watch the alarm page, tell those concerned by telephone, have the channel mended; what waits is told then",
        "within the hour, at once while a tank receives and nobody is at the alarm page",
    ),
}
