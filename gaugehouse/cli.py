"""The command line: parses arguments, calls one function, turns what went wrong into one line and an exit status.

0 done; 1 the answer is no; 2 the call, the site file or the samples are wrong; 3 something outside stood in the way;
70 a bug of ours (never 1); 130 interrupted. Results on stdout, everything else on stderr.
"""

import argparse
import logging
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from gaugehouse import (
    __version__,
    backupcall,
    capacitycall,
    dipcall,
    documentcall,
    explorecall,
    historycall,
    loopcall,
    receiptcall,
    reportcall,
    statuscall,
    usercall,
    watercall,
)
from gaugehouse.alarmcall import add_arguments as alarm_arguments
from gaugehouse.bookcall import add_book, add_close
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.faultcall import add_entry as fault_entry_arguments
from gaugehouse.faultcall import add_look as fault_look
from gaugehouse.leakcall import add_arguments as leak_arguments
from gaugehouse.plancall import add_arguments as plan_arguments
from gaugehouse.sitefile.problems import SiteError
from models.errors import GaugehouseError

DONE: Final = 0
NO: Final = 1
WRONG_CALL: Final = 2
COULD_NOT: Final = 3
BUG: Final = 70
INTERRUPTED: Final = 130

CAUTION: Final = (
    "A monitoring and accounting aid: not an overfill prevention system, not a safety instrumented function, not a "
    "custody-transfer approval. Follow local codes and licensed practice."
)

Command = Callable[[argparse.Namespace], int]


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

    demo = command("demo", _demo, "a simulated farm, the daemon and the console together", site=False)
    demo.add_argument("--port", type=_port, default=8600, help="of the console (default 8600; 0 takes a free one)")
    demo.add_argument("--speed", type=_speed, default=1.0, help="how many times faster than real time (1 to 1000)")
    demo.add_argument(
        "--at",
        type=_moment,
        metavar="TIME",
        help="what time it is there when it opens, such as 2026-12-01T09:00Z",
    )
    demo.add_argument("--bare", action="store_true", help="without days before it: an empty store, no stock rules")
    demo.add_argument("--dir", type=Path, default=Path("demo-data"), help="where the demo keeps its files")

    run = command("run", _run, "the daemon: polls, stores, raises alarms, serves the console")
    run.add_argument("--record", type=Path, metavar="FILE.csv", help="also write every Sample, for `replay`")

    checked = _json(command("check", _check, "validates a site file; prints the read plan, capacities and limits"))
    checked.add_argument("--map", action="store_true", help="the register map for the control room instead")
    checked.add_argument("--csv", action="store_true", help="with --map: as CSV")
    checked.add_argument("--pdf", metavar="FILE.pdf", help="with --map: as a paper")
    read = _json(command("read", _read, "asks once and prints every step from the registers to the stock"))
    read.add_argument("tank", nargs="?", metavar="TANK", help="one tank only")
    explorecall.add_arguments(read)

    convert = _json(command("convert", _convert, "the same steps for numbers given by hand"))
    convert.add_argument("tank", metavar="TANK")
    height = convert.add_mutually_exclusive_group(required=True)
    height.add_argument("--level", metavar='"9.2 m"', help="innage")
    height.add_argument("--ullage", metavar='"4.3 m"', help="from the reference point down to the surface")
    convert.add_argument("--temperature", metavar='"28 degC"', help="of the liquid")
    convert.add_argument("--water", metavar='"12 mm"', help="innage of free water")
    convert.add_argument("--density", metavar='"800 kg/m3"', help="at the reference temperature")
    convert.add_argument("--observed-density", metavar='"793 kg/m3"', help="of a sample, at its own temperature")
    convert.add_argument("--observed-at", metavar='"31 degC"', help="the sample's temperature")
    convert.add_argument("--meter", choices=["hydrometer", "densitometer"], help="it was read on (default: hydrometer)")
    convert.add_argument("--ambient", metavar='"12 degC"', help="of the air, for the temperature of the shell")
    convert.add_argument("--pressure", metavar='"5 kPa"', help="gauge pressure over the liquid (default: the tank's)")
    convert.add_argument("--sediment-water", metavar='"0.05 %"', help="sediment and water, of the standard volume")

    capacitycall.add_arguments(command("capacity", _capacity, "makes a capacity table as CSV", site=False))

    loopcall.add_arguments(command("loop", _loop, "what a loop's wires carry: its supply and its noise", site=False))

    replay = command("replay", _replay, "runs recorded samples through the same core; same input, same bytes")
    replay.add_argument("samples", type=Path, metavar="SAMPLES.csv")
    replay.add_argument("--out", type=Path, required=True, metavar="DIR", help="where the four CSV files go")
    replay.add_argument("--sheet", type=Path, metavar="OTHER.csv", help="an alarm sheet in place of the site's own")

    whatif = _json(command("whatif", _whatif, "what other alarm sheets would have raised and missed, side by side"))
    whatif.add_argument("--sheet", action="append", required=True, metavar="OTHER.csv", help="may be given more often")
    whatif.add_argument("--samples", metavar="SAMPLES.csv", help="over a recording (default: over the kept readings)")
    whatif.add_argument("--from", dest="start", metavar="TIME", help="kept readings from this time on")
    whatif.add_argument("--to", dest="end", metavar="TIME", help="kept readings before this time")

    alarms = command("alarms", _alarms, "the alarm history that is kept")
    _filters(alarms)
    instead = alarms.add_mutually_exclusive_group()
    instead.add_argument(
        "--performance", action="store_true", help="how they perform: rates, floods, chattering, stale, priorities"
    )
    instead.add_argument("--told", action="store_true", help="what went out to people, by which channel")
    alarms.add_argument("--tests", action="store_true", help="the tests of alarms that were made, with the seconds")
    alarms.add_argument("--sheet", action="store_true", help="the alarm sheet in force instead of the history")
    alarms.add_argument("--csv", action="store_true", help="the sheet as CSV that can be used as a sheet")
    alarms.add_argument("--pdf", metavar="FILE.pdf", help="the sheet as a paper")
    faults = command("faults", _faults, "the loop faults that are kept, their traces and figures")
    _filters(faults)
    fault_look(faults)
    _filters(command("movements", _movements, "receipts, issues and transfers, found from the readings"))
    entry = _json(command("fault-entry", _fault_entry, "says by name what was wrong with a loop and what was done"))
    fault_entry_arguments(entry)
    acknowledge = _json(command("acknowledge", _acknowledge, "says by name that an alarm has been seen"))
    acknowledge.add_argument("alarm", metavar="SOURCE.CONDITION", help="such as palm.high")
    acknowledge.add_argument("--by", required=True, metavar="NAME")
    acknowledge.add_argument("--comment", default="", metavar="TEXT")
    acknowledge.add_argument(
        "--occurrence", type=int, metavar="N", help="that one and no newer one (default: the newest)"
    )
    alarm_arguments(command("alarm", _alarm, "shelves an alarm, resets its latch, takes it out of service, tests it"))
    notify_test = _json(command("notify-test", _notify_test, "sends a marked test message through a channel"))
    notify_test.add_argument("channel", metavar="CHANNEL", help="the id of a [[notify]] channel")
    notify_test.add_argument("--by", default="somebody", metavar="NAME", help="who tries it; stands in the message")
    plan_arguments(command("plan", _plan, "orders a movement of a tank, so that it is watched, or ends that order"))
    words = "the papers of the stock book: add, list, correct, undo, import"
    documentcall.add_arguments(command("document", _document, words, site=False))
    dipcall.add_arguments(command("dip", _dip, "dips and density samples by hand, and gauge against dip", site=False))
    words = "a delivery from call to signature: checked before, followed, held against its papers"
    receiptcall.add_arguments(command("receipt", receiptcall.run, words, site=False))
    words = "what the tanks are ready for: settling, release, quarantine, batches"
    statuscall.add_arguments(command("status", _status, words, site=False))
    stock = _json(command("stock", _stock, "the stock sheet; exit 1 when a tank is not measured"))
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
    records = _json(command("records", _records, "the entries of the record book"))
    records.add_argument("--kind", action="append", metavar="KIND", help="such as alarm; may be given more often")
    records.add_argument("--from", dest="start", metavar="TIME", help="from this time on")
    records.add_argument("--to", dest="end", metavar="TIME", help="before this time")
    records.add_argument("--newest", type=int, metavar="N", help="the last N only")
    correct = _json(command("correct", _correct, "a new entry of the record book that corrects an old one"))
    correct.add_argument("entry", type=int, metavar="N", help="its number; `records` lists them")
    correct.add_argument("--by", required=True, metavar="NAME")
    correct.add_argument("--text", required=True, metavar="TEXT", help="what is right")
    verify = _json(command("verify", _verify, "the record book is unbroken, or where it is not"))
    verify.add_argument("--against", metavar="HEAD", help="a head printed earlier, COUNT:HASH")
    saved = _json(command("backup", backupcall.backup, "the whole memory of a site in one file, while it runs"))
    backupcall.backup_arguments(saved)
    put_back = _json(command("restore", backupcall.restore, "puts a backup back, while no daemon runs"))
    backupcall.restore_arguments(put_back)
    usercall.add_arguments(command("user", usercall.user, "who may come in to the console, and as what"))
    words = "what is kept of the readings: figures, size, soundness, copies"
    historycall.add_arguments(command("history", _history, words, site=False))
    return top


def _json(sub: argparse.ArgumentParser) -> argparse.ArgumentParser:
    sub.add_argument("--json", action="store_true", help="for programs")
    return sub


def _filters(sub: argparse.ArgumentParser) -> None:
    _json(sub)
    sub.add_argument("--tank", metavar="ID", help="one tank and the instrument of its level")
    sub.add_argument("--from", dest="start", metavar="TIME", help="from this time on (without offset: the site's zone)")
    sub.add_argument("--to", dest="end", metavar="TIME", help="before this time")


def _port(text: str) -> int:
    if not text.isdigit() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; allowed 0 to 65535")
    return int(text)


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 1 <= speed <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; allowed 1 to 1000")
    return speed


EARLIEST_MS: Final = 946_684_800_000
LATEST_MS: Final = 4_102_444_800_000


def _moment(text: str) -> int:
    from gaugehouse.days import parse_ms

    try:
        found = parse_ms(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no time: write it as 2026-12-01T09:00Z ({error})") from None
    if not EARLIEST_MS <= found <= LATEST_MS:
        raise argparse.ArgumentTypeError(f"{text!r}: the demo is set between 2000 and 2100")
    return found


# Each command is imported when it is called: `verify` needs no web server, `convert` no store.


def _demo(args: argparse.Namespace) -> int:
    from gaugehouse.demo import demo

    return demo(args)


def _run(args: argparse.Namespace) -> int:
    from gaugehouse.service import run

    return run(args)


def _check(args: argparse.Namespace) -> int:
    if args.map or args.csv or args.pdf:
        from gaugehouse.mapcall import print_map

        return print_map(args)
    from gaugehouse.checking import check
    from gaugehouse.printing import as_json

    report = check(Path(args.site))
    if args.json:
        print(as_json(report.json()))
    else:
        print(report.text(), end="")
    return report.exit_code


def _read(args: argparse.Namespace) -> int:
    explorecall.check(args)
    if args.explore is not None:
        from gaugehouse.exploring import explore

        return explore(args)
    from gaugehouse.asking import read

    return read(args)


def _convert(args: argparse.Namespace) -> int:
    from gaugehouse.asking import convert

    return convert(args)


def _capacity(args: argparse.Namespace) -> int:
    from gaugehouse.capacity import capacity

    return capacity(args)


def _loop(args: argparse.Namespace) -> int:
    run: Command = args.loop
    return run(args)


def _replay(args: argparse.Namespace) -> int:
    from gaugehouse.replay import replay
    from gaugehouse.site import load_site

    replay(load_site(Path(args.site), sheet=args.sheet), args.samples, args.out)
    return DONE


def _whatif(args: argparse.Namespace) -> int:
    from gaugehouse.whatif import whatif

    return whatif(args)


def _alarms(args: argparse.Namespace) -> int:
    from gaugehouse.looking import alarms

    return alarms(args)


def _acknowledge(args: argparse.Namespace) -> int:
    from gaugehouse.acting import acknowledge

    return acknowledge(args)


def _alarm(args: argparse.Namespace) -> int:
    from gaugehouse.acting import alarm

    return alarm(args)


def _faults(args: argparse.Namespace) -> int:
    from gaugehouse.faultlook import faults

    return faults(args)


def _movements(args: argparse.Namespace) -> int:
    from gaugehouse.movementlook import movements

    return movements(args)


def _notify_test(args: argparse.Namespace) -> int:
    from gaugehouse.notifying.trying import notify_test

    return notify_test(args)


def _fault_entry(args: argparse.Namespace) -> int:
    from gaugehouse.faultlook import fault_entry

    return fault_entry(args)


def _plan(args: argparse.Namespace) -> int:
    from gaugehouse.acting import plan

    return plan(args)


def _document(args: argparse.Namespace) -> int:
    run: Command = args.document
    return run(args)


def _dip(args: argparse.Namespace) -> int:
    run: Command = args.dip
    return run(args)


def _status(args: argparse.Namespace) -> int:
    run: Command = args.status
    return run(args)


def _stock(args: argparse.Namespace) -> int:
    if args.book:
        from gaugehouse.booklook import book

        return book(args)
    if args.day or args.month or args.tank or args.product or args.csv:
        raise CallError("--day, --month, --tank, --product and --csv are of the stock book; write --book too")
    from gaugehouse.looking import stock

    return stock(args)


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


def _close(args: argparse.Namespace) -> int:
    from gaugehouse.booklook import close

    return close(args)


def _leak(args: argparse.Namespace) -> int:
    from gaugehouse.leaklook import leak_command

    return leak_command(args)


def _history(args: argparse.Namespace) -> int:
    run: Command = args.history
    return run(args)


def _report(args: argparse.Namespace) -> int:
    from gaugehouse.reportlook import report

    return report(args)


def _handover(args: argparse.Namespace) -> int:
    from gaugehouse.reportlook import handover

    return handover(args)


def _records(args: argparse.Namespace) -> int:
    from gaugehouse.recordcall import records

    return records(args)


def _correct(args: argparse.Namespace) -> int:
    from gaugehouse.recordcall import correct

    return correct(args)


def _verify(args: argparse.Namespace) -> int:
    from gaugehouse.looking import verify

    return verify(args)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give back its exit status."""
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    logging.getLogger("uvicorn").setLevel(logging.WARNING)  # a page that is opened is no news
    try:
        args = parser().parse_args(argv)
        run: Command = args.run
        status = run(args)
        sys.stdout.flush()
    except SystemExit as exit_:  # argparse: 0 for --help, 2 for a wrong call
        return exit_.code if isinstance(exit_.code, int) else WRONG_CALL
    except (SiteError, CallError) as error:
        return _say(error, WRONG_CALL)
    except CouldNot as error:
        return _say(error, COULD_NOT)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader of our output has gone: nobody is left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except GaugehouseError as error:
        return _say(error, COULD_NOT)
    except Exception:
        traceback.print_exc()
        print("gaugehouse: a bug of ours; please report it with the lines above", file=sys.stderr)
        return BUG
    return status


def _say(error: Exception, status: int) -> int:
    print(f"gaugehouse: {error}", file=sys.stderr)
    return status


if __name__ == "__main__":
    sys.exit(main())
