"""The options of `gaugehouse water`, `drain-check`, `forecast` and `due`, apart from the commands themselves."""

from argparse import ArgumentParser
from typing import Final

from inventory.draincheck import APPEARANCES

OUTPUT: Final = "for programs"


def _output(parser: ArgumentParser) -> None:
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help=OUTPUT)
    how.add_argument("--csv", action="store_true", help="as CSV")


def add_water(parser: ArgumentParser) -> None:
    """Which tank, and the account or the checks."""
    parser.add_argument("--tank", metavar="ID", help="one tank only")
    parser.add_argument("--checks", action="store_true", help="the drain checks that are kept, instead of the account")
    _output(parser)


def add_drain_check(parser: ArgumentParser) -> None:
    """A tank, and what came of the check."""
    parser.add_argument("tank", metavar="TANK")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--clear", action="store_true", help="no water came")
    what.add_argument("--water", metavar='"250 mL"', help="so much water came, as read on the vessel")
    what.add_argument("--not-done", metavar="WHY", help="it was not done, and why; it stays due")
    what.add_argument("--withdraw", type=int, metavar="N", help="check N was entered wrongly; --comment says how")
    parser.add_argument("--looked", choices=APPEARANCES, help="how the sample looked")
    parser.add_argument("--fuel", metavar='"2 L"', help="fuel drained with it")
    parser.add_argument(
        "--document", type=int, metavar="N", help="document of the water draw that tells the same volumes"
    )
    parser.add_argument("--day", metavar="DATE", help="the site day that it was done on (default: today)")
    parser.add_argument("--comment", default="", metavar="TEXT")
    parser.add_argument("--by", required=True, metavar="NAME")
    parser.add_argument("--json", action="store_true", help=OUTPUT)


def add_forecast(parser: ArgumentParser) -> None:
    """Which tank or product."""
    parser.add_argument("--tank", metavar="ID", help="one tank only")
    parser.add_argument("--product", metavar="ID", help="one product only")
    _output(parser)


def add_due(parser: ArgumentParser) -> None:
    """All of it, or what wants doing now."""
    parser.add_argument("--now", action="store_true", help="only what is due now; exit 1 where it is overdue")
    parser.add_argument("--kind", metavar="KIND", help='one kind only, such as "drain check"')
    _output(parser)
