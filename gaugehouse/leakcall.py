"""The options of `gaugehouse leak`, apart from the command itself: no other command loads what that needs."""

from argparse import ArgumentParser


def add_arguments(parser: ArgumentParser) -> None:
    """Which tank, over which time, and whether the result is signed."""
    parser.add_argument("--tank", metavar="ID", help="one tank (default: those that the site file names for tests)")
    parser.add_argument("--from", dest="start", metavar="TIME", help="with --to: over that time, not the quiet hours")
    parser.add_argument("--to", dest="end", metavar="TIME", help="before this time (without --from: of two weeks)")
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--signed", action="store_true", help="the tests that were signed instead, newest first")
    parser.add_argument("--sign", action="store_true", help="keep the result in the record book; with --tank and --by")
    parser.add_argument("--by", metavar="NAME", help="who signs")
    parser.add_argument("--comment", default="", metavar="TEXT", help="what the record says beside it")
    parser.add_argument(
        "--decide",
        metavar="REASON",
        help="a loss that a signed test found is none, or is dealt with; with --tank, --by",
    )
    parser.add_argument("--pdf", metavar="FILE.pdf", help="the newest signed test of --tank as a paper")
