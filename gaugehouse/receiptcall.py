"""The options of `gaugehouse receipt`, apart from the commands themselves: no other command loads what they need."""

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """One way for each act, and those that look."""
    ways = parser.add_subparsers(dest="way", required=True, metavar="WAY")

    def way(name: str, words: str, *, number: bool = True, by: bool = True) -> ArgumentParser:
        sub = ways.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        if number:
            sub.add_argument("number", type=int, metavar="NUMBER", help="of the receipt; `list` shows them")
        if by:
            sub.add_argument("--by", required=True, metavar="NAME", help="who does it")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    words = "will it fit, to which level, when is what passed; with --by it is planned. Exit 1 when it does not fit"
    check = way("check", words, number=False, by=False)
    check.add_argument("tank", metavar="TANK")
    check.add_argument("--quantity", metavar='"36 m3"', help="of the papers, observed at their temperature")
    check.add_argument("--standard", metavar='"35.6 m3"', help="of the papers, at the reference temperature")
    check.add_argument("--temperature", metavar='"27 degC"', help="of the papers")
    check.add_argument("--density", metavar='"798.5 kg/m3"', help="of the papers, at 15 degC")
    check.add_argument("--rate", metavar='"1000 L/min"', help="the rate that was agreed")
    check.add_argument("--product", default="", metavar="ID", help="what is delivered, to be held against the tank's")
    for name, what in (
        ("note", "number of the delivery note"), ("batch", "batch number"), ("certificate", "certificate number"),
        ("vehicle", "vehicle or line"), ("owner", "whose fuel it is"), ("sender", "who delivers"),
        ("stops", "who stops the flow, and how"),
    ):  # fmt: skip
        check.add_argument(f"--{name}", default="", metavar="TEXT", help=what)
    check.add_argument("--by", metavar="NAME", help="plans it by this name")

    done = way("done", "a check before the receipt was done")
    done.add_argument("what", metavar="CHECK", help="its words, or how they begin")
    done.add_argument("--found", default="", metavar="TEXT", help="what was found")
    sample = way("sample", "the delivery's sample and temperature")
    sample.add_argument("--density", metavar='"793 kg/m3"', help="of the sample, at its own temperature")
    sample.add_argument("--at", metavar='"24 degC"', help="the sample's temperature")
    sample.add_argument("--meter", choices=["hydrometer", "densitometer"], default="hydrometer")
    sample.add_argument("--temperature", metavar='"27 degC"', help="of the delivery, as measured")
    way("start", "begins it: the tank is gauged, the movement is ordered and watched")
    line = way("line", "line or vehicle against the tank, now")
    line.add_argument(
        "figure", metavar='"12.4 m3"', nargs="?", help="what has been delivered so far (default: the line's own meters)"
    )
    line.add_argument("--comment", default="", metavar="TEXT")
    way("progress", "how far it is", by=False)
    reconcile = way(
        "reconcile", "tank against papers, when the surface is calm; with a decision it is decided", by=False
    )
    reconcile.add_argument("--decision", choices=["accept", "protest", "reject"])
    reconcile.add_argument("--comment", default="", metavar="TEXT")
    reconcile.add_argument("--without-tank", action="store_true", help="though the tank's own figure is not to be had")
    reconcile.add_argument("--by", metavar="NAME", help="who decides")
    document = way("document", "makes the delivery note of an accepted receipt, of what its papers state")
    document.add_argument("--sure", action="store_true", help="though a guard of the documents has asked")
    off = way("off", "it does not come")
    off.add_argument("--reason", required=True, metavar="TEXT")
    certificate = way("certificate", "the receipt record as PDF", by=False)
    certificate.add_argument("--out", metavar="FILE.pdf", help="where to (default receipt-NUMBER.pdf)")
    certificate.add_argument("--letter", action="store_true", help="US Letter instead of A4")
    way("list", "receipts, the open ones first", number=False, by=False)


def run(args: Namespace) -> int:
    from gaugehouse import receiptdoing

    return receiptdoing.run(args)
