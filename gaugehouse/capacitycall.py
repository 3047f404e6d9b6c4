"""The options of `gaugehouse capacity`, apart from the command itself: no other command loads what that needs."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Final

SIZES: Final = {
    "diameter": "inside",
    "height": "of the shell of an upright tank, or of a box",
    "length": "of a lying tank or a box: of the straight part",
    "width": "of a box",
    "fall": "by how much a sloped flat bottom falls across the diameter",
    "tilt": "the tank is out of level by this slope; the left end of a lying one is the deeper",
    "gauge": "of a tilted tank: from the deeper end of the straight part to the gauge; upright: from the axis",
}
ENDS: Final = ("bottom", "top", "ends", "left_end", "right_end")
"""Options that are keys of the site file's `shape`; docs/site-file.md says what each means."""

_END: Final = 'such as "ellipsoidal 0.6 m", "conical 0.2 m in" or "torispherical 1.0 0.06" (crown and knuckle)'


def add_arguments(parser: ArgumentParser) -> None:
    """The two ways to make a table."""
    ways = parser.add_subparsers(dest="source", required=True, metavar="SOURCE")
    shape = ways.add_parser("shape", help="from a drawing", description="A capacity table from a tank's drawing.")
    shape.add_argument("kind", metavar="KIND", help="upright, lying, box or sphere")
    for name, meaning in SIZES.items():
        wanted = '"0.5 %"' if name == "tilt" else '"2.5 m"'
        shape.add_argument(f"--{name}", metavar=wanted, help=meaning)
    for name in ENDS:
        shape.add_argument(f"--{name.replace('_', '-')}", dest=name, metavar="END", help=_END)
    strapping = ways.add_parser(
        "strapping", help="from measured girths", description="A capacity table from strapping measurements."
    )
    strapping.add_argument("file", type=Path, metavar="FILE.toml", help="the measurements; docs/stock.md has the keys")
    for way in (shape, strapping):
        way.add_argument("--step", metavar='"1 cm"', help="between rows (default: as fine as straight lines need)")
        way.add_argument("--out", type=Path, metavar="FILE.csv", help="a new file (default: standard output)")
