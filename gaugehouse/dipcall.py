"""The options of `gaugehouse dip`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser

from gaugehouse.subcommands import Added, subcommands, work


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `dip`; each sets `dip` to the function that does it."""
    added = subcommands(parser)
    _add(added)
    _sample(added)
    _list(added)
    _trend(added)
    _withdraw(added)


def _add(added: Added) -> None:
    sub = added("add", "a dip: level, water or temperature, as read by hand")
    sub.add_argument("tank", metavar="TANK")
    level = sub.add_mutually_exclusive_group()
    level.add_argument("--innage", nargs="+", metavar='"9214 mm"', help="readings from the datum plate, in order")
    level.add_argument("--ullage", nargs="+", metavar='"4286 mm"', help="readings from the reference point, in order")
    sub.add_argument("--water", metavar='"12 mm"', help='innage of the water cut; "0 mm" when none was found')
    sub.add_argument("--temperature", metavar='"28.5 degC"', help="of the liquid")
    sub.add_argument("--kind", choices=["spot", "average"], help="what that temperature is")
    sub.add_argument("--tape-temperature", metavar='"31 degC"', help="of the tape, to correct its length")
    sub.add_argument("--reference-height", metavar='"13502 mm"', help="as it was read at the hatch")
    sub.add_argument("--verify", action="store_true", help="to verify the gauge: readings must lie closer together")
    sub.add_argument("--after-setting", action="store_true", help="the gauge was set or mended before: begin anew")
    sub.add_argument("--sure", action="store_true", help="the figures are right although the gauge tells otherwise")
    _common(sub)
    sub.set_defaults(dip=work("diplook", "add"))


def _sample(added: Added) -> None:
    sub = added("sample", "a density sample: from then on it stands for the tank's product")
    sub.add_argument("tank", metavar="TANK")
    sub.add_argument("--density", required=True, metavar='"793.5 kg/m3"', help="as read, at the sample's temperature")
    sub.add_argument("--temperature", required=True, metavar='"31 degC"', help="of the sample")
    sub.add_argument("--meter", choices=["hydrometer", "densitometer"], default="hydrometer")
    sub.add_argument("--certificate", metavar='"800.2 kg/m3"', help="at 15 degC, of the paper that it is held against")
    sub.add_argument("--place", default="", metavar="TEXT", help="where in the tank it was drawn")
    sub.add_argument("--rejected", default="", metavar="WHY", help="it is written down but not accepted")
    _common(sub)
    sub.set_defaults(dip=work("diplook", "sample"))


def _common(sub: ArgumentParser) -> None:
    sub.add_argument("--at", metavar="TIME", help="when it was done (default: now; without offset: the site's zone)")
    sub.add_argument("--waited", default="", metavar="NAME", help="who vouches for the wait, where the site allows it")
    sub.add_argument("--comment", default="", metavar="TEXT")
    sub.add_argument("--by", required=True, metavar="NAME")


def _list(added: Added) -> None:
    sub = added("list", "the dips, each beside what the gauge told then")
    sub.add_argument("--samples", action="store_true", help="the density samples instead")
    sub.add_argument("--tank", metavar="ID")
    sub.add_argument("--from", dest="start", metavar="TIME", help="from this time on")
    sub.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    sub.set_defaults(dip=work("diplook", "list_"))


def _trend(added: Added) -> None:
    sub = added("trend", "gauge against dip: zero, span, drift, what to have checked; exit 1 when there is something")
    sub.add_argument("tank", metavar="TANK")
    sub.set_defaults(dip=work("diplook", "trend"))


def _withdraw(added: Added) -> None:
    sub = added("withdraw", "a dip or a sample was wrong: it counts no more")
    sub.add_argument("number", type=int, metavar="N", help="`dip list` tells it")
    sub.add_argument("--sample", action="store_true", help="N is a density sample")
    sub.add_argument("--why", required=True, metavar="TEXT")
    sub.add_argument("--by", required=True, metavar="NAME")
    sub.set_defaults(dip=work("diplook", "withdraw"))
