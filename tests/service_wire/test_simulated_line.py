"""The simulated farm on a serial line: read by mbpoll (libmodbus) and by the collector, and what it refuses."""

import asyncio
import os
import re
import struct
import sys
import termios
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from collector.spec import BusKind, BusSpec, InstrumentSpec
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample
from simulator.demo.layout import DEMO
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.serialline import BAUDS
from simulator.server import FarmServer
from tests import services
from tests.service_wire.servers import ROOT, serial_line

START_MS = 1_785_542_400_000
STEADY = replace(DEMO, gateways=tuple(replace(g, missed_frac=0.0, latency_ms=1.0) for g in DEMO.gateways))
ROW = [u for u in STEADY.units if u.gateway == "row"]


@asynccontextmanager
async def farm_server() -> AsyncIterator[FarmServer]:
    async with FarmServer(Farm(1, START_MS, STEADY), lambda: START_MS + 3000) as server:
        yield server


async def mbpoll(
    device: str, unit: int, table: str, first: int, count: int, patience_s: float = 10.0
) -> tuple[int, list[str]]:
    """(exit code, lines of values) of one reading at 9600 baud, even parity."""
    program = services.need("mbpoll")
    process = await asyncio.create_subprocess_exec(
        program, "-m", "rtu", "-a", str(unit), "-b", "9600", "-P", "even", "-t", table, "-0",
        "-r", str(first), "-c", str(count), "-1", "-q", "-o", str(patience_s), device,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    async with asyncio.timeout(60):
        out, _ = await process.communicate()
    assert process.returncode is not None
    return process.returncode, [line for line in out.decode().splitlines() if line.startswith("[")]


@pytest.mark.service
async def test_mbpoll_reads_what_the_farm_says_on_a_serial_line() -> None:
    async with farm_server() as server:
        device = server.open_serial("row")
        for unit in ROW:
            for signal in unit.signals:
                table = "4:hex" if signal.function == 3 else "3:hex"
                code, lines = await mbpoll(device, unit.unit, table, signal.address, signal.words)
                assert code == 0
                words = [int(line.split()[1], 16) for line in lines]
                if signal.word_order == "low first":
                    words.reverse()
                layout = {"float32": ">f", "int32": ">i", "int16": ">h", "uint16": ">H"}[signal.type]
                raw = struct.unpack(layout, struct.pack(f">{len(words)}H", *words))[0]
                said = server.farm.wire(unit.id)
                assert said is not None
                assert raw * signal.scale == pytest.approx(said[signal.name], rel=1e-6)


@pytest.mark.service
async def test_mbpoll_is_refused_an_address_and_gets_no_answer_from_a_unit_that_is_not_there() -> None:
    async with farm_server() as server:
        device = server.open_serial("row")
        assert (await mbpoll(device, 11, "3:hex", 500, 1))[1] == []
        assert (await mbpoll(device, 99, "3:hex", 0, 1, patience_s=0.5))[1] == []
        assert len((await mbpoll(device, 11, "3:hex", 0, 2))[1]) == 2


def bus(device: str) -> BusSpec:
    instruments = tuple(InstrumentSpec(unit.id, unit.unit, unit.signals) for unit in ROW)
    absent = InstrumentSpec("absent", 99, ROW[0].signals)
    return BusSpec("row", BusKind.RTU, (*instruments, absent), device=device, parity="E", timeout_ms=40)


async def answer_of(collector: Collector, instrument: str) -> Sample:
    """A reading that was answered whole; one whose time-out the machine slept through is asked again."""
    for _ in range(20):
        sample = await collector.read_once("row", instrument)
        if sample.outcome not in (TIMEOUT, WRONG_REPLY):
            break
    return sample


async def test_the_collector_reads_the_farm_on_a_serial_line() -> None:
    async with farm_server() as server:
        collector = Collector([bus(server.open_serial("row", baud=115_200))], lambda sample: None, RealClock())
        for unit in ROW:
            sample = await answer_of(collector, unit.id)
            assert sample.outcome == OK
            assert sample.values == pytest.approx(server.farm.wire(unit.id), rel=1e-6)
        assert (await collector.read_once("row", "absent")).outcome == TIMEOUT


async def test_a_port_of_the_machine_is_set_up_and_served() -> None:
    with serial_line() as (here, there):
        async with farm_server() as server:
            assert server.open_serial("row", there) == there
            line = os.open(there, os.O_RDWR | os.O_NOCTTY)
            speed = termios.tcgetattr(line)[4:6]
            os.close(line)
            assert speed == [termios.B9600] * 2
            collector = Collector([bus(here)], lambda sample: None, RealClock())
            assert (await answer_of(collector, ROW[0].id)).outcome == OK


async def test_what_cannot_be_a_serial_line_is_refused_by_name() -> None:
    async with farm_server() as server:
        with pytest.raises(SimulatorError, match="no gateway 'attic'; it has row, ramp"):
            server.open_serial("attic")
        with pytest.raises(SimulatorError, match="gateway row: cannot use /dev/null as a serial line"):
            server.open_serial("row", "/dev/null")
        with pytest.raises(SimulatorError, match=r"cannot use /nowhere/port as a serial line: .*No such file"):
            server.open_serial("row", "/nowhere/port")
        with pytest.raises(SimulatorError, match=f"9601 baud; allowed {BAUDS[0]}"):
            server.open_serial("row", baud=9601)


async def test_a_line_that_goes_away_ends_quietly(caplog: pytest.LogCaptureFixture) -> None:
    async with farm_server() as server:
        with serial_line() as (_, there):
            server.open_serial("row", there)
        async with asyncio.timeout(30):
            while "is gone" not in caplog.text:
                await asyncio.sleep(0.001)


async def test_the_simulator_by_itself_says_where_its_serial_line_is() -> None:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "simulator", "--port-base", "0", "--serial", "row", "--baud", "115200",
        stdout=asyncio.subprocess.PIPE, cwd=ROOT,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        async with asyncio.timeout(60):
            told = [(await process.stdout.readline()).decode() for _ in range(3)]
            found = re.fullmatch(r"gateway row on (/dev/\S+)\n", told[-1])
            assert found, told
            collector = Collector([bus(found[1])], lambda sample: None, RealClock())
            assert (await answer_of(collector, ROW[0].id)).outcome == OK
    finally:
        process.kill()
        await process.wait()
