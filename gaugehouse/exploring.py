"""`gaugehouse read --explore`: who answers on a line, which registers can be read, what they could mean.

Reads only. Never beside a running daemon: two that ask on one line take each other's answers. A file with nothing but
the `[[bus]]` is enough.
"""

import asyncio
import sys
import time
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from collector.collector import line_for
from collector.errors import CollectorError
from collector.explore import Explorer, Searched, Unit
from collector.line import Line
from collector.spec import BusKind, BusSpec
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.explored import decoded, json_of, text_of
from gaugehouse.local import daemon_at
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.printing import as_json
from gaugehouse.sitefile.onebus import load_bus
from modbus.decodings import Known
from modbus.frames import FIRST_UNIT, LAST_UNIT, UNIT_OF_A_DIRECT_SERVER, most
from modbus.timing import exchange_ms

Json = dict[str, Any]

TELL_EVERY_S: Final = 2.0


def explore(args: Namespace) -> int:
    """0 when a unit answers, 1 when none does."""
    bus, store = load_bus(Path(args.site), args.explore)
    units, functions = _units(args.units, bus), _functions(args.functions)
    addresses, known = _addresses(args.addresses), _known(args)
    running = daemon_at(store)
    if running is not None:
        raise CouldNot(
            f"a daemon (process {running}) runs on {store} and asks on its lines: a second master would take its "
            "answers; stop it, explore, and start it again"
        )
    found, searched = asyncio.run(_look_around(bus, units, functions, addresses, args))
    told = decoded(searched, known, args.address)
    if args.json:
        print(as_json(json_of(found, searched, told)))
    else:
        print(text_of(bus, found, searched, told, known))
    return 0 if found else 1


async def _look_around(
    bus: BusSpec, units: list[int], functions: list[int], addresses: tuple[int, int], args: Namespace
) -> tuple[list[Unit], list[tuple[int, int, Searched]]]:
    line = line_for(bus)
    teller = _Teller()
    teller.say(_announced(bus, units, functions, addresses, args))
    try:
        fault = await line.open()
        if fault:
            raise CouldNot(f"bus {bus.id}: {fault}")
        return await _asked(line, units, functions, addresses, args, teller)
    except CollectorError as error:
        raise CouldNot(f"bus {bus.id}: {error}") from error
    finally:
        line.close()


async def _asked(
    line: Line, units: list[int], functions: list[int], addresses: tuple[int, int], args: Namespace, teller: "_Teller"
) -> tuple[list[Unit], list[tuple[int, int, Searched]]]:
    explorer = Explorer(line, args.pause / 1000, teller)
    found = await explorer.units(units, functions[0])
    teller.say(f"units that answer: {', '.join(str(unit.unit) for unit in found) or 'none'}")
    searched: list[tuple[int, int, Searched]] = []
    for unit in found:
        left = args.requests
        for function in functions:
            if left <= 0:
                break
            longest = min(args.longest, most(function))
            seen = await explorer.registers(unit.unit, function, *addresses, longest, left)
            left -= seen.requests
            searched.append((unit.unit, function, seen))
            count = sum(len(stretch.registers) for stretch in seen.stretches)
            teller.say(f"unit {unit.unit}, function {function}: {count} readable, {seen.requests} requests")
    return found, searched


class _Teller:
    """Progress on stderr, at most a line every two seconds; findings at once."""

    def __init__(self) -> None:
        self._last_s = time.monotonic()

    def __call__(self, text: str) -> None:
        if time.monotonic() - self._last_s >= TELL_EVERY_S:
            self.say(text)

    def say(self, text: str) -> None:
        self._last_s = time.monotonic()
        print(text, file=sys.stderr)


def _announced(
    bus: BusSpec, units: list[int], functions: list[int], addresses: tuple[int, int], args: Namespace
) -> str:
    """What is about to be asked, and how long silence alone can take."""
    where = bus.device or f"{bus.host}:{bus.port}"
    own_ms = 0.0 if bus.kind is BusKind.TCP else 2 * exchange_ms(False, 1, bus.baud)
    each_s = (bus.timeout_ms + own_ms + args.pause) / 1000
    return (
        f"bus {bus.id} ({bus.kind.value}, {where}): reading only; {len(units)} units with function {functions[0]}, "
        f"up to {len(units) * each_s:.0f} s where none answers; then addresses {addresses[0]} to {addresses[1]} "
        f"(counted from 0) of each that answers, {args.requests} requests a unit at the most"
    )


# arguments ----------------------------------------------------------------------------------------------------------


def _ranges(option: str, text: str, low: int, high: int) -> Iterator[int]:
    """ "1-32,40" as numbers; a `CallError` says what is wrong."""
    for part in text.split(","):
        first, _, last = part.strip().partition("-")
        if not first.isdigit() or not (last or first).isdigit():
            raise CallError(f"{option} {text!r} is not understood; write numbers and spans, such as 1-32,40")
        start, end = int(first), int(last or first)
        if not low <= start <= end <= high:
            raise CallError(f"{option} {part.strip()}: allowed is {low} to {high}, the lower one first")
        yield from range(start, end + 1)


def _units(text: str | None, bus: BusSpec) -> list[int]:
    if bus.kind is not BusKind.TCP:
        return list(dict.fromkeys(_ranges("--units", text or f"{FIRST_UNIT}-{LAST_UNIT}", FIRST_UNIT, LAST_UNIT)))
    usual = f"{FIRST_UNIT}-{LAST_UNIT},{UNIT_OF_A_DIRECT_SERVER}"
    return list(dict.fromkeys(_ranges("--units", text or usual, 0, UNIT_OF_A_DIRECT_SERVER)))


def _functions(text: str) -> list[int]:
    return list(dict.fromkeys(_ranges("--functions", text, 1, 4)))


def _addresses(text: str) -> tuple[int, int]:
    found = list(_ranges("--addresses", text, 0, 65535))
    return found[0], found[-1]


def _known(args: Namespace) -> Known | None:
    level = quantity_or_none("--level", args.level, "m", "9.204 m")
    if level is None:
        for option, value in (("--within", args.within), ("--range", args.range), ("--address", args.address)):
            if value is not None:
                raise CallError(f"{option} helps to find a level: give --level too")
        return None
    within = quantity_or_none("--within", args.within, "m", "9.204 m") if args.within is not None else 0.03
    ends = None
    if args.range is not None:
        zero, full = (quantity_or_none("--range", text, "m", "9.204 m") for text in args.range)
        if zero is None or full is None or zero == full:
            raise CallError("--range: the innages at 4 and at 20 mA differ")
        ends = zero, full
    if within is None or not within > 0:
        raise CallError("--within: write a length above zero")
    return Known(level, within, quantity_or_none("--reference-height", args.reference_height, "m", "9.204 m"), ends)
