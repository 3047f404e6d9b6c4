"""`gaugehouse receipt` beside a running daemon on the simulated farm: over real Modbus and the door, to the PDF."""

import asyncio
import json
import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from gaugehouse.cli import main
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from simulator.layout import Act, Planned
from tests.gaugehouse.farms import running

PAPERS = (
    "--quantity", "6000 L", "--temperature", "27 degC", "--density", "800 kg/m3", "--rate", "1000 L/min",
    "--note", "DN-9",
)  # fmt: skip


async def command(*args: str) -> int:
    return await asyncio.to_thread(main, list(args))


@pytest.mark.timeout(180)
async def test_a_delivery_by_command_from_call_to_signature(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def printed() -> str:
        return re.sub(r"[\u202f\u00a0]", " ", capsys.readouterr().out)

    async with running(tmp_path, speed=60) as run:
        site = str(run.site.path)
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: {t["tank"]: t for t in live["tanks"]}["ridge"]["flow"] == "still")
        assert await command("receipt", "check", site, "ridge", "--quantity", "900 m3") == 1
        assert "IT DOES NOT FIT below the maximum working level" in printed()
        assert await command("receipt", "check", site, "ridge", *PAPERS, "--by", "Ana", "--json") == 0
        number = str(json.loads(capsys.readouterr().out)["number"])
        assert await command("receipt", "check", site, "ridge", *PAPERS) == 0
        said = printed()
        assert "It fits below the maximum working level" in said
        assert "not done: tank dipped by hand" in said
        assert "not an overfill prevention system" in said
        assert await command("receipt", "done", site, number, "tank dipped", "--found", "9404 mm", "--by", "Ana") == 0
        assert await command("receipt", "sample", site, number, "--temperature", "28 degC", "--by", "Ana") == 0
        assert await command("receipt", "line", site, number, "1 m3", "--by", "Ana") == 3
        assert "start it first" in capsys.readouterr().err
        assert await command("receipt", "start", site, number, "--by", "Ana") == 0
        run.farm.start(Planned(0, Act.RECEIVE, "ridge", 60, volume_m3=6))
        await phase(run, int(number), "receiving", "settling", "calm")
        assert await command("receipt", "line", site, number, "1000 L", "--by", "Ana") == 0
        assert await command("receipt", "progress", site, number) == 0
        said = printed()
        assert "Received, observed" in said
        assert "line " in said
        assert await command("receipt", "reconcile", site, number, "--by", "Ana") == 2
        await phase(run, int(number), "calm")
        assert await command("receipt", "reconcile", site, number) == 0
        said = printed()  # a busy machine misses polls: then the tank may have seen another quantity
        assert "The tank cannot resolve a dispute" in said or "The difference is real" in said
        decide = ("receipt", "reconcile", site, number, "--decision", "protest", "--by", "Ana")
        assert await command(*decide) == 3
        assert await command(*decide, "--comment", "short") == 0
        assert "accepted with protest, by Ana" in printed()
        assert await command("receipt", "document", site, number, "--by", "Bo", "--sure") == 0
        assert "document 1" in printed()
        async with run.client() as client:
            row = (await client.get(f"/api/receipts/{number}")).json()
            assert (row["stage"], row["document"]) == ("accepted with protest", 1)
            assert "accepted with protest" in (await client.get("/receipts")).text
            assert (await client.get(f"/receipts/{number}")).status_code == 200
    paper = tmp_path / "record.pdf"
    assert await command("receipt", "certificate", site, number, "--out", str(paper)) == 0  # no daemon any more
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(paper).pages).split())
    for words in ("SIMULATED", "Receipt record", "DN-9", "9404 mm", "short"):
        assert words in text, words
    capsys.readouterr()
    assert await command("receipt", "list", site) == 0
    assert "accepted with protest" in printed()
    assert await command("receipt", "certificate", site, "77") == 2
    with look_into_book(load_site(run.site.path)) as book:
        assert book.verify().unbroken


async def phase(run: object, number: int, *wanted: str) -> None:
    """Wait until a receipt is so far."""
    facts = run.daemon.facts  # type: ignore[attr-defined]
    async with asyncio.timeout(90):
        live = facts.live()
        while True:
            row = await facts.receipt(number)
            if row is not None and row["phase"] in wanted:
                return
            live = await facts.newer_live(live["seq"])


async def test_a_quantity_without_a_unit_is_told_with_its_mend(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from simulator.demo import write_demo

    site = str(write_demo(tmp_path, [1, 2], "1 s"))
    assert await command("receipt", "check", site, "ridge", "--quantity", "36") == 2
    assert '--quantity: "36" has no unit' in capsys.readouterr().err
    assert await command("receipt", "check", site, "ridge") == 2
    assert "quantity is missing" in capsys.readouterr().err
    assert await command("receipt", "check", site, "ridge", "--quantity", "36 m3") == 0  # no daemon: nobody judges
    assert "the level is not known now" in capsys.readouterr().out
    assert await command("receipt", "progress", site, "3") == 2
    assert await command("receipt", "list", site) == 0
    assert capsys.readouterr().out == "no receipt yet\n"
