"""Commands beside a running daemon: they go through it, and directly only when none runs."""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.cli import main
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.local import RUNNING, ask_daemon
from gaugehouse.recording import open_recording
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book
from tests.gaugehouse.farms import PATIENCE_S, running


async def ask(site: Site, question: dict[str, Any]) -> Any:
    return await asyncio.to_thread(ask_daemon, site, question)


async def command(*argv: str) -> int:
    return await asyncio.to_thread(main, list(argv))


def unacknowledged(live: dict[str, Any]) -> list[dict[str, Any]]:
    return [alarm for alarm in live["alarms"] if alarm["state"] == "unacknowledged"]


async def test_read_asks_the_instruments_anew_through_the_daemon_s_own_lines(tmp_path: Path) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        before = {bus: h.connects for bus, h in run.daemon.collector.health().items()}
        question = {"do": "read", "tanks": ["palm", "ridge"], "settings": run.site.fingerprint()}
        async with asyncio.timeout(PATIENCE_S):
            chains = await ask(run.site, question)
            while any(chain["steps"][0]["symbol"] != "raw" for chain in chains):
                chains = await ask(run.site, question)  # a busy machine let an answer come too late
        after = {bus: h.connects for bus, h in run.daemon.collector.health().items()}
        assert [chain["tank"] for chain in chains] == ["palm", "ridge"]
        assert chains[0]["steps"][0]["symbol"] == "raw"
        assert (chains[0]["steps"][1]["symbol"], chains[0]["steps"][1]["unit"]) == ("x", "mA")
        assert before == after, "a second connection was made: a second master on the line"
        with pytest.raises(CouldNot, match="another version"):
            await ask(run.site, question | {"settings": "0" * 64})
        with pytest.raises(CallError, match="there are north"):
            await ask(run.site, question | {"tanks": ["elm"]})
        with pytest.raises(CallError, match="there are acknowledge"):
            await ask(run.site, {"do": "act", "act": "dance", "fields": {}})
        with pytest.raises(CallError, match="alarm is missing"):
            await ask(run.site, {"do": "act", "act": "acknowledge", "fields": {"by": "Ana"}})
        with pytest.raises(CallError, match="this daemon knows"):
            await ask(run.site, {"do": "dance"})
        door = Path(json.loads((run.site.store_path / RUNNING).read_text())["door"])
        assert door.stat().st_mode & 0o077 == 0, "others could open the door"
    assert await ask(run.site, question) is None
    assert not (run.site.store_path / RUNNING).exists()


async def test_an_alarm_is_acknowledged_by_command_beside_the_daemon_and_without_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with running(tmp_path, speed=60) as run:
        await run.until(lambda live: len(unacknowledged(live)) >= 2)
        assert run.daemon.facts is not None
        first, second = (alarm["id"] for alarm in unacknowledged(run.daemon.facts.live())[:2])
        path = str(run.site.path)
        assert await command("acknowledge", path, first, "--by", "Ana", "--comment", "seen") == 0
        assert "acknowledged by Ana" in capsys.readouterr().out
        assert await command("acknowledge", path, first, "--by", "Ben") == 0
        assert "acknowledged before by Ana" in capsys.readouterr().out
        assert await command("acknowledge", path, "palm.hihg", "--by", "Ben") == 2
        assert await command("acknowledge", path, first, "--by", " ") == 2
        capsys.readouterr()
    assert await command("acknowledge", path, second, "--by", "Cleo", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["alarm"], said["status"], said["by"]) == (second, "accepted", "Cleo")
    assert await command("acknowledge", path, second, "--by", "Dee", "--occurrence", "0") == 2
    site = load_site(run.site.path)
    with look_into_book(site) as book:
        assert book.verify().unbroken
        by = [(f"{e.body['source']}.{e.body['condition']}", e.body["by"]) for e in book.entries(["alarm"])
              if e.body["event"] == "acknowledged"]  # fmt: skip
    assert by == [(first, "Ana"), (second, "Cleo")]


def test_the_word_of_a_daemon_that_died_counts_for_nothing(tmp_path: Path) -> None:
    from tests.gaugehouse.sites import loop_site

    site = loop_site(tmp_path)
    site.store_path.mkdir()
    word = {"pid": 1, "url": "http://127.0.0.1:1/", "door": str(site.store_path / "daemon.sock")}
    (site.store_path / RUNNING).write_text(json.dumps(word))
    assert ask_daemon(site, {"do": "read", "tanks": []}) is None
    (site.store_path / RUNNING).write_text("{")
    assert ask_daemon(site, {"do": "read", "tanks": []}) is None


async def test_a_demo_in_the_folder_of_a_running_one_is_refused_and_harms_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with running(tmp_path) as run:
        (tmp_path / "simulated-farm.txt").write_text("a demo")
        files = kept(run.site)
        assert await command("demo", "--dir", str(tmp_path), "--port", "0") == 3
        assert "another demo runs there" in capsys.readouterr().err
        assert kept(run.site) == files


def kept(site: Site) -> list[str]:
    """The files of a store, without those that SQLite makes and lets go beside its own while it works."""
    return sorted(p.name for p in site.store_path.iterdir() if not p.name.endswith(("-wal", "-shm", "-journal")))


async def test_a_recording_is_gone_on_with_and_something_else_is_left_alone(tmp_path: Path) -> None:
    record = tmp_path / "samples.csv"
    for _ in range(2):
        async with running(tmp_path / "farm", speed=30, record=record) as run:
            await run.until(lambda live: live["seq"] >= 2)
    lines = record.read_text().splitlines()
    assert lines[0].startswith("time,instrument,outcome,")
    assert sum(line.startswith("time,") for line in lines) == 1
    accounts = tmp_path / "accounts.csv"
    accounts.write_text("mine\n")
    with pytest.raises(CallError, match="it stays, name a new file"):
        open_recording(accounts, run.site.signal_names)
    assert accounts.read_text() == "mine\n"
