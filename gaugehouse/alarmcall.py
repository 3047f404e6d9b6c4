"""The options of `gaugehouse alarm`, apart from the command itself: no other command loads what that needs."""

from argparse import ArgumentParser
from typing import Final

MEANS: Final = ("wet", "simulated")


def add_arguments(parser: ArgumentParser) -> None:
    """One way for each act."""
    ways = parser.add_subparsers(dest="act", required=True, metavar="ACT")

    def way(name: str, words: str, *, few: bool = False, why: str = "comment") -> ArgumentParser:
        sub = ways.add_parser(name, help=words, description=words)
        sub.add_argument("alarms", nargs="+" if few else 1, metavar="SOURCE.CONDITION", help="such as palm.high")
        sub.add_argument("--by", required=True, metavar="NAME")
        if why == "reason":
            sub.add_argument("--reason", required=True, metavar="TEXT")
        else:
            sub.add_argument("--comment", default="", metavar="TEXT")
        sub.add_argument("--json", action="store_true", help="for programs")
        return sub

    shelve = way("shelve", "hides an alarm for a while", why="reason")
    shelve.add_argument("--for", dest="span", required=True, metavar='"2 h"', help="not above the site's longest_shelf")
    shelve.add_argument("--one-shot", action="store_true", help="until its condition returns, if that comes first")
    way("unshelve", "lets a shelved alarm speak again")
    reset = way("reset", "lets a latched alarm go that has been acknowledged")
    reset.add_argument("--occurrence", type=int, metavar="N", help="that one and no newer one (default: the newest)")
    way("remove", "takes alarms out of service", few=True, why="reason")
    way("return", "brings alarms back into service", few=True)
    test = way("test", "a test of one alarm end to end begins: the signal is moved now, the seconds are measured")
    test.add_argument("--means", required=True, choices=MEANS, help="the real liquid or float, or a simulator")
    test.add_argument("--within", dest="limit", metavar='"10 min"', help="the alarm must come within (default 10 min)")
    way("end-test", "gives a test up: it proves nothing")
    tested = way("tested", "tells of a test that somebody watched with a clock of their own")
    tested.add_argument("--means", required=True, choices=MEANS)
    tested.add_argument("--took", dest="took", metavar='"4.2 s"', help="from the signal to the alarm")
    tested.add_argument("--failed", action="store_true", help="the alarm did not come, or not as it should")
