"""The options of `gaugehouse status`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from typing import Any

Added = Callable[[str, str], ArgumentParser]


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `status`; each sets `status` to the function that does it."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def added(name: str, words: str) -> ArgumentParser:
        sub = what.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    for name, words in (
        ("show", "the status of each tank, what of its settling is left, and its release"),
        ("batches", "which receipts make up what is in each tank"),
    ):
        sub = added(name, words)
        sub.add_argument("--tank", metavar="ID")
        sub.set_defaults(status=_run(name))
    history = added("history", "what became of the tanks' status, oldest first")
    history.add_argument("--tank", metavar="ID")
    history.add_argument("--from", dest="start", metavar="TIME", help="from this time on")
    history.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    history.set_defaults(status=_run("history"))
    _release(added)
    sub = _said(added, "quarantine", "set a tank aside: nothing is issued from it, and no test releases it")
    sub.add_argument("--lift", action="store_true", help="the quarantine is over")
    sub = _said(added, "service", "take a tank out of service, or return it")
    sub.add_argument("--back", action="store_true", help="return it to service")


def _release(added: Added) -> None:
    sub = added("release", "release what is in a tank, with what the sample showed")
    sub.add_argument("tank", metavar="TANK")
    sub.add_argument("--appearance", choices=["clear and bright", "not clear"], default="")
    sub.add_argument("--water-test", choices=["passed", "failed"], default="")
    sub.add_argument("--density", metavar='"801.2 kg/m3"', help="at 15 degC")
    sub.add_argument("--conductivity", type=float, metavar="PS", help="in pS/m, as read")
    sub.add_argument("--certificate", default="", metavar="NUMBER")
    sub.add_argument("--comment", default="", metavar="TEXT", help="needed for a release before it has settled")
    sub.add_argument("--by", required=True, metavar="NAME")
    sub.set_defaults(status=_run("release"))


def _said(added: Added, name: str, words: str) -> ArgumentParser:
    sub = added(name, words)
    sub.add_argument("tank", metavar="TANK")
    sub.add_argument("--reason", required=True, metavar="TEXT")
    sub.add_argument("--by", required=True, metavar="NAME")
    sub.set_defaults(status=_run(name))
    return sub


def _run(name: str) -> Callable[[Namespace], int]:
    def run(args: Namespace) -> int:
        from gaugehouse import statuslook

        work: Any = getattr(statuslook, name)
        return int(work(args))

    return run
