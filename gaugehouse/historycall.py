"""The options of `gaugehouse history`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser, Namespace
from collections.abc import Callable

Run = Callable[[Namespace], int]


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `history`; each sets `history` to the function that does it."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def added(name: str, words: str, run: Run, *, tank: bool = False) -> ArgumentParser:
        sub = what.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.set_defaults(history=run)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        if tank:
            sub.add_argument("tank", metavar="TANK", help="its id in the site file")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    means = added("aggregate", "a figure over equal intervals, by the rules of OPC UA Part 13", _aggregate, tank=True)
    means.add_argument("--quantity", default="level_m", metavar="COLUMN", help="of readings.csv (default level_m)")
    means.add_argument("--aggregate", default="TimeAverage2", metavar="NAME", help="default TimeAverage2")
    _stretch(means, required=True)
    means.add_argument("--interval", required=True, metavar='"1 h"', help="length of each interval")
    means.add_argument("--stepped", action="store_true", help="a value holds until the next one")
    means.add_argument("--uncertain", choices=["bad", "usable"], default="bad", help="how Uncertain readings are taken")

    held = added("size", "bytes by tank and kind, oldest and newest reading, what a retention would free", _size)
    held.add_argument("--keep", metavar='"400 days"', help="as if single readings were kept for so long")
    added("verify", "every block decoded and compared, the file's structure checked; exit 1 with names", _verify)
    added("seal", "seals all that is not sealed yet; not beside a running daemon", _seal)

    out = added("export", "readings as CSV or Parquet, as they are told", _export)
    out.add_argument("--out", required=True, metavar="FILE.csv", help="FILE.csv or FILE.parquet")
    out.add_argument("--tank", metavar="ID", help="one tank only")
    _stretch(out)
    into = added("import", "readings back from such a file; not beside a running daemon", _import)
    into.add_argument("file", metavar="FILE.csv", help="FILE.csv or FILE.parquet")

    sent = added("backfill", "sends readings to a time-series server once more; nothing is doubled by it", _backfill)
    sent.add_argument("server", metavar="SERVER", help="the id of a [[store.server]]")
    _stretch(sent)

    again = added("recompute", "figures by the tank model in force beside those kept, as CSV", _recompute)
    again.add_argument("--out", required=True, metavar="FILE.csv")
    again.add_argument("--tank", metavar="ID", help="one tank only")
    _stretch(again)

    said = added("requalify", "says by name that readings were bad or doubtful over a time", _requalify, tank=True)
    _stretch(said, required=True)
    said.add_argument("--quality", required=True, choices=["bad", "uncertain", "as_measured"])
    said.add_argument("--reason", default="", metavar="SYMBOL", help="of the OPC UA status codes (default by quality)")
    said.add_argument("--comment", required=True, metavar="TEXT", help="how it was found out")
    said.add_argument("--by", required=True, metavar="NAME", help="who says so")


def _stretch(sub: ArgumentParser, *, required: bool = False) -> None:
    words = "(without offset: the site's zone)"
    sub.add_argument("--from", dest="start", required=required, metavar="TIME", help=f"from this time on {words}")
    sub.add_argument("--to", dest="end", required=required, metavar="TIME", help="before this time")


# Each command is imported when it is called.


def _aggregate(args: Namespace) -> int:
    from gaugehouse.historylook import aggregate

    return aggregate(args)


def _requalify(args: Namespace) -> int:
    from gaugehouse.historylook import requalify

    return requalify(args)


def _size(args: Namespace) -> int:
    from gaugehouse.historycare import size

    return size(args)


def _verify(args: Namespace) -> int:
    from gaugehouse.historycare import verify

    return verify(args)


def _seal(args: Namespace) -> int:
    from gaugehouse.historycare import seal

    return seal(args)


def _export(args: Namespace) -> int:
    from gaugehouse.historycopy import export

    return export(args)


def _import(args: Namespace) -> int:
    from gaugehouse.historycopy import import_

    return import_(args)


def _recompute(args: Namespace) -> int:
    from gaugehouse.historyrecompute import recompute

    return recompute(args)


def _backfill(args: Namespace) -> int:
    from gaugehouse.historycare import backfill

    return backfill(args)
