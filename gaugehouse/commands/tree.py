"""What the files of commands share: how a command is added, and the options that many have."""

import argparse
from collections.abc import Callable
from typing import Protocol

Command = Callable[[argparse.Namespace], int]


class Add(Protocol):
    """Add a command: its name, what runs it, and the words of `--help`. site: it takes a site file first."""

    def __call__(self, name: str, run: Command, words: str, *, site: bool = True) -> argparse.ArgumentParser: ...


def way(name: str) -> Command:
    """What runs a command that has commands of its own, each of which names itself in its defaults."""

    def run(args: argparse.Namespace) -> int:
        chosen: Command = getattr(args, name)
        return chosen(args)

    return run


def for_programs(sub: argparse.ArgumentParser) -> argparse.ArgumentParser:
    sub.add_argument("--json", action="store_true", help="for programs")
    return sub


def filters(sub: argparse.ArgumentParser) -> None:
    """A tank and a stretch of time."""
    for_programs(sub)
    sub.add_argument("--tank", metavar="ID", help="one tank and the instrument of its level")
    sub.add_argument("--from", dest="start", metavar="TIME", help="from this time on (without offset: the site's zone)")
    sub.add_argument("--to", dest="end", metavar="TIME", help="before this time")
