"""The collector reads the same numbers from servers that others wrote.

By TCP from libmodbus, pyModbusTCP and uModbus; on a serial line from libmodbus and modbus_tk.
"""

import asyncio
import ctypes
import importlib.util
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from collector.spec import BusKind, BusSpec, InstrumentSpec
from modbus.signals import Order, RegisterSignal, RegisterType
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample
from tests import services
from tests.service_wire.servers import foreign_server, serial_line

HIGH, LOW = Order.HIGH_FIRST, Order.LOW_FIRST


def laid(text: str, value: float) -> list[int]:
    """The registers of a value by `struct` alone: the same layout said in another tongue than our codecs'."""
    data = struct.pack(text, value)
    return [int.from_bytes(data[i : i + 2], "big") for i in range(0, len(data), 2)]


REGISTERS = [
    *laid(">f", 9.25),  # 0: level, high word first
    *laid(">f", 11.875)[::-1],  # 2: low word first
    *laid("<f", -40.5)[::-1],  # 4: bytes swapped inside of each word
    *laid("<f", 815.5),  # 6: all reversed
    *laid(">i", -123456),  # 8
    *laid(">I", 4_000_000_000),  # 10
    *laid(">h", -271),  # 12
    *laid(">H", 12_034),  # 13
    *laid(">d", 3.141592653589793),  # 14
    *laid(">q", -(2**40)),  # 18
    0x1234,  # 22: decimal digits
    0b0000_0100_0000_0000,  # 23: flag 10
    *laid(">f", float("nan")),  # 24
    *range(26, 260),
]
BITS = [0, 1, 1, 0, 1, 0, 0, 0, 1, 1, 0, 1] + [0, 1] * 1000
T = RegisterType


def signals(function: int) -> tuple[RegisterSignal, ...]:
    name = {3: "h", 4: "i"}[function]
    return (
        RegisterSignal(f"{name}-level", function, 0, T.FLOAT32),
        RegisterSignal(f"{name}-cdab", function, 2, T.FLOAT32, LOW, HIGH),
        RegisterSignal(f"{name}-badc", function, 4, T.FLOAT32, HIGH, LOW),
        RegisterSignal(f"{name}-dcba", function, 6, T.FLOAT32, LOW, LOW),
        RegisterSignal(f"{name}-int32", function, 8, T.INT32),
        RegisterSignal(f"{name}-uint32", function, 10, T.UINT32),
        RegisterSignal(f"{name}-int16", function, 12, T.INT16, scale=0.1),
        RegisterSignal(f"{name}-current", function, 13, T.UINT16, scale=0.001, unit="mA"),
        RegisterSignal(f"{name}-float64", function, 14, T.FLOAT64),
        RegisterSignal(f"{name}-int64", function, 18, T.INT64),
        RegisterSignal(f"{name}-bcd", function, 22, T.BCD16),
        RegisterSignal(f"{name}-flag", function, 23, T.BIT, bit=10),
        RegisterSignal(f"{name}-nan", function, 24, T.FLOAT32),
        RegisterSignal(f"{name}-last", function, 259, T.UINT16),
    )


NUMBERS = {
    "level": 9.25, "cdab": 11.875, "badc": -40.5, "dcba": 815.5, "int32": -123456.0, "uint32": 4e9, "int16": -27.1,
    "current": 12.034, "float64": 3.141592653589793, "int64": -(2.0**40), "bcd": 1234.0, "flag": 1.0, "nan": None,
    "last": 259.0,
}  # fmt: skip
WANTED = (
    *signals(3),
    *signals(4),
    RegisterSignal("coil", 1, 4, T.BIT),
    RegisterSignal("far coil", 1, 1999, T.BIT),
    RegisterSignal("discrete", 2, 8, T.BIT),
)
EXPECTED = {f"{f}-{name}": value for f in "hi" for name, value in NUMBERS.items()} | {
    "coil": 1.0,
    "far coil": 1.0,
    "discrete": 1.0,
}


def need_libmodbus() -> None:
    try:
        ctypes.CDLL("libmodbus.so.5")
    except OSError:
        services.missing("libmodbus.so.5 (Debian package libmodbus5) is not installed")


SERVERS = [
    pytest.param("libmodbus_server", marks=pytest.mark.service),
    pytest.param("pymodbustcp_server"),
    pytest.param("umodbus_server"),
]


def collector_for(port: int, *wanted: RegisterSignal, bridge: int = 0) -> Collector:
    instrument = InstrumentSpec("LT-1", 1, wanted, bridge)
    bus = BusSpec("north", BusKind.TCP, (instrument,), "127.0.0.1", port, timeout_ms=20_000)
    return Collector([bus], lambda sample: None, RealClock())


@pytest.mark.parametrize("module", SERVERS)
@pytest.mark.parametrize("bridge", [0, 2000], ids=["without bridges", "with bridges"])
async def test_every_server_gives_the_same_numbers(module: str, bridge: int) -> None:
    if module == "libmodbus_server":
        need_libmodbus()
    with foreign_server(module, REGISTERS, BITS) as port:
        sample = await collector_for(port, *WANTED, bridge=bridge).read_once("north", "LT-1")
    assert sample.outcome == OK
    assert sample.values == {k: v if v is None else pytest.approx(v, rel=1e-12) for k, v in EXPECTED.items()}
    assert sample.raw["h-level"] == (0x4114, 0x0000)  # computed: IEEE 754, 9.25 = 1.15625 x 2^3


@pytest.mark.parametrize("module", SERVERS)
async def test_every_server_refuses_an_address_that_is_not_there_with_exception_02(module: str) -> None:
    """Source: Modbus Application Protocol V1.1b3, 7."""
    if module == "libmodbus_server":
        need_libmodbus()
    with foreign_server(module, REGISTERS, BITS) as port:
        beyond = RegisterSignal("beyond", 3, len(REGISTERS), T.UINT16)
        sample = await collector_for(port, beyond).read_once("north", "LT-1")
    assert (sample.outcome, sample.values) == ("exception-02", {})


SERIAL_SERVERS = [
    pytest.param("libmodbus_server", marks=pytest.mark.service),
    pytest.param("modbus_tk_server", marks=pytest.mark.service),
]
UNIT = 17


@asynccontextmanager
async def on_a_serial_line(module: str, *wanted: RegisterSignal, unit: int = UNIT) -> AsyncIterator[Collector]:
    """A collector, not running, and a foreign server at the other end of its line."""
    if module == "libmodbus_server":
        need_libmodbus()
    elif importlib.util.find_spec("modbus_tk") is None:
        services.missing("modbus_tk (Python package) is not installed")
    with serial_line() as (here, there):
        server = foreign_server(module, REGISTERS, BITS, there)
        await asyncio.to_thread(server.__enter__)
        try:
            instrument = InstrumentSpec("LT-1", unit, wanted)
            bus = BusSpec("north", BusKind.RTU, (instrument,), device=here, baud=115_200, timeout_ms=200)
            yield Collector([bus], lambda sample: None, RealClock())
        finally:
            server.__exit__(None, None, None)


async def answer_of(collector: Collector) -> Sample:
    """A reading that was answered whole. The other end is a process of its own: while the machine holds it up for a
    time-out, or us in the middle of a frame, there is none, and it is asked again."""
    for _ in range(20):
        sample = await collector.read_once("north", "LT-1")
        if sample.outcome not in (TIMEOUT, WRONG_REPLY):
            break
    return sample


@pytest.mark.parametrize("module", SERIAL_SERVERS)
async def test_every_serial_server_gives_the_same_numbers(module: str) -> None:
    async with on_a_serial_line(module, *WANTED) as collector:
        sample = await answer_of(collector)
    assert sample.outcome == OK
    assert sample.values == {k: v if v is None else pytest.approx(v, rel=1e-12) for k, v in EXPECTED.items()}
    assert sample.raw["i-level"] == (0x4114, 0x0000)  # computed: IEEE 754, 9.25 = 1.15625 x 2^3


@pytest.mark.parametrize("module", SERIAL_SERVERS)
async def test_every_serial_server_refuses_an_address_that_is_not_there_with_exception_02(module: str) -> None:
    """Source: Modbus Application Protocol V1.1b3, 7."""
    beyond = RegisterSignal("beyond", 3, len(REGISTERS), T.UINT16)
    async with on_a_serial_line(module, beyond) as collector:
        sample = await answer_of(collector)
    assert (sample.outcome, sample.values) == ("exception-02", {})


@pytest.mark.parametrize("module", SERIAL_SERVERS)
async def test_a_unit_that_is_not_on_the_line_does_not_answer(module: str) -> None:
    async with on_a_serial_line(module, WANTED[0], unit=9) as collector:
        sample = await collector.read_once("north", "LT-1")
    assert (sample.outcome, sample.values) == (TIMEOUT, {})
