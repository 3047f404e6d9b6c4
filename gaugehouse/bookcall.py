"""The options of `gaugehouse stock --book` and `gaugehouse close`, apart from the commands themselves."""

from argparse import ArgumentParser


def add_book(stock: ArgumentParser) -> None:
    """What of the stock book is printed."""
    stock.add_argument("--book", action="store_true", help="the stock book instead: documents beside what was measured")
    when = stock.add_mutually_exclusive_group()
    when.add_argument("--day", metavar="DATE", help="of that day (default: of the day that goes on)")
    when.add_argument("--month", metavar="YYYY-MM", help="of that month, day by day")
    stock.add_argument("--tank", metavar="ID", help="one tank only")
    stock.add_argument("--product", metavar="ID", help="one product only")
    stock.add_argument("--csv", action="store_true", help="the book as CSV; read in again it gives the same sums")


def add_close(close: ArgumentParser) -> None:
    """A period, and who signs it."""
    close.add_argument("period", choices=["day", "month"], help="what is closed")
    close.add_argument("name", metavar="DATE|YYYY-MM", help="which one, such as 2026-01-31 or 2026-01")
    close.add_argument("--product", metavar="ID", help="of this product (needed where the site has more than one)")
    close.add_argument("--sign", action="store_true", help="sign and lock it; without, it is only looked at")
    close.add_argument("--by", metavar="NAME", help="who signs")
    close.add_argument("--comment", default="", metavar="TEXT")
    close.add_argument("--json", action="store_true", help="for programs")
