"""What was reported as kept survives kill -9 at any moment: nothing lost, nothing twice, chain and state in step.

A killed process cannot show what power loss does; that rests on SQLite's own promise for synchronous FULL.
"""

import contextlib
import random
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from history.book import BookReader
from history.chain import Head
from history.sqlite import SqliteStore
from tests.history.committer import STEP_MS, TANKS
from tests.history.samples import NOON_MS
from tests.history.test_sqlite import ROOT


def campaign(folder: Path, kills: int, seed: int) -> tuple[int, set[str]]:
    """Kill the committer `kills` times: at its start, or at a random moment of its work.

    Gives the last tick kept and the kinds of sealed blocks that were ever seen; hours become days.

    A life is measured in ticks told and a moment more: how many ticks there are is no matter of the machine's speed.
    """
    rng = random.Random(seed)
    reported, head = 0, None
    unfinished: set[int] = set()
    seen: set[str] = set()
    for _ in range(kills):
        command = [sys.executable, "-m", "tests.history.committer", str(folder)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            try:
                works = rng.random() < 0.8
                lines = [child.stdout.readline() for _ in range(rng.randrange(1, 25))] if works else []
                timer = threading.Timer(rng.uniform(0.0, 0.03 if works else 0.3), child.kill)
                timer.start()
                lines += child.stdout.readlines()
                timer.join()
            finally:
                child.kill()  # else a test that runs out of time would wait here for ever
        assert child.returncode == -9, "the child ended by itself"
        whole = [line for line in lines if line.endswith("\n")]
        if whole:
            seq, text = whole[-1].split()
            assert int(seq) > reported
            reported, head = int(seq), Head.parse(text)
        if reported:
            check(folder, reported, head, unfinished)
            seen |= spans(folder)
    return reported, seen


def check(folder: Path, reported: int, head: Head | None, unfinished: set[int]) -> None:
    """unfinished: ticks so far that a kill caught between book and readings; records come first."""
    book = BookReader.open(folder / "book.sqlite", "FARM")
    readings = SqliteStore.open(folder / "readings.sqlite", "FARM", read_only=True)
    verdict = book.verify(head)
    assert verdict.unbroken, verdict
    entries = list(book.entries())
    last = entries[-1].seq if entries else 0
    assert [(one.seq, one.body["part"]) for one in entries] == [
        (seq, part) for seq in range(1, last + 1) for part in range(seq % 3 + 1)
    ]
    if last > reported:
        unfinished.add(last)
    assert set(range(reported + 1, last + 1)) <= unfinished
    expected = {"tick": str(last), "parts": str(last % 3 + 1)} | ({"odd": "yes"} if last % 2 else {})
    assert book.state() == (expected if entries else {})
    kept = [[one.seq for one in readings.read(tank, 0, 2 * NOON_MS)] for tank in TANKS]
    assert kept[0] == kept[1] == kept[2], "a tick is kept for all tanks or for none"
    assert kept[0] == sorted(set(kept[0]))
    assert set(range(1, last + 1)) - set(kept[0]) <= unfinished
    assert set(kept[0]) <= set(range(1, last + 1))
    hours = (last + 1) * STEP_MS // 3_600_000 + 3
    counted = readings.trend(TANKS[0], "level_m", NOON_MS, 10 * hours * 3_600_000, 10)
    levels = [one.level_m for one in readings.read(TANKS[0], 0, 2 * NOON_MS)]
    if levels:  # the roll-ups are in step with the rows
        assert counted.mean[0] == pytest.approx(sum(levels) / len(levels), rel=1e-12)
    book.close()
    readings.close()


def spans(folder: Path) -> set[str]:
    """What kinds of sealed blocks there are now."""
    with contextlib.closing(sqlite3.connect(folder / "readings.sqlite")) as connection:
        return {row[0] for row in connection.execute("SELECT span FROM block")}


def test_eighteen_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    last, seen = campaign(tmp_path, 18, seed=18)
    assert last > 18
    assert "hour" in seen, "nothing was sealed"


@pytest.mark.soak
@pytest.mark.timeout(900)
def test_two_hundred_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    last, seen = campaign(tmp_path, 200, seed=200)
    assert last > 200
    assert seen == {"hour", "day"}
