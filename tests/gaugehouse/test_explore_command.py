"""`gaugehouse read --explore` on the simulated farm by TCP and on a serial line, and on a server that others wrote."""

import json
import socket
import struct
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.cli import main
from simulator.farm import Farm
from simulator.server import serve
from tests.gaugehouse.farms import running
from tests.gaugehouse.test_local import command

ROOT = Path(__file__).parents[2]


def bus_file(folder: Path, port: int, more: str = 'timeout = "5 s"') -> str:
    """A file with nothing but a bus. What answers is waited for as long as a busy machine may take."""
    path = folder / "bus.toml"
    path.write_text(f'[[bus]]\nid = "g"\nkind = "tcp"\nhost = "127.0.0.1"\nport = {port}\n{more}\n', encoding="utf-8")
    return str(path)


@asynccontextmanager
async def farm_serving() -> AsyncIterator[Any]:
    farm = Farm(1, 1_800_000_000_000)
    async with await serve(farm, lambda: 1_800_000_000_000) as server:
        yield farm, server


def true_level_m(farm: Any, tank: str) -> float:
    return float(farm.truth()[tank].level_m)


async def test_a_gauge_of_the_farm_is_found_by_its_level(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    async with farm_serving() as (farm, server):
        path = bus_file(tmp_path, server.ports[0])
        level = true_level_m(farm, "north")
        call = ("read", path, "--explore", "g", "--units", "10-13", "--addresses", "0-20", "--level", f"{level:.3f} m")
        assert await command(*call, "--reference-height", "14 m", "--pause", "0") == 0
        said = capsys.readouterr()
        assert "units that answer: 11, 12, 13" in said.err
        assert "unit 11, function 4: addresses 0 to" in said.out
        assert "[[instrument.signal]]" in said.out
        assert await command(*call, "--json", "--pause", "0", "--reference-height", "14 m") == 0
    told = json.loads(capsys.readouterr().out)
    assert {unit["unit"] for unit in told["units"]} == {11, 12, 13}
    mine = [one for one in told["decodings"] if one["unit"] == 11 and one["function"] == 4]
    best = mine[0]
    assert (best["address"], best["value_unit"], best["quantity"], best["scale"]) == (2, "mm", "level", 1.0)
    assert "uint16" in (best["type"], *best["also"])
    assert abs(best["error_m"]) < 0.01


async def test_nobody_at_home_is_exit_1_and_a_closed_port_exit_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with farm_serving() as (_, server):
        path = bus_file(tmp_path, server.ports[0])
        assert await command("read", path, "--explore", "g", "--units", "200-203", "--pause", "0") == 1
        assert "no unit answers. Look at the address" in capsys.readouterr().out
    assert await command("read", path, "--explore", "g", "--units", "1") == 3
    assert "bus g:" in capsys.readouterr().err


async def test_a_serial_line_of_the_farm_is_explored(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    async with farm_serving() as (_, server):
        path = tmp_path / "bus.toml"
        device = server.open_serial("ramp")
        path.write_text(f'[[bus]]\nid = "s"\nkind = "rtu"\ndevice = "{device}"\ntimeout = "3 s"\n', encoding="utf-8")
        call = ("read", str(path), "--explore", "s", "--units", "1-3,7", "--addresses", "0-11", "--pause", "1")
        assert await command(*call, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [unit["unit"] for unit in told["units"]] == [1, 2, 7]
    assert all(any(one["stretches"] for one in told["registers"] if one["unit"] == u) for u in (1, 2, 7))


async def test_beside_a_running_daemon_it_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        bus = run.site.buses[0].id
        before = {name: health.connects for name, health in run.daemon.collector.health().items()}
        assert await command("read", str(run.site.path), "--explore", bus, "--units", "1-3") == 3
        assert "a second master would take its answers; stop it" in capsys.readouterr().err
        assert {name: h.connects for name, h in run.daemon.collector.health().items()} == before


@contextmanager
def foreign_server(registers: list[int]) -> Iterator[int]:
    """pyModbusTCP in a process of its own; it answers every unit, and what it lacks with exception 02."""
    argv = [sys.executable, "-m", "tests.service_wire.pymodbustcp_server", json.dumps(registers), "[0]"]
    with subprocess.Popen(argv, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            port, until_s = int(process.stdout.readline()), time.monotonic() + 60
            while not _listens(port):
                assert time.monotonic() < until_s, "the server does not listen"
                time.sleep(0.02)
            yield port
        finally:
            process.kill()


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def test_a_server_that_others_wrote_gives_its_level_away(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A float with its low word first at address 7, among counters; the registers are laid by `struct` alone."""
    level = struct.unpack(">2H", struct.pack(">f", 7312.5))[::-1]  # in mm
    registers = [1, 0, 2026, 11, 26, 0, 300, *level, 0, 48, 9600, 15, 4, 0, 0]
    with foreign_server(registers) as port:
        path = bus_file(tmp_path, port)
        call = ["read", path, "--explore", "g", "--units", "1", "--level", "7.31 m", "--pause", "0", "--json"]
        assert main([*call, "--address", "8"]) == 0
    told = json.loads(capsys.readouterr().out)
    by_function = {one["function"]: one for one in told["registers"]}
    assert by_function[3]["stretches"] == [{"start": 0, "registers": registers}]
    best = told["decodings"][0]
    assert (best["address"], best["type"], best["word_order"], best["value_unit"]) == (7, "float32", "low first", "mm")
    assert best["level_m"] == pytest.approx(7.3125)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--explore", "x"], "there is no [[bus]] 'x'; there are g"),
        (["--explore", "g", "--units", "0-300"], "allowed is 0 to 255"),
        (["--explore", "g", "--units", "3-1"], "the lower one first"),
        (["--explore", "g", "--units", "one"], "such as 1-32,40"),
        (["--explore", "g", "--functions", "6"], "allowed is 1 to 4"),
        (["--explore", "g", "--addresses", "0-70000"], "allowed is 0 to 65535"),
        (["--explore", "g", "--level", "9.2"], "--level:"),
        (["--explore", "g", "--within", "3 cm"], "give --level too"),
        (["--explore", "g", "--level", "9 m", "--within", "0 m"], "above zero"),
        (["--explore", "g", "--level", "9 m", "--range", "1 m", "1 m"], "differ"),
        (["palm", "--explore", "g"], "leave TANK out"),
        (["--units", "1-3"], "--units goes with --explore BUS only"),
    ],
)
def test_a_wrong_call_says_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], words: str
) -> None:
    assert main(["read", bus_file(tmp_path, 1), *options]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[bus]\n", "no valid TOML"),
        ('[[bus]]\nid = "g"\nkind = "tcp"\n', 'a tcp bus needs it, such as "192.0.2.10"'),
        ('[[bus]]\nid = "g"\nkind = "rtu"\n', 'a rtu bus needs it, such as "/dev/ttyUSB0"'),
        ('[[bus]]\nid = "g"\nkind = "smoke"\n', "smoke"),
    ],
)
def test_a_bus_that_is_written_wrongly_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: str
) -> None:
    path = tmp_path / "bus.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["read", str(path), "--explore", "g"]) == 2
    assert words in capsys.readouterr().err
