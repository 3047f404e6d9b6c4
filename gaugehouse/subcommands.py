"""Commands that have commands of their own: each takes a site file, and its work is loaded when it is called."""

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from importlib import import_module

Added = Callable[[str, str], ArgumentParser]


def subcommands(parser: ArgumentParser) -> Added:
    """What adds a subcommand: its name and the words of its `--help`."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def added(name: str, words: str) -> ArgumentParser:
        sub = what.add_parser(name, help=words, description=words, epilog=parser.epilog)
        sub.add_argument("site", metavar="SITE.toml", help="the site file")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    return added


def work(module: str, name: str) -> Callable[[Namespace], int]:
    """A function of a module of ours, which is imported when the function is called."""

    def run(args: Namespace) -> int:
        return int(getattr(import_module(f"gaugehouse.{module}"), name)(args))

    return run
