"""`gaugehouse loop check` beside a running daemon and without one, and its record on paper."""

import asyncio
import io
import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from gaugehouse.checkpaper import paper_of
from gaugehouse.cli import main
from gaugehouse.paper import pdf_of
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from tests.gaugehouse.farms import Running, running
from tests.gaugehouse.test_local import command
from tests.gaugehouse.test_loopchecks import BESIDE, Bench

POINTS = (4, 8, 12, 16, 20, 20, 16, 12, 8, 4)


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf), strict=True).pages).split())


async def test_a_check_from_start_to_paper(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        site, loop = str(run.site.path), run.site.tanks[0].instrument
        tank = run.site.tanks[0].id
        here = ("loop", "check")
        run.farm.inject(loop, "open_loop")  # else it depends on how long it was watched what is known of its movement
        await run.until(lambda live: next(t for t in live["tanks"] if t["tank"] == tank)["quality"] == "Bad")
        assert await command(*here, "start", site, loop, "--by", "Ada") == 3
        assert "say how you know that nothing flows" in capsys.readouterr().err
        assert await command(*here, "start", site, loop, "--by", "Ada", "--at-rest", "x", "--for", "2 days") == 3
        assert "min at most" in capsys.readouterr().err
        assert await command(*here, "start", site, "nobody", "--by", "Ada") == 2
        start = (*here, "start", site, loop, "--by", "Ada", "--at-rest", "valves locked", "--for", "20 min")
        assert await command(*start, "--permit", "PTW-7") == 0
        said = capsys.readouterr().out
        assert f"{tank}.high" in said
        assert "next: as found, 4 mA up" in said
        assert await command(*start) == 0
        assert "is under way since" in capsys.readouterr().out
        run.farm.clear(loop)
        await run.until(lambda live: next(t for t in live["tanks"] if t["tank"] == tank)["reason"] == "BadOutOfService")
        live = run.daemon.facts.live() if run.daemon.facts is not None else {}
        entry = next(one for one in live["loops"] if one["instrument"] == loop)
        assert (entry["check"]["by"], entry["check"]["number"]) == ("Ada", 1)
        assert next(t for t in live["tanks"] if t["tank"] == tank)["torn"] == {"status": "C", "word": "function check"}
        assert f"{tank}.high" in entry["check"]["blinds"]
        assert {a["state"] for a in live["alarms"] if a["id"] in entry["check"]["blinds"]} == {"out_of_service"}
        assert await command(*here, "step", site, loop, "--by", "Bo", "--shown", "4 volts") == 2
        assert await command(*here, "step", site, loop, "--by", "Bo", "--wait", "0.5 s") == 3
        assert "waiting: " in capsys.readouterr().err
        for point in POINTS:
            step = (*here, "step", site, loop, "--by", "Bo", "--shown", f"{point + 0.01} mA")
            assert await command(*step) == 0
        said = capsys.readouterr().out
        assert "as found, 20 mA down: applied 20.000 mA, shown 20.0100 mA, error +0.06" in said
        assert "take the simulated current away and `finish`" in said
        finish = (*here, "finish", site, loop, "--by", "Ada", "--remarks", "calm, 3 m³/h elsewhere")
        assert await command(*finish, "--reference-due", "tomorrow") == 2
        capsys.readouterr()
        assert await command(*finish, "--reference-due", "2031-01-31", "--json") == 0
        assert json.loads(capsys.readouterr().out)["record"]["passes"] is True
        await run.until(lambda live: next(t for t in live["tanks"] if t["tank"] == tank)["quality"] != "Bad")
        assert await command(*here, "records", site) == 0
        assert "within the limit" in capsys.readouterr().out
        assert await command(*here, "print", site, "9") == 2
        out = tmp_path / "record.pdf"
        assert await command(*here, "print", site, "1", "--out", str(out)) == 0
        again = tmp_path / "again.pdf"
        assert await command(*here, "print", site, "1", "--out", str(again)) == 0
        assert await command(*here, "print", site, "1", "--out", str(tmp_path / "no" / "x.pdf")) == 3
    assert out.read_bytes() == again.read_bytes()
    text = text_of(out.read_bytes())
    for part in ("Loop check record", "no calibration certificate", "LC-1", "PTW-7", "calm, 3 m³/h elsewhere", "Ada"):
        assert part in text
    assert text.count("SIMULATED DATA") == len(PdfReader(out).pages)
    head = text.split("Record book: ")[1].split()[0]
    capsys.readouterr()
    assert main(["verify", site, "--against", head]) == 0
    assert main(["loop", "check", "start", site, loop, "--by", "Ada", "--at-rest", "locked"]) == 3
    assert "start the daemon" in capsys.readouterr().err


async def test_a_check_that_the_daemon_left_behind_can_be_aborted_without_it(tmp_path: Path) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        loop = run.site.tank("ridge").instrument  # nothing flows there in the first hours
        site = str(run.site.path)
        assert await command("loop", "check", "start", site, loop, "--by", "Ada", "--at-rest", "locked") == 0
    assert await command("loop", "check", "abort", site, loop, "--by", "Bo", "--why", "storm") == 0
    with look_into_book(load_site(run.site.path)) as book:
        assert book.verify().unbroken
        last = [entry for entry in book.entries(["loop_check"])][-1].body
        assert (last["change"], last["ended_by"], last["filled"]) == ("aborted", "Bo", {"remarks": "storm"})
        assert not [key for key in book.state() if key.startswith("loopcheck/") and key != "loopcheck/.number"]


async def test_the_steps_of_a_real_loop_are_taken_live_over_a_restart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The farm's loop carries the tester's current with its own noise; the daemon stops and starts between steps."""
    here, by = ("loop", "check"), ("--by", "Ada")
    loop, tank = "finch_loop", "finch"

    async def steps(run: Running, points: tuple[int, ...]) -> None:
        for point in points:
            run.farm.inject(loop, "gap_low", value=point)  # whatever its name: the value is what flows in the loop
            assert await command(*here, "step", str(run.site.path), loop, *by, "--wait", "30 s") == 0

    async with running(tmp_path, speed=20) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        async with asyncio.timeout(60):  # waves on a short window look like a movement for a while
            while await command(*here, "start", str(run.site.path), loop, *by, "--at-rest", "valves locked") == 3:
                await asyncio.sleep(0.5)
        await steps(run, POINTS[:5])
    async with running(tmp_path, speed=20) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        live = run.daemon.facts.live() if run.daemon.facts is not None else {}
        assert next(t for t in live["tanks"] if t["tank"] == tank)["reason"] == "BadOutOfService"
        await steps(run, POINTS[5:])
        run.farm.clear(loop)
        assert await command(*here, "finish", str(run.site.path), loop, *by) == 0
        await run.until(lambda live: next(t for t in live["tanks"] if t["tank"] == tank)["quality"] == "Good")
        capsys.readouterr()
        assert await command(*here, "print", str(run.site.path), "1", "--json") == 0
    found = json.loads(capsys.readouterr().out)["runs"]["as_found"]
    assert [step["point_mA"] for step in found["steps"]] == list(POINTS)
    assert {step["how"] for step in found["steps"]} == {"live"}
    assert all(0 < step["spread_mA"] < 0.016 for step in found["steps"])  # steady: 0.1 % of 16 mA
    assert found["passes"] is True


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path, BESIDE)
    for _ in range(30):
        made.poll(12.0, level=6000.0)
    made.do("start", by="Ángel Łoś")
    return made


def record_of(bench: Bench) -> dict[str, object]:
    body = dict(next(d.body for d in reversed(bench.book) if d.kind == "loop_check"))
    del body["change"]
    return body | {"head": "12:" + "ab" * 32, "simulated": False}


def test_the_paper_tells_each_step_the_figures_and_the_verdicts(bench: Bench) -> None:
    for off in (0.05, 0.0):
        for point in POINTS:
            bench.do("step", shown_mA=point + off)
    said = bench.do(
        "finish", adjusted="zero trimmed", reference="calibrator 12", reference_due="2020-01-31", witness="Bo Å"
    )
    assert said.status == "done", said.text
    text = text_of(pdf_of(paper_of(record_of(bench), "Etc/UTC")))
    for part in (
        "Tester Ángel Łoś",
        "Witness Bo Å",
        "4 mA = 0.000 m, 20 mA = 12.000 m innage",
        "gateway (127.0.0.1:1502), unit 1",
        "palm 6.000 m",
        "As found",
        "4 up 4.000 4.0500 +0.312 – typed",  # 0.05 mA of 16 mA are 0.3125 %
        "20 down 20.000 20.0000 0.000 – typed",
        "As found: OUTSIDE THE LIMIT. As left: within the limit. Limit ±0.25 % of span.",
        "2020-01-31: OVERDUE on the day of the check",
        "palm.high_high",
        "zero trimmed",
        "Record book: 12:abababababababababababab",
    ):
        assert part in text, part


def test_the_paper_of_a_check_whose_time_ran_out_claims_no_verdict(bench: Bench) -> None:
    bench.do("step", shown_mA=4.5)
    bench.polls(4.0, 3601)
    text = text_of(pdf_of(paper_of(record_of(bench), "Etc/UTC")))
    assert "TIME OVER: returned by itself, not a whole check" in text
    assert "The check was not finished" in text
    assert "As found: within" not in text
    assert "Ended by itself" in text


def test_the_paper_of_a_check_without_a_step_is_printed_too(bench: Bench) -> None:
    bench.do("abort")
    assert "no step was taken" in text_of(pdf_of(paper_of(record_of(bench), "Etc/UTC", size="Letter")))
