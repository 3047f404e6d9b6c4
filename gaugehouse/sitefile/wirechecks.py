"""What keys of buses, instruments and signals mean together: who is on which wire, and where in its registers.

Sources: MODBUS over Serial Line V1.02 2.2 (units 1-247), MODBUS Messaging on TCP/IP V1.0b 4.4.1.2 (unit 0 or 255 for
the device itself), MODBUS Application Protocol V1.1b3 4.4 (addresses on the wire count from 0).
"""

from collections import Counter
from typing import Any, Final

from collector.spec import BusKind
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.loopfacts import check_power
from gaugehouse.sitefile.quantities import BadQuantity, converts, unit_of
from gaugehouse.sitefile.schema import BusTable, InstrumentTable, SignalTable
from modbus.signals import BIT_FUNCTIONS, LAST_ADDRESS, RegisterType

KINDS: Final = ("bus", "instrument", "product", "tank", "meter", "point", "supply")
COLUMNS: Final = frozenset({"time", "instrument", "outcome"})
"""Names that recorded samples use themselves."""

_TCP_KEYS: Final = ("host", "port")
_SERIAL_KEYS: Final = ("device", "baud", "parity", "stop_bits")
_BELONGS: Final = {
    BusKind.TCP: _TCP_KEYS,
    BusKind.RTU: _SERIAL_KEYS,
    BusKind.RTU_OVER_TCP: (*_TCP_KEYS, "baud", "parity", "stop_bits"),
}


def check_wires(draft: Draft) -> None:
    for kind in KINDS:
        _unique(draft, kind)
    for key, bus in draft.items("bus"):
        _bus(draft, key, bus)
    _one_device_once(draft)
    _units(draft)
    for key, instrument in draft.items("instrument"):
        _instrument(draft, key, instrument)
    check_power(draft)


def _unique(draft: Draft, kind: str) -> None:
    seen: set[str] = set()
    for index, item in enumerate(getattr(draft.file, kind) or ()):
        if item.id is not None and item.id in seen:
            text = f'the id "{item.id}" is taken by another {kind}; ids are unique, give this one its own'
            draft.report.error(f"{kind}[#{index + 1}].id", text, found=item.id)
        seen.add(item.id)


def _bus(draft: Draft, key: str, bus: BusTable) -> None:
    if bus.kind is not None:
        for name in (*_TCP_KEYS, *_SERIAL_KEYS):
            if getattr(bus, name) is not None and name not in _BELONGS[bus.kind]:
                text = f'this key does not belong to kind "{bus.kind}"; remove it, or change the kind'
                draft.report.error(f"{key}.{name}", text, found=getattr(bus, name))
        needed, example = ("device", "/dev/ttyUSB0") if bus.kind is BusKind.RTU else ("host", "192.0.2.10")
        if getattr(bus, needed) is None and draft.report_is_clean(f"{key}.{needed}"):
            text = f'missing; kind "{bus.kind}" needs it, add a line such as {needed} = "{example}"'
            draft.report.error(f"{key}.{needed}", text, allowed=example)
    if bus.host is not None and "/" in bus.host:
        text = (
            f'"{bus.host}" is a link; write the bare name or address, such as host = "192.0.2.10", and the port apart'
        )
        draft.report.error(f"{key}.host", text, found=bus.host)
    if bus.period is not None and bus.timeout is not None and bus.timeout >= bus.period:
        text = f"{bus.timeout} ms is not below the period of {bus.period} ms; make one shorter or the other longer"
        draft.report.error(f"{key}.timeout", text, found=f"{bus.timeout} ms", allowed=f"below {bus.period} ms")


def _one_device_once(draft: Draft) -> None:
    seen: dict[str, str] = {}
    for key, bus in draft.items("bus"):
        if bus.device is None:
            continue
        if bus.device in seen:
            text = f"{seen[bus.device]} has this serial device already; put the instruments on that one bus"
            draft.report.error(f"{key}.device", text, found=bus.device)
        seen.setdefault(bus.device, key)


def _units(draft: Draft) -> None:
    seen: dict[tuple[str, int], tuple[str, InstrumentTable]] = {}
    for key, instrument in draft.items("instrument"):
        draft.expect_id(f"{key}.bus", instrument.bus, "bus")
        bus, unit = draft.bus(instrument.bus), instrument.unit
        if bus is None or unit is None:
            continue
        if bus.kind in (BusKind.RTU, BusKind.RTU_OVER_TCP) and not 1 <= unit <= 247:
            text = f"{unit} is no unit on a serial line (0 is the broadcast); allowed is 1 to 247"
            draft.report.error(f"{key}.unit", text, found=unit, allowed="1 to 247")
        other = seen.setdefault((bus.id, unit), (key, instrument))
        if other[1] is not instrument and not (instrument.shares_unit and other[1].shares_unit):
            text = (
                f'{other[0]} has unit {unit} on bus "{bus.id}" already; give each its own unit, or say '
                "shares_unit = true in both where one card serves several channels"
            )
            draft.report.error(f"{key}.unit", text, found=unit)


def _instrument(draft: Draft, key: str, instrument: InstrumentTable) -> None:
    if instrument.signal is not None and not instrument.signal and draft.report_is_clean(f"{key}.signal"):
        text = "an instrument without signals is never asked; add an [[instrument.signal]]"
        draft.report.error(f"{key}.signal", text)
    names: Counter[Any] = Counter()
    for index, signal in enumerate(instrument.signal or ()):
        here = f"{key}.signal[{signal.name or f'#{index + 1}'}]"
        names[signal.name] += 1
        if signal.name is not None and names[signal.name] == 2:
            text = f'this instrument has a signal "{signal.name}" already; give this one its own name'
            draft.report.error(f"{key}.signal[#{index + 1}].name", text, found=signal.name)
        elif signal.name in COLUMNS:
            text = f'"{signal.name}" is a column of recorded samples; choose another name'
            draft.report.error(f"{here}.name", text, found=signal.name)
        _address(draft, here, signal)
        if instrument.longest and signal.type is not None and signal.type.registers > instrument.longest:
            text = f"{signal.type} takes {signal.type.registers} registers, more than longest = {instrument.longest}"
            draft.report.error(f"{here}.type", f"{text}; mend one of the two", found=signal.type.value)
        _meaning(draft, here, signal)


def _address(draft: Draft, key: str, signal: SignalTable) -> None:
    address, function = signal.address, signal.function
    if address is None or function is None:
        return
    plain = None if signal.plain_address and address <= LAST_ADDRESS else first_digit_style(address, function)
    if plain is not None:
        asked, at = plain
        text = (
            f"{address} holds the function in its first digit; write function = {asked}, address = {at}, "
            f"counted_from = 0"
        )
        if address <= LAST_ADDRESS:
            text += f" (where the instrument truly has an address of {address}, add plain_address = true)"
        draft.report.error(f"{key}.address", text, found=address, allowed=f"function {asked}, address {at}")
        return
    first = signal.counted_from or 0
    width = 1 if signal.type is None or function in BIT_FUNCTIONS else signal.type.registers
    last = LAST_ADDRESS + 1 - width + first
    if not first <= address <= last:
        text = f"{address} with {width} register(s), counted from {first}, is no address; allowed is {first} to {last}"
        draft.report.error(f"{key}.address", text, found=address, allowed=f"{first} to {last}")


def first_digit_style(address: int, function: int) -> tuple[int, int] | None:
    """Function and address on the wire of a number such as 40001, None where it is not of that kind.

    Source: common practice, no source: 4xxxx holding registers, 3xxxx input registers, 1xxxx discrete inputs, counted
    from 1, with five or six digits.
    """
    digits = {1: 2, 3: 4, 4: 3}
    for digit, meant in digits.items():
        if (meant == 2) != (function in BIT_FUNCTIONS):
            continue
        for base, most in ((digit * 10_000, 9_999), (digit * 100_000, 65_536)):
            if base < address <= base + most:
                return meant, address - base - 1
    return None


def _meaning(draft: Draft, key: str, signal: SignalTable) -> None:
    report, kind, function = draft.report, signal.type, signal.function
    if kind is not None and function in BIT_FUNCTIONS and kind is not RegisterType.BIT:
        text = f'function {function} reads bits: write type = "bit", or ask with function 3 or 4'
        report.error(f"{key}.type", text, found=kind.value, allowed="bit")
    if signal.bit is not None and (kind is not RegisterType.BIT or function in BIT_FUNCTIONS):
        text = 'this key picks a flag out of a register: it goes with type = "bit" and function 3 or 4; remove it'
        report.error(f"{key}.bit", text, found=signal.bit)
    if kind is RegisterType.BIT and function in (3, 4) and signal.bit is None and report.is_clean(f"{key}.bit"):
        text = "missing; a flag inside a register needs its place, add a line such as bit = 0 (the least significant)"
        report.error(f"{key}.bit", text, allowed="0 to 15")
    if signal.scale == 0:
        report.error(f"{key}.scale", "0 would make every value the same; write the value of one count", found=0)
    if signal.valid and not signal.valid[0] < signal.valid[1]:
        text = f"{signal.valid} holds nothing; write the lower bound first, such as valid = [3.5, 22.0]"
        report.error(f"{key}.valid", text, found=signal.valid)
    if signal.name == "current" and signal.unit is not None and not converts(signal.unit, "mA"):
        text = (
            f'a signal named current is taken as the loop current, but its unit is "{signal.unit}"; declare unit = "mA"'
        )
        report.error(f"{key}.unit", text, found=signal.unit, allowed='"mA"')
    elif signal.unit:
        try:
            unit_of(signal.unit)
        except BadQuantity as exc:
            report.error(f"{key}.unit", str(exc), found=signal.unit)
