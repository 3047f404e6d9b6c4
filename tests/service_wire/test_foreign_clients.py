"""Clients that others wrote read our responder: mbpoll (libmodbus), pyModbusTCP and uModbus."""

import asyncio
import socket

import pytest
from pyModbusTCP.client import ModbusClient
from umodbus.client import tcp

from tests import services
from tests.collector.peers import sound


def by_pymodbustcp(port: int) -> list[object]:
    client = ModbusClient("127.0.0.1", port, unit_id=1, timeout=20, auto_open=True)
    got: list[object] = [
        client.read_coils(3, 10),
        client.read_discrete_inputs(3, 10),
        client.read_holding_registers(100, 125),
        client.read_input_registers(100, 2),
        client.read_holding_registers(999, 2),
        client.last_except,
        client.write_single_register(0, 1),
        client.last_except,
    ]
    client.close()
    return got


async def test_pymodbustcp_reads_and_is_refused_writing() -> None:
    async with sound() as port:
        got = await asyncio.to_thread(by_pymodbustcp, port)
    bits = [True, False] * 5
    assert got == [bits, bits, list(range(100, 225)), [100, 101], None, 2, False, 1]


def by_umodbus(port: int) -> list[object]:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
        return [
            tcp.send_message(tcp.read_coils(slave_id=1, starting_address=3, quantity=4), connection),
            tcp.send_message(tcp.read_holding_registers(slave_id=7, starting_address=500, quantity=3), connection),
            tcp.send_message(tcp.read_input_registers(slave_id=7, starting_address=0, quantity=3), connection),
        ]


async def test_umodbus_reads() -> None:
    async with sound() as port:
        got = await asyncio.to_thread(by_umodbus, port)
    assert got == [[1, 0, 1, 0], [500, 501, 502], [0, 1, 2]]


@pytest.mark.service
async def test_mbpoll_reads() -> None:
    program = services.need("mbpoll")
    async with sound() as port:
        where = ("-m", "tcp", "-p", str(port), "-1", "-q", "-o", "10", "127.0.0.1")
        process = await asyncio.create_subprocess_exec(
            program, "-a", "1", "-0", "-r", "40", "-c", "3", "-t", "4", *where, stdout=asyncio.subprocess.PIPE
        )
        async with asyncio.timeout(60):
            out, _ = await process.communicate()
    assert process.returncode == 0
    assert [line.split() for line in out.decode().splitlines() if line.startswith("[")] == [
        ["[40]:", "40"],
        ["[41]:", "41"],
        ["[42]:", "42"],
    ]
