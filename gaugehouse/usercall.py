"""The options of `gaugehouse user`, apart from the command itself: no other command loads what that needs."""

from argparse import ArgumentParser, Namespace

from console.roles import ROLES, WHAT


def add_arguments(parser: ArgumentParser) -> None:
    """What is done to whom."""
    parser.epilog = "Roles: " + "; ".join(f"{role}: {WHAT[role]}" for role in ROLES) + "."
    does = parser.add_subparsers(dest="does", required=True, metavar="WHAT")

    def sub(name: str, words: str, *, by: bool = True) -> ArgumentParser:
        made = does.add_parser(name, help=words, description=words)
        if by:
            made.add_argument("--by", required=True, metavar="NAME", help="who does it; it is journaled")
        made.add_argument("--json", action="store_true", help="for programs")
        return made

    sub("list", "who may come in, and the tokens and displays there are", by=False)
    add = sub("add", "a new user; the password is asked for, or read from a file")
    change = sub("change", "other roles or another password, block or let in again")
    for one in (add, change):
        one.add_argument("name", metavar="NAME")
        one.add_argument("--role", action="append", choices=ROLES, required=one is add, help="may be given more often")
        one.add_argument("--password-file", metavar="FILE", help="its first line is the password")
    add.add_argument("--no-password", action="store_true", help="comes in by links and tokens only")
    change.add_argument("--password", action="store_true", help="ask for a new password")
    way = change.add_mutually_exclusive_group()
    way.add_argument("--block", action="store_true", help="may not come in; sessions, tokens and displays end")
    way.add_argument("--unblock", action="store_true", help="may come in again")
    sub("remove", "a user and all that lets them in").add_argument("name", metavar="NAME")
    link = sub("link", "a link that signs a user in once, within 15 minutes")
    link.add_argument("name", metavar="NAME")
    token = sub("token", "a bearer token for a program; it is printed once")
    token.add_argument("name", metavar="NAME", help="whose token it is")
    token.add_argument("--label", required=True, metavar="TEXT", help="what it is for, to find it again")
    token.add_argument("--role", action="append", choices=ROLES, help="what it may do (default: look only)")
    token.add_argument("--for", dest="lasts", default="90 d", metavar='"90 d"', help="how long it lasts")
    display = sub("display", "a link that signs a screen in once, to look for up to 400 days")
    display.add_argument("name", metavar="NAME", help="whose screen it is")
    display.add_argument("--label", required=True, metavar="TEXT", help="which screen it is, to find it again")
    display.add_argument("--for", dest="lasts", default="400 d", metavar='"400 d"', help="how long it lasts")
    sub("revoke", "calls a token or a display back").add_argument("label", metavar="LABEL")


def user(args: Namespace) -> int:
    from gaugehouse.userwork import user as work

    return work(args)
