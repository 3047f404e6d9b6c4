"""The options of `gaugehouse document`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from typing import Final

Added = Callable[[str, str], ArgumentParser]

KINDS: Final = (
    "opening balance", "delivery note", "fuelling ticket", "meter totaliser", "transfer note", "water draw",
    "outside stock", "adjustment",
)  # fmt: skip
"""As `inventory.documents.DocumentKind` has them; a test compares the two."""

OPTIONS: Final = {
    "tank": ("ID", "the tank that it is about"),
    "product": ("ID", "to be held against what the tank holds"),
    "owner": ("ID", "whose fuel it is, where the site names several"),
    "paper": ("NUMBER", "the paper's own number"),
    "observed": ('"36000 L"', "the volume at its own temperature, without a sign (lost by an adjustment: negative)"),
    "standard": ('"35610 L"', "the volume at the site's reference temperature"),
    "temperature": ('"28 degC"', "of the fuel"),
    "density": ('"800 kg/m3"', "base density"),
    "place": ("ID", "a place outside the tanks: where it stands, or goes to"),
    "from-place": ("ID", "of a transfer: the place that it comes from"),
    "to-tank": ("ID", "of a transfer: the tank that it goes to"),
    "meter": ("ID", "whose totaliser was read"),
    "meter-opening": ('"10234.5 m3"', "its reading before"),
    "meter-closing": ('"10290 m3"', "its reading after"),
    "meter-factor": ("1.0013", "other than the site's"),
    "water": ('"30 L"', "of a draw: its water part"),
    "fuel": ('"10 L"', "of a draw: its fuel part"),
    "went-to": ("TEXT", "of a draw: where it went"),
    "batch": ("NUMBER", "of a delivery"),
    "certificate": ("NUMBER", "of a delivery"),
    "customer": ("TEXT", "of a ticket: who took it"),
    "authorised-by": ("NAME", "of an adjustment"),
    "comment": ("TEXT", "what else is to be said"),
}
FLAGS: Final = {
    "returned": "fuel that came back from an aircraft",
    "rolled-over": "the register began anew between the readings",
}


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `document`; each sets `document` to the function that does it."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def added(name: str, words: str) -> ArgumentParser:
        sub = what.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        sub.set_defaults(document=_run(name))
        return sub

    sub = added("add", "writes a paper down")
    sub.add_argument("kind", metavar="KIND", help=f"one of: {', '.join(KINDS)}")
    _paper(sub)
    sub = added("correct", "puts a document right: give what is to be other than it is")
    sub.add_argument("number", metavar="N", type=int)
    sub.add_argument("--nothing", action="store_true", help="it is taken out with nothing in its place")
    _paper(sub)
    sub = added("undo", "takes a document of an open day out")
    sub.add_argument("number", metavar="N", type=int)
    sub.add_argument("--comment", default="", metavar="TEXT", help="why")
    _person(sub)
    sub = added("import", "takes a file of papers in: all of its rows, or none")
    sub.add_argument("file", metavar="FILE.csv", help="columns as `document list --csv` writes them; `-` for stdin")
    sub.add_argument("--sure", action="store_true", help="what was asked about is so")
    _person(sub)
    _list(added("list", "documents by day and number"))


def _paper(sub: ArgumentParser) -> None:
    sub.add_argument("--day", metavar="YYYY-MM-DD", help="the site's day that it counts in (default: today)")
    for name, (metavar, words) in OPTIONS.items():
        sub.add_argument(f"--{name}", metavar=metavar, help=words)
    for name, words in FLAGS.items():
        sub.add_argument(f"--{name}", action="store_true", default=None, help=words)
    sub.add_argument("--sure", action="store_true", help="what was asked about is so")
    _person(sub)


def _person(sub: ArgumentParser) -> None:
    sub.add_argument("--by", required=True, metavar="NAME")
    sub.add_argument("--json", action="store_true", help="for programs")


def _list(sub: ArgumentParser) -> None:
    sub.add_argument("--from", dest="start", metavar="DAY", help="from this day on, YYYY-MM-DD")
    sub.add_argument("--to", dest="end", metavar="DAY", help="before this day")
    sub.add_argument("--tank", metavar="ID", help="those that touch one tank")
    sub.add_argument("--kind", metavar="KIND")
    sub.add_argument("--all", action="store_true", help="undone ones too")
    shape = sub.add_mutually_exclusive_group()
    shape.add_argument("--csv", action="store_true", help="as a file that `document import` reads")
    shape.add_argument("--json", action="store_true", help="for programs")


def _run(name: str) -> Callable[[Namespace], int]:
    def run(args: Namespace) -> int:
        from gaugehouse import documentlook

        does: Callable[[Namespace], int] = documentlook.COMMANDS[name]
        return does(args)

    return run
