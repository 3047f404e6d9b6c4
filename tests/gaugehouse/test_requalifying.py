"""Stretches found bad only afterwards: a frozen signal tells its own, a person tells others, the stores hear."""

import asyncio
import json
import random
from pathlib import Path

import pytest

from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.requalifying import KIND, Requalifying, pinned, requalified_of
from gaugehouse.stores import look_into_book, look_into_readings
from history.memory import MemoryStore
from history.requalify import Stretch
from history.sqlite import SqliteStore
from history.tidying import Kept
from models.reading import BAD, GOOD, Reason
from tests.gaugehouse.farms import running
from tests.gaugehouse.test_history_command import filled, history
from tests.gaugehouse.test_local import command
from tests.gaugehouse.test_loopchecks import Bench
from tests.history.samples import NOON_MS, run

DAY_MS = 86_400_000
Capture = pytest.CaptureFixture[str]
MOMENT = ("--from", "2026-01-01T12:30Z", "--to", "2026-01-01T13:00Z")
WHO = ("--by", "Ada", "--comment", "stilling well was blocked")


def test_a_signal_declared_frozen_was_bad_since_it_went_flat(tmp_path: Path) -> None:
    bench, store, rng = Bench(tmp_path), MemoryStore(), random.Random(5)
    frozen_ms, declared = 0, []
    for second in range(6000):
        if second == 900:
            frozen_ms = bench.ms
        lives = second < 900
        result = bench.poll(round(12 + (rng.gauss(0, 0.004) if lives else 0), 3))
        store.append(result.readings)
        declared = [one for one in result.decisions if one.kind == KIND]
        if declared:
            break
    (decision,) = declared
    body = decision.body
    assert (body["tank"], body["quality"], body["reason"], body["by"]) == ("palm", "bad", "BadDeviceFailure", "")
    assert "fault 1, frozen" in body["comment"]
    newest = store.latest_good("palm")
    assert newest is not None
    assert newest.time_ms > frozen_ms + 60_000, "until then the flat readings passed for Good"
    found = bench.core.requalifying.found
    store.requalify(found)
    (stretch,) = found.of("palm")
    assert frozen_ms <= stretch.start_ms <= frozen_ms + 2000
    newest = store.latest_good("palm")
    assert newest is not None
    assert newest.time_ms < stretch.start_ms
    assert requalified_of(bench.state).all() == {"palm": (stretch,)}, "and a restart knows it too"


def test_a_person_s_word_outlives_the_command_and_a_newer_one_takes_it_back(tmp_path: Path, capsys: Capture) -> None:
    site = filled(tmp_path)
    at_ms = 1_767_268_800_000 + 2_000_000  # 12:33:20
    assert history("requalify", site, "palm", *MOMENT, "--quality", "bad", *WHO, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["from"], told["quality"], told["reason"], told["by"]) == (
        "2026-01-01T12:30:00.000Z", "bad", "BadDeviceFailure", "Ada",
    )  # fmt: skip
    with look_into_readings(site) as store, look_into_book(site) as book:
        (one,) = store.read("palm", at_ms, at_ms + 1)
        assert (one.quality, one.reason, one.level_m) == (BAD, Reason.DEVICE_FAILURE, None)
        (entry,) = book.entries([KIND])
        assert entry.body["comment"] == "stilling well was blocked"
    assert history("requalify", site, "palm", *MOMENT, "--quality", "as_measured", *WHO) == 0
    assert "palm: as measured from 2026-01-01T12:30" in capsys.readouterr().out
    with look_into_readings(site) as store, look_into_book(site) as book:
        (one,) = store.read("palm", at_ms, at_ms + 1)
        assert one.quality is GOOD
        assert len(list(book.entries([KIND]))) == 2, "both are kept"


@pytest.mark.parametrize(
    ("argv", "status", "words"),
    [
        (("elm", *MOMENT, "--quality", "bad", *WHO), 2, "there is no tank 'elm'"),
        (("palm", *MOMENT, "--quality", "bad", "--reason", "UncertainSubNormal", *WHO), 2, "does not go with quality"),
        (("palm", *MOMENT, "--quality", "bad", "--by", " ", "--comment", "x"), 2, "by is missing"),
        (("palm", *MOMENT, "--quality", "bad", "--by", "Ada", "--comment", ""), 2, "comment is missing"),
        (("palm", *MOMENT, "--quality", "good", *WHO), 2, "invalid choice"),
        (("palm", "--from", "2026-01-01", "--to", "2999-01-01", "--quality", "bad", *WHO), 3, "after now"),
        (("palm", "--from", "2026-01-02", "--to", "2026-01-01", "--quality", "bad", *WHO), 2, "turn them round"),
    ],
)
def test_what_makes_no_sense_is_refused_with_the_mend(
    tmp_path: Path, capsys: Capture, argv: tuple[str, ...], status: int, words: str
) -> None:
    site = filled(tmp_path, [])
    assert main(["history", "requalify", str(site.path), *argv]) == status
    assert words in capsys.readouterr().err


def test_an_act_without_an_offset_in_its_times_is_refused() -> None:
    fields = {"tank": "palm", "to": "2026-01-01T13:00:00Z", "quality": "bad", "by": "Ada", "comment": "x"}
    with pytest.raises(CallError, match="has no offset"):
        act_of("requalify", fields | {"from": "2026-01-01T12:00:00"})
    with pytest.raises(CallError, match="quality 'worse' is none of bad, uncertain, as_measured"):
        act_of("requalify", fields | {"from": "2026-01-01T12:00:00Z", "quality": "worse"})


async def test_a_running_daemon_tells_it_at_once(tmp_path: Path, capsys: Capture) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None and tank["age_s"] >= 0 for tank in live["tanks"]))
        await run.until(lambda live: live["seq"] > 4)
        facts, tank = run.daemon.facts, run.site.tanks[0].id
        assert facts is not None
        now_ms = run.clock.now_ms()
        last_minute = (tank, "level_m", now_ms - 60_000, 60_000, 10)
        async with asyncio.timeout(60):  # a slow disk has them later
            while set((await facts.trend(*last_minute))["mean"]) == {None}:
                await asyncio.sleep(0.1)
        stretch = ("--from", iso_ms(now_ms - 60_000), "--to", iso_ms(now_ms))
        argv = ("history", "requalify", str(run.site.path), tank, *stretch, "--quality", "bad", *WHO)
        assert await command(*argv) == 0
        asked = {"quantity": "level_m", "aggregate": "Count", "start_ms": now_ms - 60_000, "end_ms": now_ms,
                 "interval_ms": 60_000, "stepped": False, "uncertain_is_bad": True}  # fmt: skip
        answer = await facts.aggregate(tank, asked)
        assert answer["value"] == [0.0], "none of them is Good any more"
        trend = await facts.trend(*last_minute)
        assert set(trend["mean"]) == {None}
    capsys.readouterr()


def test_the_readings_that_an_entry_points_at_are_never_thinned(tmp_path: Path) -> None:
    days = [one for tank in ("palm", "elm") for one in run(5 * 1440, step_ms=60_000, tank=tank)]
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    store.append(days)
    room = Requalifying()
    room.add("palm", Stretch(NOON_MS + DAY_MS, NOON_MS + DAY_MS + 60_000, BAD, Reason.DEVICE_FAILURE))
    while store.tidy(Kept(DAY_MS), pinned(room.found)):
        pass
    kept = {tank: len(list(store.read(tank, NOON_MS, NOON_MS + 3 * DAY_MS))) for tank in ("palm", "elm")}
    assert kept == {"palm": 1440, "elm": 0}, "the day of that stretch of that tank, and no other"
    store.close()
