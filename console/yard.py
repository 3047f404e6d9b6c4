"""How large a character must be to be read from afar, and what an address of the yard display asks for.

Pure arithmetic and words of an address; refuses to know screens, pixels or tanks.

Source of the angles: NUREG-0700 rev. 2, 1.3.1-4 (at least 16 minutes of arc, 20 to 22 preferred, the same figures as
ISO 9241-3); the height is that of a figure or a capital letter.
"""

from math import atan, degrees, radians, tan
from typing import Final, Literal, NamedTuple

from console.problems import Refused

LEAST_ARC_MIN: Final = 16.0
"""Below this nothing is set. Source: NUREG-0700 rev. 2, 1.3.1-4."""
TEXT_ARC_MIN: Final = 16.5
"""All that is not the main figure: the least, with a little to spare for rounding to pixels."""
MAIN_ARC_MIN: Final = 25.0
"""The main figure where the address does not say: above the preferred 20 to 22, for people in a hurry outdoors."""
MOST_ARC_MIN: Final = 60.0

Shown = Literal["percent", "level", "volume"]
Light = Literal["sun", "night"]


class YardSetting(NamedTuple):
    """What one screen shows and how. night: from and to as minutes after midnight on the site's clock, or None."""

    distance_m: float = 12.0
    screen_inch: float = 55.0
    arc_min: float = MAIN_ARC_MIN
    show: Shown = "percent"
    light: Light = "sun"
    night: tuple[int, int] | None = None
    turn_s: int = 10

    @property
    def digit_mm(self) -> float:
        """Height of the main figure on the glass."""
        return 1000 * character_height_m(self.distance_m, self.arc_min)

    @property
    def text_mm(self) -> float:
        """Height of the capitals of everything else on the glass."""
        return 1000 * character_height_m(self.distance_m, TEXT_ARC_MIN)


def character_height_m(distance_m: float, arc_min: float) -> float:
    """Height of a character that spans `arc_min` minutes of arc at `distance_m`: 2 D tan(a / 2)."""
    return 2 * distance_m * tan(radians(arc_min / 60) / 2)


def arc_of_min(height_m: float, distance_m: float) -> float:
    """Minutes of arc of a character of that height at that distance: the rule turned round."""
    return 60 * degrees(2 * atan(height_m / 2 / distance_m))


def hours(text: str) -> tuple[int, int]:
    """Minutes after midnight of hours such as 19:00-06:00, whose form was checked. Without a length: `Refused`."""
    begin, end = (60 * int(part[:2]) + int(part[3:]) for part in text.split("-"))
    if begin == end:
        raise Refused(422, f"night={text} has no length; leave it out, or write for example night=19:00-06:00")
    return begin, end
