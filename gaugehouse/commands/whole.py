"""All commands together."""

import argparse

from gaugehouse import __version__
from gaugehouse.caution import CAUTION
from gaugehouse.commands import gauging, kept, stock, watched
from gaugehouse.commands.tree import Command


def parser() -> argparse.ArgumentParser:
    """Every command and option, with the words of `--help`."""
    top = argparse.ArgumentParser(prog="gaugehouse", description="Tank levels of a fuel farm.", epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"gaugehouse {__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Command, words: str, *, site: bool = True) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=words, description=words, epilog=CAUTION)
        sub.set_defaults(run=run)
        if site:
            sub.add_argument("site", metavar="SITE.toml", help="the site file")
        return sub

    for part in (gauging, watched, stock, kept):
        part.add(command)
    return top
