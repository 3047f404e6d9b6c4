"""The options of `gaugehouse status`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser

from gaugehouse.subcommands import Added, subcommands, work


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `status`; each sets `status` to the function that does it."""
    added = subcommands(parser)
    for name, words in (
        ("show", "the status of each tank, what of its settling is left, and its release"),
        ("batches", "which receipts make up what is in each tank"),
    ):
        sub = added(name, words)
        sub.add_argument("--tank", metavar="ID")
        sub.set_defaults(status=work("statuslook", name))
    history = added("history", "what became of the tanks' status, oldest first")
    history.add_argument("--tank", metavar="ID")
    history.add_argument("--from", dest="start", metavar="TIME", help="from this time on")
    history.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    history.set_defaults(status=work("statuslook", "history"))
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
    sub.set_defaults(status=work("statuslook", "release"))


def _said(added: Added, name: str, words: str) -> ArgumentParser:
    sub = added(name, words)
    sub.add_argument("tank", metavar="TANK")
    sub.add_argument("--reason", required=True, metavar="TEXT")
    sub.add_argument("--by", required=True, metavar="NAME")
    sub.set_defaults(status=work("statuslook", name))
    return sub
