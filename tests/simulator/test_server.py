"""The farm on the wire: foreign readers get what the farm says, dead units are silent, nothing can be written."""

import asyncio
import re
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusIOException
from pyModbusTCP.client import ModbusClient

from modbus.responder import RtuResponder
from simulator.demo.layout import DEMO
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.server import FarmServer, serve
from simulator.source import GatewaySource
from tests.ports import free_port
from tests.services import need

START_MS = 1_785_542_400_000
STEADY = replace(DEMO, gateways=tuple(replace(g, missed_frac=0.0, latency_ms=1.0) for g in DEMO.gateways))


class Clock:
    """Site time by hand."""

    def __init__(self) -> None:
        self.ms = START_MS + 3000

    def __call__(self) -> int:
        return self.ms


@asynccontextmanager
async def served(clock: Clock) -> AsyncIterator[FarmServer]:
    async with await serve(Farm(1, START_MS, STEADY), clock) as server:
        yield server


@asynccontextmanager
async def client(port: int, timeout_s: float = 20.0) -> AsyncIterator[AsyncModbusTcpClient]:
    reader = AsyncModbusTcpClient("127.0.0.1", port=port, timeout=timeout_s, retries=0)
    assert await reader.connect()
    try:
        yield reader
    finally:
        reader.close()


async def test_every_signal_read_by_pymodbus_is_what_the_farm_says() -> None:
    types = AsyncModbusTcpClient.DATATYPE
    known = {"float32": types.FLOAT32, "int32": types.INT32, "int16": types.INT16, "uint16": types.UINT16}
    clock = Clock()
    async with served(clock) as server:
        for gateway, port in zip(STEADY.gateways, server.ports, strict=True):
            async with client(port) as reader:
                for unit in (u for u in STEADY.units if u.gateway == gateway.id):
                    expected = server.farm.wire(unit.id) if server.farm.now_ms == clock.ms else None
                    for signal in unit.signals:
                        ask = reader.read_holding_registers if signal.function == 3 else reader.read_input_registers
                        answer = await ask(signal.address, count=signal.words, device_id=unit.unit)
                        assert not answer.isError()
                        order = "little" if signal.word_order == "low first" else "big"
                        raw = AsyncModbusTcpClient.convert_from_registers(
                            answer.registers, known[signal.type.value], word_order=order
                        )
                        expected = server.farm.wire(unit.id)
                        assert expected is not None
                        assert raw * signal.scale == pytest.approx(expected[signal.name], rel=1e-6)


async def test_the_farm_moves_on_with_the_clock_at_each_request() -> None:
    clock = Clock()
    async with served(clock) as server, client(server.ports[0]) as reader:
        first = await reader.read_input_registers(2, count=1, device_id=11)
        clock.ms += 120_000
        second = await reader.read_input_registers(2, count=1, device_id=11)
        # 108 m3/h into 78.5 m2 for two minutes are 46 mm
        assert second.registers[0] - first.registers[0] == pytest.approx(46, abs=12)


@pytest.mark.usefixtures("steady")  # the time-out of 0.3 s is also what the connecting has
async def test_a_dead_unit_is_silent_while_its_neighbours_answer() -> None:
    clock = Clock()
    async with served(clock) as server:
        server.farm.advance(clock.ms)
        server.farm.inject("palm_loop", "silent", 600)
        async with client(server.ports[0], timeout_s=0.3) as reader:
            with pytest.raises(ModbusIOException):
                await reader.read_holding_registers(0, count=2, device_id=12)
        async with client(server.ports[0]) as reader:
            assert not (await reader.read_input_registers(0, count=2, device_id=11)).isError()
            assert not (await reader.read_input_registers(0, count=6, device_id=13)).isError()
            clock.ms += 601_000
            assert not (await reader.read_holding_registers(0, count=2, device_id=12)).isError()


@pytest.mark.parametrize(
    ("unit", "start", "count", "code"),
    [
        # MODBUS Application Protocol V1.1b3, 7: 02 illegal data address, 0B gateway target failed to respond
        (11, 2, 2, 0x02),
        (11, 500, 1, 0x02),
        (99, 0, 1, 0x0B),
    ],
)
async def test_what_is_not_there_is_refused(unit: int, start: int, count: int, code: int) -> None:
    async with served(Clock()) as server, client(server.ports[0]) as reader:
        answer = await reader.read_input_registers(start, count=count, device_id=unit)
        assert answer.isError()
        assert answer.exception_code == code


async def test_a_unit_with_an_inner_fault_answers_with_exception_04() -> None:
    clock = Clock()
    async with served(clock) as server, client(server.ports[1]) as reader:
        server.farm.advance(clock.ms)
        server.farm.inject("dune_loop", "exception", 60)
        answer = await reader.read_input_registers(0, count=2, device_id=1)
        assert answer.exception_code == 0x04


async def test_nothing_can_be_written() -> None:
    async with served(Clock()) as server, client(server.ports[0]) as reader:
        before = await reader.read_holding_registers(2, count=1, device_id=12)
        answer = await reader.write_register(2, 777, device_id=12)
        assert answer.exception_code == 0x01
        after = await reader.read_holding_registers(2, count=1, device_id=12)
        assert after.registers == before.registers


async def test_two_readers_and_a_stranger_are_served_side_by_side() -> None:
    async with served(Clock()) as server:
        stranger_reader, stranger = await asyncio.open_connection("127.0.0.1", server.ports[0])
        stranger.write(b"GET / HTTP/1.1\r\n\r\n")
        async with asyncio.timeout(5):
            assert await stranger_reader.read() == b""  # no Modbus: the connection is closed
        async with client(server.ports[0]) as one, client(server.ports[0]) as two:
            answers = await asyncio.gather(*(r.read_input_registers(0, count=3, device_id=11) for r in (one, two) * 5))
        assert len({tuple(answer.registers) for answer in answers}) == 1
        stranger.close()


async def test_closing_hangs_up_and_frees_the_ports() -> None:
    clock, ports = Clock(), (free_port(), free_port())
    async with await serve(Farm(1, START_MS), clock, ports=ports):
        reader, writer = await asyncio.open_connection("127.0.0.1", ports[0])
    async with asyncio.timeout(5):
        assert await reader.read() == b""
    writer.close()
    async with await serve(Farm(1, START_MS), clock, ports=ports) as again:
        assert again.ports == ports


async def test_a_port_that_is_taken_is_named_and_the_others_are_let_go() -> None:
    clock = Clock()
    async with served(clock) as server:
        with pytest.raises(SimulatorError, match=f"gateway ramp: cannot listen on 127.0.0.1:{server.ports[1]}"):
            await serve(Farm(1, START_MS), clock, ports=(0, server.ports[1]))
        with pytest.raises(SimulatorError, match="2 gateways, but 1 ports"):
            await serve(Farm(1, START_MS), clock, ports=(0,))


async def test_running_along_keeps_the_farm_up_with_its_clock_and_lets_others_breathe() -> None:
    clock = Clock()
    async with served(clock) as server, asyncio.TaskGroup() as group:
        running = group.create_task(server.run(), name="farm")
        clock.ms += 3_600_000
        breaths = 0
        async with asyncio.timeout(60):
            while server.farm.now_ms < clock.ms:
                await asyncio.sleep(0)
                breaths += 1
        running.cancel()
        assert breaths > 10


def test_the_same_source_serves_a_serial_line() -> None:
    line = RtuResponder(GatewaySource(Farm(1, START_MS, STEADY), "ramp", Clock()))
    # request "unit 1, function 4, register 2, one register"; CRC computed with the algorithm of Serial Line V1.02, 6.2
    reply = line.feed(bytes.fromhex("010400020001900a"))
    assert reply[:3] == bytes.fromhex("010402")
    assert int.from_bytes(reply[3:5], "big") == pytest.approx(820, abs=15)


def test_a_gateway_that_does_not_exist_is_named() -> None:
    with pytest.raises(SimulatorError, match="no gateway 'attic'; it has row, ramp"):
        GatewaySource(Farm(1, START_MS), "attic", Clock())


def test_a_gateway_loses_a_request_now_and_then() -> None:
    lossy = replace(DEMO, gateways=tuple(replace(g, missed_frac=0.05) for g in DEMO.gateways))
    source = GatewaySource(Farm(1, START_MS, lossy), "row", Clock())
    lost = sum(source.registers(11, 4, 0, 2) is None for _ in range(2000))
    assert lost == pytest.approx(100, abs=40)  # binomial, four standard deviations (computed)


@pytest.mark.service
async def test_mbpoll_reads_the_simulated_farm() -> None:
    mbpoll = need("mbpoll")
    async with served(Clock()) as server:
        arguments = ["-m", "tcp", "-p", str(server.ports[0]), "-a", "12", "-t", "4:float", "-B", "-r", "1"]
        program = await asyncio.create_subprocess_exec(
            mbpoll,
            *arguments,
            "-1",
            "-q",
            "-o",
            "10",
            "127.0.0.1",
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
        )
        out, err = await asyncio.wait_for(program.communicate(), 60)
        assert program.returncode == 0, err.decode()
        found = re.search(r"\[1\]:\s+([0-9.]+)", out.decode())
        assert found, out.decode()
        expected = server.farm.wire("palm_loop")
        assert expected is not None
        assert float(found[1]) == pytest.approx(expected["current"], abs=1e-3)


async def test_it_runs_by_itself_and_is_read_by_another_library() -> None:
    root = str(Path(__file__).parents[2])
    program = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "simulator", "--port-base", "0", "--speed", "6", "--seed", "3",
        cwd=root, stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    try:
        assert program.stdout is not None
        async with asyncio.timeout(60):
            line = (await program.stdout.readline()).decode()
        assert line.startswith("gateway row on 127.0.0.1:")
        assert "11 north_gauge" in line
        port = int(line.split(":")[1].split(",")[0])

        def read() -> list[int] | None:
            foreign = ModbusClient("127.0.0.1", port, unit_id=11, timeout=20)
            try:
                return foreign.read_input_registers(2, 1)
            finally:
                foreign.close()

        level = await asyncio.to_thread(read)
        assert level is not None
        assert 11_700 < level[0] < 11_950
    finally:
        program.terminate()
        await program.wait()
