"""The options of `gaugehouse plan`, apart from the command itself: no other command loads what that needs."""

from argparse import ArgumentParser


def add_arguments(parser: ArgumentParser) -> None:
    """A tank, and what is to be moved."""
    parser.add_argument("tank", metavar="TANK")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--receipt", metavar='"120 m3"', help="so much is to flow into the tank")
    what.add_argument("--issue", metavar='"30 m3"', help="so much is to flow out of it")
    what.add_argument("--end", action="store_true", help="the movement is over, or will not be")
    parser.add_argument("--rate", metavar='"1000 L/min"', help="the rate that was agreed")
    parser.add_argument("--product", default="", metavar="ID", help="what is delivered, to be held against the tank's")
    parser.add_argument("--by", required=True, metavar="NAME")
    parser.add_argument("--json", action="store_true", help="for programs")
