"""Tanks that the tests of this folder share."""

from models.geometry import UprightCylinder
from models.geometry_tables import table_of
from models.tank import LevelKind, Linear, Measures, Tank

RANGE_M = 12.0
TABLE = table_of(UprightCylinder(10, 13))


def loop_tank(**changes: object) -> Tank:
    """A 10 m upright tank whose innage comes from a 4-20 mA loop over 0 to 12 m."""
    facts: dict[str, object] = {
        "id": "palm",
        "name": "Palm Jet",
        "product": "jet",
        "level": Linear("palm-top", "current"),
        "kind": LevelKind.CURRENT,
        "measures": Measures.INNAGE,
        "table": TABLE,
        "reference_height_m": 13.5,
        "at_4mA_m": 0.0,
        "at_20mA_m": RANGE_M,
        "current_signal": Linear("palm-top", "current"),
    }
    return Tank(**(facts | changes))  # type: ignore[arg-type]
