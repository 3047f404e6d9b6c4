"""The options of `gaugehouse faults` and `gaugehouse fault-entry`, apart from the commands themselves."""

from argparse import ArgumentParser


def add_look(parser: ArgumentParser) -> None:
    """What else `gaugehouse faults` can show."""
    other = parser.add_mutually_exclusive_group()
    other.add_argument(
        "--trace", metavar="INSTRUMENT:NUMBER", help="the raw samples kept of one fault, as CSV that `replay` reads"
    )
    other.add_argument(
        "--why",
        metavar="INSTRUMENT:NUMBER",
        help="causes of one fault, ranked, with evidence and tests; exit 1: unclear",
    )
    other.add_argument(
        "--figures", action="store_true", help="count, time watched and availability of each loop over 30 and 90 days"
    )


def add_entry(parser: ArgumentParser) -> None:
    """What a person may say of a fault."""
    parser.add_argument("fault", metavar="INSTRUMENT:NUMBER", help="as `gaugehouse faults` lists it, such as li-1:3")
    parser.add_argument("--by", required=True, metavar="NAME")
    parser.add_argument("--found-by", default="", metavar="TEXT", help="who or what found it (default: gaugehouse)")
    parser.add_argument("--cause", default="", metavar="TEXT")
    parser.add_argument("--part", default="", metavar="TEXT", help="the part at fault or replaced")
    parser.add_argument("--action", default="", metavar="TEXT", help="what was done")
    parser.add_argument("--comment", default="", metavar="TEXT")
    parser.add_argument("--dip-before", metavar='"9.214 m"', help="innage by hand before the work")
    parser.add_argument("--dip-after", metavar='"9.214 m"', help="innage by hand after it")
    parser.add_argument("--close", action="store_true", help="the work is done; without a cause it stays flagged")
    parser.add_argument("--corrects", type=int, metavar="N", help="this entry replaces entry N of the fault")
