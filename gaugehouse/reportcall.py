"""The options of `gaugehouse report` and `gaugehouse handover`, apart from the commands themselves."""

from argparse import ArgumentParser


def add_report(parser: ArgumentParser) -> None:
    """Which report, of what, in what form."""
    parser.add_argument("kind", nargs="?", metavar="KIND", help="which one (default: the list of them)")
    when = parser.add_argument_group("what it is of; without: today, this month, the last shift, as the report is of")
    when.add_argument("--day", metavar="DATE", help="a day of the site, such as 2026-01-31")
    when.add_argument("--month", metavar="YYYY-MM", help="a month")
    when.add_argument("--from", dest="start", metavar="TIME", help="from this time on (no offset: the site's zone)")
    when.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    parser.add_argument("--by", default="", metavar="NAME", help="who makes it; needed for files")
    parser.add_argument("--pdf", metavar="FILE.pdf", help="as a paper")
    parser.add_argument("--csv", metavar="FILE.csv", help="as CSV; - for standard output")
    parser.add_argument("--xlsx", metavar="FILE.xlsx", help="as a spreadsheet")
    parser.add_argument("--table", metavar="NAME", help="with --csv: this table alone")
    parser.add_argument("--paper", choices=["A4", "Letter"], help="of the paper (default: the site file's)")
    parser.add_argument("--json", action="store_true", help="for programs")


def add_handover(parser: ArgumentParser) -> None:
    """Who hands over or takes over, with what notes; without a name, what was written so far."""
    parser.add_argument("--by", metavar="NAME", help="who hands over, or with --take who takes over")
    parser.add_argument("--notes", default="", metavar="TEXT", help="what the other has to know")
    parser.add_argument("--take", action="store_true", help="take over what was handed over last")
    parser.add_argument("--number", type=int, metavar="N", help="with --take: that one and no newer one")
    parser.add_argument("--from", dest="start", metavar="TIME", help="when the shift began (default: by the site file)")
    parser.add_argument("--to", dest="end", metavar="TIME", help="when it ends (default: now)")
    parser.add_argument("--json", action="store_true", help="for programs")
