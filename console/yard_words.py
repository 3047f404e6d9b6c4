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

SHOWN: Final[Mapping[str, tuple[str, str, str]]] = MappingProxyType(
    {
        "percent": ("volume_percent", "%", "% of volume"),
        "level": ("level_m", "mm", "level, mm"),
        "volume": ("tov_m3", "L", "volume, L"),
    }
)
"""By the word of the address: column, unit behind the figure, words at the head of the page."""
