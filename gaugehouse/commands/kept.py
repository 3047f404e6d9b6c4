"""The commands of what is kept: the record book, backups, users, the history of readings."""

import argparse

from gaugehouse import backupcall, historycall, usercall
from gaugehouse.commands.tree import Add, for_programs, way


def add(command: Add) -> None:
    records = for_programs(command("records", _records, "the entries of the record book"))
    records.add_argument("--kind", action="append", metavar="KIND", help="such as alarm; may be given more often")
    records.add_argument("--from", dest="start", metavar="TIME", help="from this time on")
    records.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    records.add_argument("--newest", type=int, metavar="N", help="the last N only")
    correct = for_programs(command("correct", _correct, "a new entry of the record book that corrects an old one"))
    correct.add_argument("entry", type=int, metavar="N", help="its number; `records` lists them")
    correct.add_argument("--by", required=True, metavar="NAME")
    correct.add_argument("--text", required=True, metavar="TEXT", help="what is right")
    verify = for_programs(command("verify", _verify, "the record book is unbroken, or where it is not"))
    verify.add_argument("--against", metavar="HEAD", help="a head printed earlier, COUNT:HASH")
    saved = for_programs(command("backup", backupcall.backup, "the whole memory of a site in one file, while it runs"))
    backupcall.backup_arguments(saved)
    put_back = for_programs(command("restore", backupcall.restore, "puts a backup back, while no daemon runs"))
    backupcall.restore_arguments(put_back)
    usercall.add_arguments(command("user", usercall.user, "who may come in to the console, and as what"))
    words = "what is kept of the readings: figures, size, soundness, copies"
    historycall.add_arguments(command("history", way("history"), words, site=False))


def _records(args: argparse.Namespace) -> int:
    from gaugehouse.recordcall import records

    return records(args)


def _correct(args: argparse.Namespace) -> int:
    from gaugehouse.recordcall import correct

    return correct(args)


def _verify(args: argparse.Namespace) -> int:
    from gaugehouse.looking import verify

    return verify(args)
