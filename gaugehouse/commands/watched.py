"""The commands of what is watched: alarms, loop faults and movements, and what a person does about them."""

import argparse

from gaugehouse.alarmcall import add_arguments as alarm_arguments
from gaugehouse.commands.tree import Add, filters, for_programs
from gaugehouse.faultcall import add_entry as fault_entry_arguments
from gaugehouse.faultcall import add_look as fault_look


def add(command: Add) -> None:
    alarms = command("alarms", _alarms, "the alarm history that is kept")
    filters(alarms)
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
    filters(faults)
    fault_look(faults)
    filters(command("movements", _movements, "receipts, issues and transfers, found from the readings"))
    entry = for_programs(
        command("fault-entry", _fault_entry, "says by name what was wrong with a loop and what was done")
    )
    fault_entry_arguments(entry)
    acknowledge = for_programs(command("acknowledge", _acknowledge, "says by name that an alarm has been seen"))
    acknowledge.add_argument("alarm", metavar="SOURCE.CONDITION", help="such as palm.high")
    acknowledge.add_argument("--by", required=True, metavar="NAME")
    acknowledge.add_argument("--comment", default="", metavar="TEXT")
    acknowledge.add_argument(
        "--occurrence", type=int, metavar="N", help="that one and no newer one (default: the newest)"
    )
    alarm_arguments(command("alarm", _alarm, "shelves an alarm, resets its latch, takes it out of service, tests it"))
    notify_test = for_programs(command("notify-test", _notify_test, "sends a marked test message through a channel"))
    notify_test.add_argument("channel", metavar="CHANNEL", help="the id of a [[notify]] channel")
    notify_test.add_argument("--by", default="somebody", metavar="NAME", help="who tries it; stands in the message")


def _alarms(args: argparse.Namespace) -> int:
    from gaugehouse.looking import alarms

    return alarms(args)


def _faults(args: argparse.Namespace) -> int:
    from gaugehouse.faultlook import faults

    return faults(args)


def _movements(args: argparse.Namespace) -> int:
    from gaugehouse.movementlook import movements

    return movements(args)


def _fault_entry(args: argparse.Namespace) -> int:
    from gaugehouse.faultlook import fault_entry

    return fault_entry(args)


def _acknowledge(args: argparse.Namespace) -> int:
    from gaugehouse.acting import acknowledge

    return acknowledge(args)


def _alarm(args: argparse.Namespace) -> int:
    from gaugehouse.acting import alarm

    return alarm(args)


def _notify_test(args: argparse.Namespace) -> int:
    from gaugehouse.notifying.trying import notify_test

    return notify_test(args)
