"""The commands of the stock: papers, dips, receipts, status, the book, water, what is due, reports."""

import argparse

from gaugehouse import dipcall, documentcall, receiptcall, reportcall, statuscall, watercall
from gaugehouse.bookcall import add_book, add_close
from gaugehouse.commands.tree import Add, for_programs, way
from gaugehouse.errors import CallError
from gaugehouse.leakcall import add_arguments as leak_arguments
from gaugehouse.plancall import add_arguments as plan_arguments


def add(command: Add) -> None:
    plan_arguments(command("plan", _plan, "orders a movement of a tank, so that it is watched, or ends that order"))
    words = "the papers of the stock book: add, list, correct, undo, import"
    documentcall.add_arguments(command("document", way("document"), words, site=False))
    dipcall.add_arguments(
        command("dip", way("dip"), "dips and density samples by hand, and gauge against dip", site=False)
    )
    words = "a delivery from call to signature: checked before, followed, held against its papers"
    receiptcall.add_arguments(command("receipt", receiptcall.run, words, site=False))
    words = "what the tanks are ready for: settling, release, quarantine, batches"
    statuscall.add_arguments(command("status", way("status"), words, site=False))
    stock = for_programs(command("stock", _stock, "the stock sheet; exit 1 when a tank is not measured"))
    stock.add_argument("--at", metavar="TIME", help="at that time instead of now (without offset: the site's zone)")
    add_book(stock)
    add_close(command("close", _close, "closes a day or a month of the stock book; looks first, signs by name"))
    watercall.add_water(command("water", _water, "the water accounts of the tanks, and the drain checks that are kept"))
    watercall.add_drain_check(command("drain-check", _drain_check, "says by name what came of a look at a drain"))
    watercall.add_forecast(command("forecast", _forecast, "days of cover and when to order, by the pattern of issues"))
    watercall.add_due(command("due", _due, "what somebody has to do: checks, dips, tests, certificates, closes"))
    leak_arguments(
        command("leak", _leak, "what loss of a quiet tank would have been seen; never says that it is tight")
    )
    reportcall.add_report(
        command("report", _report, "reports: stock, movements, account, dips, handover, due; PDF, CSV, XLSX")
    )
    reportcall.add_handover(command("handover", _handover, "hands a shift over, or takes it over, by name and notes"))


def _plan(args: argparse.Namespace) -> int:
    from gaugehouse.acting import plan

    return plan(args)


def _stock(args: argparse.Namespace) -> int:
    if args.book:
        from gaugehouse.booklook import book

        return book(args)
    if args.day or args.month or args.tank or args.product or args.csv:
        raise CallError("--day, --month, --tank, --product and --csv are of the stock book; write --book too")
    from gaugehouse.looking import stock

    return stock(args)


def _close(args: argparse.Namespace) -> int:
    from gaugehouse.booklook import close

    return close(args)


def _water(args: argparse.Namespace) -> int:
    from gaugehouse.waterlook import water

    return water(args)


def _drain_check(args: argparse.Namespace) -> int:
    from gaugehouse.waterlook import drain_check

    return drain_check(args)


def _forecast(args: argparse.Namespace) -> int:
    from gaugehouse.duelook import forecast

    return forecast(args)


def _due(args: argparse.Namespace) -> int:
    from gaugehouse.duelook import due

    return due(args)


def _leak(args: argparse.Namespace) -> int:
    from gaugehouse.leaklook import leak_command

    return leak_command(args)


def _report(args: argparse.Namespace) -> int:
    from gaugehouse.reportlook import report

    return report(args)


def _handover(args: argparse.Namespace) -> int:
    from gaugehouse.reportlook import handover

    return handover(args)
