"""The words of the yard display: few, short, read from afar."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

FLOWS: Final[Mapping[str, str]] = MappingProxyType({"filling": "IN", "emptying": "OUT", "still": "still"})
"""Which way the level goes. "" = not known."""

PAGE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "nothing": "– –",
        "no_data": "NO DATA",
        "no_data_since": "NO DATA since {time}",
        "flow_unknown": "– –",
        "fits": "fits {volume}",
        "full": "NOTHING FITS",
        "fits_unknown": "fits – –",
        "caution": "not a shutdown system",
        "small": "≤ {distance} m",
        "scripts": "SCRIPTS ARE OFF: figures stand still",
        "help": "Help with this page",
    }
)

FEET: Final = "ft-in"
"""Behind a level in feet: what the sixteenths are stands at the head, and from afar nobody reads them."""

SHOWN: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "percent": ("volume_percent", "{unit} of volume"),
        "level": ("level_m", "level, {unit}"),
        "volume": ("tov_m3", "volume, {unit}"),
    }
)
"""By the word of the address: column, words at the head of the page."""
