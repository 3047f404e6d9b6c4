"""The figures as registers: read by mbpoll (libmodbus) and pyModbusTCP from a running daemon, while others pipeline."""

import asyncio
import contextlib
import math
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import httpx
import pytest
from pyModbusTCP.client import ModbusClient

from gaugehouse.registermap import HIDDEN, LAMP, SITE_BITS, TANK_FIELDS, TANK_FIRST, TANK_SIZE
from gaugehouse.registerserver import MOST_CALLERS, RegisterServer
from tests import services
from tests.gaugehouse.farms import Running, running

PIPELINED = 8
HEARTBEAT = next(field.at for field in TANK_FIELDS if field.name == "heartbeat")


@contextlib.asynccontextmanager
async def served(folder: Path, allow: str = "127.0.0.1") -> AsyncIterator[tuple[Running, RegisterServer]]:
    """The daemon on the simulated farm with its register server, every tank heard."""
    more = f'\n[register_server]\nport = 0\nallow = ["{allow}"]\n'
    async with running(folder, more=more) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        assert run.daemon.register_server is not None
        yield run, run.daemon.register_server


def frame(transaction: int, function: int, start: int, count: int, unit: int = 1) -> bytes:
    return struct.pack(">HHHBBHH", transaction, 0, 6, unit, function, start, count)


async def reply(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    """Transaction and PDU of one reply."""
    transaction, _, length, _ = struct.unpack(">HHHB", await reader.readexactly(7))
    return transaction, await reader.readexactly(length - 1)


def figures(words: list[int]) -> dict[str, float]:
    """The float32 figures of a tank's block."""
    return {
        field.name: struct.unpack(">f", struct.pack(">HH", *words[field.at : field.at + 2]))[0]
        for field in TANK_FIELDS
        if field.form == "float32"
    }


async def pipeline(port: int, tanks: int, stop: asyncio.Event) -> int:
    """Ask eight blocks in one segment, over and over; each answer must carry its own transaction and its own block."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    rounds = 0
    try:
        while not stop.is_set():
            asked = [(rounds * PIPELINED + k) & 0xFFFF for k in range(PIPELINED)]
            places = [(k % tanks) for k in range(PIPELINED)]
            writer.write(
                b"".join(
                    frame(transaction, 3 + k % 2, TANK_FIRST + place * TANK_SIZE, 10 + k)
                    for k, (transaction, place) in enumerate(zip(asked, places, strict=True))
                )
            )
            for k, transaction in enumerate(asked):
                got, pdu = await reply(reader)
                assert got == transaction
                assert pdu[0] == 3 + k % 2
                assert pdu[1] == 2 * (10 + k)
            rounds += 1
            await asyncio.sleep(0)
    finally:
        writer.close()
    return rounds


async def mbpoll(port: int, first: int, count: int) -> list[int]:
    program = services.need("mbpoll")
    process = await asyncio.create_subprocess_exec(
        program, "-m", "tcp", "-p", str(port), "-a", "1", "-0", "-r", str(first), "-c", str(count), "-t", "4:hex",
        "-1", "-q", "-o", "10", "127.0.0.1", stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    async with asyncio.timeout(60):
        out, _ = await process.communicate()
    assert process.returncode == 0, out
    return [int(line.split()[1], 16) for line in out.decode().splitlines() if line.startswith("[")]


def by_pymodbustcp(port: int, first: int, count: int) -> list[int]:
    client = ModbusClient("127.0.0.1", port, unit_id=1, timeout=20, auto_open=True)
    try:
        got = client.read_input_registers(first, count)
        assert got is not None, client.last_error_as_txt
        return [int(word) for word in got]
    finally:
        client.close()


async def agrees(client: httpx.AsyncClient, tank: str, ask: Callable[[], Awaitable[list[int]]]) -> bool:
    """A block is what the API says of the same second: figures to the last bit of a float32, quality and alarms."""
    for _ in range(40):
        live = (await client.get("api/live")).json()
        words = await ask()
        if words[HEARTBEAT] == live["seq"] & 0xFFFF:
            break
    else:
        pytest.fail("API and registers were never of the same second")
    state = next(one for one in live["tanks"] if one["tank"] == tank)
    assert words[0] & 3 == {"Bad": 0, "Uncertain": 1, "Good": 2}[state["quality"]]
    assert words[3] >> LAMP & 1 == any(a["state"] not in HIDDEN for a in live["alarms"] if a["id"] in state["alarms"])
    for name, value in figures(words).items():
        known = state[name] if state["quality"] != "Bad" or name == "current_mA" else None
        assert value == pytest.approx(math.nan if known is None else known, rel=2**-23, nan_ok=True), name
    return bool(state["quality"] == "Good")


@pytest.mark.service
@pytest.mark.timeout(90)
async def test_mbpoll_and_another_client_agree_with_the_api_while_eight_requests_are_pipelined(tmp_path: Path) -> None:
    async with served(tmp_path) as (run, server), httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client:
        tanks = list(server.spec.tanks)
        stop = asyncio.Event()
        flood = asyncio.create_task(pipeline(server.port, len(tanks), stop))

        good = 0
        for tank in tanks:
            first = server.source.map.first_of(tank)
            good += await agrees(client, tank, lambda first=first: mbpoll(server.port, first, TANK_SIZE))
            good += await agrees(
                client, tank, lambda first=first: asyncio.to_thread(by_pymodbustcp, server.port, first, TANK_SIZE)
            )
        assert good >= 4, "hardly a figure was compared"
        stop.set()
        assert await flood > 10
        assert server.counts.faults == server.counts.refused == 0


async def bad_block(run: Running, server: RegisterServer) -> list[int]:
    """The block of a tank whose quality the same live object gives as Bad: until it is read, it may be well again."""
    facts = run.daemon.facts
    assert facts is not None
    live = facts.live()
    async with asyncio.timeout(60):
        while True:
            for tank in (one["tank"] for one in live["tanks"] if one["quality"] == "Bad"):
                words = await mbpoll(server.port, server.source.map.first_of(tank), TANK_SIZE)
                if words[HEARTBEAT] == live["seq"] & 0xFFFF:
                    return words
            live = await facts.newer_live(live["seq"])


@pytest.mark.service
@pytest.mark.timeout(150)
async def test_a_silent_instrument_is_unmistakable_and_an_alarm_bit_follows(tmp_path: Path) -> None:
    async with served(tmp_path) as (run, server):
        await run.until(lambda live: any(tank["quality"] == "Bad" for tank in live["tanks"]), 60)
        await run.until(lambda live: any("unacknowledged" in alarm["state"] for alarm in live["alarms"]), 60)
        words = await bad_block(run, server)
        assert words[0] & 3 == 0
        assert str(figures(words)["tov_m3"]) == str(figures(words)["level_m"]) == "nan"
        site = await mbpoll(server.port, 0, 20)
        assert site[7] & 1, SITE_BITS[0]
        assert site[7] >> 9 & 1, "the demo is simulated"
        seq = run.daemon.facts.live()["seq"]  # type: ignore[union-attr]
        await run.until(lambda live: live["seq"] > seq)
        assert (await mbpoll(server.port, 0, 20))[2] != site[2], "the heartbeat stands still"


@pytest.mark.timeout(60)
async def test_writing_other_addresses_and_other_units_are_refused(tmp_path: Path) -> None:
    async with served(tmp_path) as (_, server):
        reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
        end = server.source.map.end
        asked = [
            (struct.pack(">HHHBBHH", 1, 0, 6, 1, 6, TANK_FIRST, 7), b"\x86\x01"),
            (struct.pack(">HHHBBHHBH", 2, 0, 9, 1, 16, TANK_FIRST, 1, 2, 7), b"\x90\x01"),
            (struct.pack(">HHHBBHH", 3, 0, 6, 1, 5, 0, 0xFF00), b"\x85\x01"),
            (frame(4, 3, end - 1, 2), b"\x83\x02"),
            (frame(5, 3, 19, 2), b"\x83\x02"),
            (frame(6, 4, 60_000, 1), b"\x84\x02"),
            (frame(7, 3, 0, 126), b"\x83\x03"),
            (frame(8, 3, 0, 1, unit=9), b"\x83\x0b"),
            (frame(9, 3, 0, 1, unit=255), b"\x03\x02\x00\x01"),
        ]
        writer.write(b"".join(request for request, _ in asked))
        for number, (_, wanted) in enumerate(asked, start=1):
            assert await reply(reader) == (number, wanted)
        writer.write(b"GET / HTTP/1.1\r\n\r\n")
        async with asyncio.timeout(30):
            assert await reader.read(100) == b""
        writer.close()


@pytest.mark.timeout(60)
async def test_who_is_not_named_or_finds_all_places_taken_is_hung_up_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    async with served(tmp_path, "10.1.2.0/24") as (_, server):
        for tries in (1, 2, 3):
            reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
            writer.write(frame(1, 3, 0, 1))
            with contextlib.suppress(ConnectionError):
                assert await reader.read(100) == b""
            writer.close()
            assert server.counts.refused == tries
        assert caplog.text.count("127.0.0.1 may not ask") == 1
    async with served(tmp_path / "other") as (_, server):
        callers = [await asyncio.open_connection("127.0.0.1", server.port) for _ in range(MOST_CALLERS)]
        for reader, writer in callers:
            writer.write(frame(1, 3, 0, 1))
            assert (await reply(reader))[0] == 1
        reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
        with contextlib.suppress(ConnectionError):
            assert await reader.read(100) == b""
        callers[0][1].close()
        writer.close()
        async with asyncio.timeout(30):
            while server.counts.connected == MOST_CALLERS:
                await asyncio.sleep(0.01)
        reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
        writer.write(frame(2, 3, 0, 1))
        assert (await reply(reader))[0] == 2
        for _, one in (*callers, (reader, writer)):
            one.close()
