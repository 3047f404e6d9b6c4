"""The options of `gaugehouse read --explore`, apart from the command itself: no other command loads what it needs."""

from argparse import ArgumentParser, ArgumentTypeError, Namespace
from collections.abc import Callable
from typing import Final

from gaugehouse.errors import CallError

DEFAULTS: Final = {
    "units": None, "functions": "3,4", "addresses": "0-199", "level": None, "within": None, "reference_height": None,
    "range": None, "address": None, "longest": 32, "pause": 20, "requests": 3000,
}  # fmt: skip


def add_arguments(parser: ArgumentParser) -> None:
    """Where to look, how gently, and what is known."""
    group = parser.add_argument_group("explore a line", "reading only; not while a daemon asks on it")
    add = group.add_argument
    add("--explore", metavar="BUS", help="look around on this [[bus]]; the file needs nothing else")
    add("--units", metavar="1-32,40", help="which units to look for (default: all)")
    add("--functions", default=DEFAULTS["functions"], metavar="3,4", help="by which functions (default 3,4)")
    add("--addresses", default=DEFAULTS["addresses"], metavar="0-199", help="counted from 0 (default 0-199)")
    add("--level", metavar='"9.204 m"', help="the innage now, by dip: every decoding that comes near is listed")
    add("--within", metavar='"30 mm"', help="how near (default 30 mm)")
    add("--reference-height", metavar='"12.5 m"', help="look for distances from the reference point too")
    add("--range", nargs=2, metavar=("AT_4mA", "AT_20mA"), help="innages: look for percent and mA too")
    add("--address", type=_whole(0, 65535), metavar="N", help="the address that the manual names")
    add("--longest", type=_whole(1, 2000), default=DEFAULTS["longest"], metavar="N", help="registers a request (32)")
    add("--pause", type=_whole(0, 10_000), default=DEFAULTS["pause"], metavar="MS", help="after each request (20 ms)")
    add("--requests", type=_whole(1, 100_000), default=DEFAULTS["requests"], metavar="N", help="a unit at most (3000)")


def check(args: Namespace) -> None:
    """Options of exploring without it, or a tank with it, are a wrong call."""
    if args.explore is not None:
        if args.tank is not None:
            raise CallError("--explore looks at a whole line: leave TANK out")
        return
    for name, default in DEFAULTS.items():
        if getattr(args, name) != default:
            raise CallError(f"--{name.replace('_', '-')} goes with --explore BUS only")


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not text.isdigit() or not low <= int(text) <= high:
            raise ArgumentTypeError(f"{text!r}: allowed is a whole number from {low} to {high}")
        return int(text)

    return read
