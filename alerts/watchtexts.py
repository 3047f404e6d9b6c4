"""Default texts of the conditions that are judged outside the engine: name, cause, consequence, action, respond.

Only words, the house's own: common practice, no source; a site replaces them by its own.
"""

from typing import Final

WATCH_TEXTS: Final[dict[str, tuple[str, str, str, str, str]]] = {
    "high_level_switch": (
        "Independent high-level switch",
        "The fuel has reached the switch, or the switch or its wiring has failed to its safe side",
        "The tank is about to overflow, whatever its gauge shows",
        "Stop all flow into the tank now; gauge it by hand before anything is believed or reset",
        "at once",
    ),
}
