"""What is unwise about how instruments are asked: needless requests, a wire too slow for what is asked of it."""

from itertools import combinations, pairwise
from typing import Final

from collector.spec import BusKind, BusSpec, InstrumentSpec
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report
from modbus.plan import Block, plan
from modbus.signals import BIT_FUNCTIONS, RegisterSignal, RegisterType
from modbus.timing import read_ms

BRIDGE_WORTH: Final = 8
"""A hole of up to so many registers is cheaper to read over than to ask twice (8 bytes of request, 5 of reply, two
silences of 3.5 characters: about 20 characters; computed from MODBUS over Serial Line V1.02 2.5.1)."""


def advise_wires(draft: Draft, site: Site) -> None:
    report = draft.report
    for key, instrument in draft.items("instrument"):
        unsaid = [signal.name for signal in instrument.signal if signal.counted_from is None]
        if unsaid:
            text = (
                f"not said for {', '.join(unsaid)}, taken as 0: the address as it goes on the wire; write "
                "counted_from = 1 where the map counts from 1, or = 0 to say so"
            )
            report.warn(f"{key}.signal[{unsaid[0]}].counted_from", text, allowed="0 or 1")
    _one_gateway_twice(site, report)
    for bus in site.buses:
        for instrument in bus.instruments:
            _overlaps(instrument, report)
            _holes(instrument, report)
        _wire(draft, bus, report)


def _one_gateway_twice(site: Site, report: Report) -> None:
    seen: dict[tuple[str, int], str] = {}
    for bus in site.buses:
        if bus.kind is BusKind.RTU:
            continue
        first = seen.setdefault((bus.host, bus.port), bus.id)
        if first != bus.id:
            text = (
                f'bus "{first}" asks the same gateway: put the instruments on one bus, or both will wait for each other'
            )
            report.warn(f"bus[{bus.id}].host", text, found=f"{bus.host}:{bus.port}")


def _overlaps(instrument: InstrumentSpec, report: Report) -> None:
    for one, other in combinations(instrument.signals, 2):
        if one.function == other.function and _meet(one, other):
            text = (
                f"{other.name} (address {other.address}) lies on the registers of {one.name} (address {one.address}, "
                f"{one.words} wide): check the addresses, and whether both count from the same number"
            )
            report.warn(f"instrument[{instrument.id}].signal[{other.name}].address", text, found=other.address)


def _meet(one: RegisterSignal, other: RegisterSignal) -> bool:
    if RegisterType.BIT in (one.type, other.type) and one.function not in BIT_FUNCTIONS:
        return one.type is other.type and (one.address, one.bit) == (other.address, other.bit)
    return one.address < other.address + other.words and other.address < one.address + one.words


def _holes(instrument: InstrumentSpec, report: Report) -> None:
    asked = plan(instrument.signals, instrument.bridge, instrument.longest)
    holes = [
        after.start - before.start - before.quantity
        for before, after in pairwise(asked)
        if before.function == after.function
    ]
    narrow = [hole for hole in holes if hole <= BRIDGE_WORTH]
    if not narrow:
        return
    joined = plan(instrument.signals, max(narrow), instrument.longest)
    if len(joined) < len(asked):
        text = (
            f"{len(asked)} requests a poll; bridge = {max(narrow)} would make {len(joined)} of them, if the instrument "
            "answers the registers between (some answer a hole with an exception: try it)"
        )
        report.warn(f"instrument[{instrument.id}].bridge", text, found=instrument.bridge, allowed=f"{max(narrow)}")


def block_ms(block: Block, baud: int) -> float:
    """How long one request and its reply take on a serial line."""
    words = -(-block.quantity // 16) if block.function in BIT_FUNCTIONS else block.quantity
    return read_ms(baud, words)


def cycle_ms(bus: BusSpec) -> float:
    """How long asking everyone on a serial line takes, the units' own delays not counted."""
    blocks = (block for i in bus.instruments for block in plan(i.signals, i.bridge, i.longest))
    return sum(block_ms(block, bus.baud) for block in blocks)


def told_baud(draft: Draft, bus: BusSpec) -> bool:
    """True where the speed of a wire is known: always on a serial port of ours, behind a gateway only when told."""
    table = draft.bus(bus.id)
    return bus.kind is BusKind.RTU or (table is not None and table.baud is not None)


def _wire(draft: Draft, bus: BusSpec, report: Report) -> None:
    if bus.kind is not BusKind.TCP and bus.parity == "N" and bus.stop_bits == 1:
        text = "no parity goes with 2 stop bits (MODBUS over Serial Line V1.02 2.5.1); check the instruments' setting"
        report.warn(f"bus[{bus.id}].stop_bits", text, found=1, allowed="2")
    if not told_baud(draft, bus):
        return
    blocks = [block for i in bus.instruments for block in plan(i.signals, i.bridge, i.longest)]
    longest = max((block_ms(block, bus.baud) for block in blocks), default=0.0)
    if bus.timeout_ms < longest:
        text = (
            f"{bus.timeout_ms} ms are less than the longest request and reply need at {bus.baud} baud, {longest:.0f} "
            f'ms (MODBUS over Serial Line V1.02); write timeout = "{_round_up(longest + 200)} ms" or more'
        )
        report.warn(f"bus[{bus.id}].timeout", text, found=f"{bus.timeout_ms} ms", allowed=f"over {longest:.0f} ms")
    cycle = cycle_ms(bus)
    if cycle > bus.period_ms:
        text = (
            f"{len(blocks)} requests need {cycle:.0f} ms at {bus.baud} baud (MODBUS over Serial Line V1.02), more than "
            f'the period of {bus.period_ms} ms; write period = "{_round_up(cycle)} ms" or more, or raise the baud rate'
        )
        report.warn(f"bus[{bus.id}].period", text, found=f"{bus.period_ms} ms", allowed=f"over {cycle:.0f} ms")


def _round_up(ms: float) -> int:
    return -(-round(ms) // 100) * 100
