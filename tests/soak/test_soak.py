"""72 simulated hours with a fault somewhere every simulated minute: nothing grows, no wrong value is stored, and every
reading is accounted for.

The long form is for `make soak` (GAUGEHOUSE_SOAK_HOURS=72, GAUGEHOUSE_SOAK_SPEED=120) and prints its figures; what
`make test` runs is the same for two simulated hours.
"""

import os
import pickle
from collections import Counter
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, look_into_readings
from simulator.demo.layout import DEMO
from tests.soak.growth import Growth, growth
from tests.soak.mishaps import MINUTE_MS, mishaps
from tests.soak.oracle import COMMUNICATION, INSTRUMENT, Judge
from tests.soak.running import START_MS, Soaked, soak

FREE = {"tasks": 1.0, "fds": 1.0, "threads": 1.0, "objects": 2000.0, "own_mb": 8.0, "sqlite_mb": 12.0}
"""What may be added over a third of the time and is no growth: a connection just being made. SQLite keeps up to 2 MB of
a file's pages for each connection, one a file and reading thread, and fills them as the files grow.
"""
BEGINNING = {"tasks": 3.0, "fds": 10.0, "threads": 6.0, "objects": 40_000.0, "own_mb": 20.0, "sqlite_mb": 12.0}
"""In the first seconds readers, their connections and caches are still being made."""


STALL_S = 5.0
"""So long a busy machine may hold an answer up before it is a reading, in real time."""
LATE_S = 1.5
"""So long before the end a tick may have passed that no poll has counted yet, in real time."""


def growths(done: Soaked) -> dict[str, Growth]:
    return {name: growth([getattr(look, name) for look in done.looks]) for name in FREE}


def judged(done: Soaked) -> tuple[list[Judge], dict[str, Counter[str]]]:
    """Every stored reading against what was given, and how many there are of which reason, by instrument."""
    site = load_site(done.site)
    judges, stored = [], {}
    with look_into_readings(site) as store:
        for tank, instrument in INSTRUMENT.items():
            readings = list(store.read(tank, 0, 2**53))
            judge = Judge(tank, done.served, STALL_S * done.speed * 1000)
            judge.judge(readings)
            judges.append(judge)
            stored[instrument] = Counter(
                "failed" if reading.reason in COMMUNICATION else "answered" for reading in readings
            )
    return judges, stored


def accounted(done: Soaked, stored: dict[str, Counter[str]]) -> list[str]:
    """What does not add up: each tick is a poll, missed or spared, and each poll of a gauge is a stored reading."""
    wrong = []
    for instrument, counts in done.ended["instruments"].items():
        failed = counts["no_answer"] + counts["wrong_reply"] + sum(counts["exceptions"].values())
        if counts["ok"] + failed != counts["polls"]:
            wrong.append(f"{instrument}: {counts['polls']} polls are not those by outcome: {counts}")
        due = (done.ended["ended_ms"] - done.ended["began_ms"]) / done.period_ms
        told = counts["polls"] + counts["missed_ticks"] + counts["spared_ticks"]
        if abs(due - told) > 2 + LATE_S * done.speed * 1000 / done.period_ms:
            wrong.append(f"{instrument}: {due:.1f} ticks were due, {told} are polled, missed or spared: {counts}")
        kept = stored.get(instrument)
        if kept is not None and (kept["failed"], kept["answered"]) != (failed, counts["ok"]):
            wrong.append(
                f"{instrument}: stored {dict(kept)}, polled {counts['ok']} with and {failed} without an answer"
            )
    return wrong


def told(done: Soaked, judges: list[Judge], stored: dict[str, Counter[str]], grown: dict[str, Growth]) -> str:
    """The figures, to print."""
    instruments = done.ended["instruments"].values()
    total = {
        key: sum(one[key] for one in instruments)
        for key in ("polls", "ok", "no_answer", "wrong_reply", "missed_ticks", "spared_ticks")
    }
    total["exceptions"] = sum(sum(one["exceptions"].values()) for one in instruments)
    counts = sum((judge.counts for judge in judges), Counter[str]())
    lines = [
        f"{done.hours:g} simulated hours at {done.speed:g} times real time in {done.took_s / 60:.1f} min, a poll each "
        f"{done.period_ms / 1000:g} s; {done.mishaps} mishaps; the daemon took {done.ended['cpu_s']:.0f} s of CPU",
        f"ticks: {total}; stored readings: {sum(sum(one.values()) for one in stored.values())}",
        *(f"  {count:7} {what}" for what, count in sorted(counts.items(), key=lambda one: -one[1])),
        f"farthest from the truth of a healthy gauge: {1000 * max(j.farthest_m for j in judges):.1f} mm, "
        f"{100 * max(j.farthest_frac for j in judges):.2f} % of the volume",
        f"pages asked: {dict(done.asked)}; states heard: {done.heard}; connections made: {done.ended['connects']}",
        *(f"{name}: {one.before:.1f} then {one.after:.1f}, swings by {one.swing:.1f}" for name, one in grown.items()),
    ]
    return "\n".join(lines)


def judge_all(done: Soaked, free: dict[str, float]) -> None:
    """The whole of what a soak must show."""
    assert done.status == 0, done.log[-3000:]
    (done.site.parent / "soaked.pickle").write_bytes(pickle.dumps(done))  # to judge it once more
    judges, stored = judged(done)
    grown = growths(done)
    print("\n" + told(done, judges, stored, grown))
    wrong = [text for judge in judges for text in judge.wrong]
    print("\n".join(wrong[:5]))
    assert wrong[:5] == [], f"{len(wrong)} wrong values"
    assert accounted(done, stored) == []
    assert [f"{name} grew: {one}" for name, one in grown.items() if one.beyond(free[name])] == []
    assert "Traceback" not in done.log
    assert set(done.asked) == {"200"}, done.asked
    assert done.ended["dropped"] == 0
    site = load_site(done.site)
    with look_into_book(site) as book:
        verdict = book.verify()
        assert verdict.unbroken, verdict
        assert book.head().count > done.mishaps / 20, "faults are written down"
    assert main(["history", "verify", str(site.path)]) == 0


@pytest.mark.timeout(400)
async def test_two_hours_with_a_fault_every_minute_store_no_wrong_value(tmp_path: Path) -> None:
    done = await soak(tmp_path, 2, 600)
    judge_all(done, BEGINNING)
    assert done.mishaps == 120
    assert done.heard > 5


@pytest.mark.soak
async def test_three_days_with_a_fault_every_minute_grow_nothing_and_store_no_wrong_value(tmp_path: Path) -> None:
    hours = float(os.environ.get("GAUGEHOUSE_SOAK_HOURS", "72"))
    speed = float(os.environ.get("GAUGEHOUSE_SOAK_SPEED", "120"))
    judge_all(await soak(tmp_path, hours, speed), FREE)


def test_there_is_a_mishap_in_every_minute_and_the_same_each_time() -> None:
    found = mishaps(1, 72, 20_000)
    assert [one.at_ms // MINUTE_MS for one in found] == list(range(72 * 60))
    assert found == mishaps(1, 72, 20_000)
    places = {one.where for one in found}
    assert places == {unit.id for unit in DEMO.units} | {gateway.id for gateway in DEMO.gateways}


@pytest.mark.parametrize(
    ("figures", "grew"),
    [
        ([40.0] * 30, False),
        ([40.0 + (k % 3) for k in range(30)], False),
        ([40.0 + 0.5 * k for k in range(30)], True),
        ([20.0] * 12 + [44.0] * 18, False),
        ([40.0] * 24 + [55.0] * 6, True),
    ],
    ids=["flat", "swings", "a slope", "warms up", "a step"],
)
def test_growth_is_told_from_noise(figures: list[float], grew: bool) -> None:
    assert growth(figures).beyond(3.0) == grew


def test_start_is_a_midnight() -> None:
    assert START_MS % 86_400_000 == 0
