"""The options of `gaugehouse loop check`, apart from the commands themselves: no other command loads what they need."""

from argparse import ArgumentParser, Namespace
from typing import Final

from console.check_words import FIELDS

DIRECTIONS: Final = ("up", "down")
RUNS: Final = ("as_found", "as_left")


def add_arguments(parser: ArgumentParser) -> None:
    """One way for each act, and those that look at what is kept."""
    parser.set_defaults(loop=_run)
    ways = parser.add_subparsers(dest="way", required=True, metavar="WAY")

    def way(name: str, words: str, *, instrument: bool = True, by: bool = True) -> ArgumentParser:
        sub = ways.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        if instrument:
            sub.add_argument("instrument", metavar="INSTRUMENT", help="its id in the site file")
        if by:
            sub.add_argument("--by", required=True, metavar="NAME", help="who does it")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    start = way("start", "begins a check: the level is out of service from now on")
    start.add_argument("--for", dest="span", metavar='"30 min"', help="at most as long as the site allows (default)")
    start.add_argument("--covered-by", default="", metavar="POINT", help="the [[point]] that watches the tank")
    start.add_argument("--at-rest", default="", metavar="TEXT", help="how it is known that nothing flows")
    start.add_argument("--permit", default="", metavar="TEXT", help="the work permit")

    step = way("step", "takes the next step, or the one that is named")
    step.add_argument("--run", dest="which", choices=RUNS, help="default: as_found until it is whole, then as_left")
    step.add_argument("--point", metavar='"8 mA"', help="4, 8, 12, 16 or 20 mA (default: the next one)")
    step.add_argument("--direction", choices=DIRECTIONS, help="in which the point was reached")
    step.add_argument("--applied", metavar='"8.002 mA"', help="by the reference instrument (default: the point)")
    step.add_argument("--shown", metavar='"8.01 mA"', help="read by hand (default: the mean of steady live samples)")

    step.add_argument("--wait", metavar='"30 s"', help="for so long, try again until it is applied and steady")

    finish = way("finish", "ends a whole check and keeps its record")
    for name, words in FIELDS.items():
        finish.add_argument(f"--{name.replace('_', '-')}", default="", metavar="TEXT", help=words.lower())
    way("abort", "gives a check up; what was taken is kept").add_argument("--why", default="", metavar="TEXT")

    records = way("records", "the records that are kept, newest first", instrument=False, by=False)
    records.add_argument("--instrument", metavar="ID", help="of one instrument only")
    printed = way("print", "a record as PDF, or as JSON", instrument=False, by=False)
    printed.add_argument("number", type=int, metavar="NUMBER", help="of the record")
    printed.add_argument("--out", metavar="FILE.pdf", help="where to (default loop-check-NUMBER.pdf)")
    printed.add_argument("--letter", action="store_true", help="US Letter instead of A4")


def _run(args: Namespace) -> int:
    from gaugehouse import loopchecking

    return loopchecking.run(args)
