"""The daemon with a time-series server as a second home of its readings, and a backfill beside it."""

import contextlib
import json
import logging
import time
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.servers import backfill
from gaugehouse.site import Site, load_site
from gaugehouse.stores import READINGS, look_into_readings
from history.sqlite import SqliteStore
from simulator.demo import write_demo
from tests.gaugehouse.farms import Running, running
from tests.history.samples import NOON_MS, reading
from tests.history.scripted import Answer, Scripted, scripted
from tests.ports import free_port

DAY_MS = 86_400_000


def serve(port: int, *more: str, server: str = "archive") -> str:
    lines = [
        "",
        "[[store.server]]",
        f'id = "{server}"',
        f'url = "http://127.0.0.1:{port}"',
        'bucket = "tanks"',
        *more,
        "",
    ]
    return "\n".join(lines)


def taken(server: Scripted) -> set[tuple[str, int]]:
    """Tank and seq of every point."""
    return {
        (series.rpartition("tank=")[2], int(float(fields.partition("seq=")[2].partition(",")[0])))
        for (series, _), fields in server.points.items()
    }


def stored(site: Site) -> set[tuple[str, int]]:
    with look_into_readings(site) as store:
        return {(tank.id, one.seq) for tank in site.tanks for one in store.read(tank.id, 0, 2 * NOON_MS)}


def state(run: Running, server: str = "archive") -> dict[str, object]:
    assert run.daemon.facts is not None
    return next(one for one in run.daemon.facts.servers() if one["id"] == server)


async def test_readings_go_out_and_what_was_missed_while_the_server_was_away_follows(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    caplog.set_level(logging.INFO, "history.outlet")
    monkeypatch.setenv("TOKEN", "a-secret-of-16-ch")
    port = free_port()
    more = serve(port, 'token_env = "TOKEN"') + serve(free_port(), server="dead")
    # A server is there before the daemon and after it, so that it is away once.
    with contextlib.ExitStack() as before, contextlib.ExitStack() as after:
        server = before.enter_context(scripted(port))
        async with running(tmp_path, speed=20.0, more=more) as run:
            await run.until(lambda live: len({tank for tank, _ in taken(server)}) == len(run.site.tanks))
            assert server.tokens[0] == "Token a-secret-of-16-ch"
            assert server.paths[0] == "/api/v2/write?org=-&bucket=tanks&precision=ns"
            before.close()
            first = taken(server)
            await run.until(lambda live: state(run)["failure"] != "")
            assert "does not answer" in str(state(run)["failure"])
            again = after.enter_context(scripted(port))
            await run.until(lambda live: len(taken(again)) > 50 and not state(run)["failure"])
            assert state(run, "dead")["sent"] == 0
            site = run.site
    assert first | taken(again) <= stored(site)
    last = max(seq for _, seq in taken(again))
    assert {one for one in stored(site) if one[1] <= last} == first | taken(again)
    assert "a-secret" not in caplog.text
    messages = [record.getMessage() for record in caplog.records if "server archive" in record.getMessage()]
    assert [word for text in messages for word in ("is away", "again") if word in text] == ["is away", "again"]


async def test_a_server_that_should_be_asked_and_is_not_there_breaks_no_page(tmp_path: Path) -> None:
    port = free_port()
    async with running(tmp_path, speed=20.0, more=serve(port, "reads = true")) as run:
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: live["tanks"][0]["level_m"] is not None)
        now_ms = run.clock.now_ms()
        trend = await facts.trend(run.site.tanks[0].id, "level_m", now_ms - 3_600_000, 3_600_000, 60)
        assert len(trend["t"]) == 60


async def test_single_readings_are_kept_as_long_as_the_site_says(tmp_path: Path) -> None:
    site = load_site(write_demo(tmp_path, [15020, 15021]))
    site.store_path.mkdir(parents=True)
    tank, week_ago_ms = site.tanks[0].id, int(time.time() * 1000) - 7 * DAY_MS
    with contextlib.closing(SqliteStore.open(site.store_path / READINGS, site.id)) as store:
        store.append([reading(1 + k, week_ago_ms + k * 600_000, tank) for k in range(7 * 144)])
    async with running(tmp_path, more='\n[store]\nkeep_readings = "2 d"\n') as run:
        assert run.site.keep_readings_ms == 2 * DAY_MS
        # Whole days of UTC go; of the first that stays, every reading does.
        await run.until(lambda live: first_of(site, tank) >= midnight(run.clock.now_ms() - 2 * DAY_MS))
        assert first_of(site, tank) < midnight(run.clock.now_ms() - 2 * DAY_MS) + 600_000


def midnight(time_ms: int) -> int:
    return time_ms // DAY_MS * DAY_MS


def first_of(site: Site, tank: str) -> int:
    with look_into_readings(site) as store:
        return next(store.read(tank, 0, 4 * NOON_MS)).time_ms


@pytest.fixture
def site(tmp_path: Path) -> Site:
    path = write_demo(tmp_path, [15020, 15021])
    port = free_port()
    path.write_text(path.read_text(encoding="utf-8") + serve(port), encoding="utf-8")
    made = load_site(path)
    made.store_path.mkdir(parents=True, exist_ok=True)
    with contextlib.closing(SqliteStore.open(made.store_path / READINGS, made.id)) as store:
        for tank in made.tanks[:2]:
            store.append([reading(k + 1, NOON_MS + k * 600_000, tank.id) for k in range(500)])
    return made


def port_of(site: Site) -> int:
    return int(site.servers[0].url.rpartition(":")[2])


def test_a_range_is_sent_once_more_by_days_and_is_the_same_points(site: Site) -> None:
    start_ms, end_ms = NOON_MS + DAY_MS, NOON_MS + 3 * DAY_MS
    with scripted(port_of(site)) as server:
        for _ in range(2):
            steps = list(backfill(site, "archive", start_ms, end_ms))
            assert steps[-1] == (end_ms, 576, 0)
            assert len(steps) == 3
            assert len(taken(server)) == 576
    assert len(server.taken) == 1152


def test_a_backfill_that_breaks_off_says_why_and_goes_on_from_there(site: Site) -> None:
    with scripted(port_of(site)) as server:
        steps = backfill(site, "archive", NOON_MS, NOON_MS + 3 * DAY_MS)
        reached = next(steps)
        server.judge = lambda lines: Answer(503)
        with pytest.raises(CouldNot, match="server archive: answers 503"):
            next(steps)
        server.judge = Scripted().judge
        assert list(backfill(site, "archive", reached.done_ms, NOON_MS + 4 * DAY_MS))[-1].sent + reached.sent == 1000


def test_what_a_backfill_cannot_place_stands_in_the_reject_list(site: Site) -> None:
    with scripted(port_of(site)) as server:
        server.judge = lambda lines: Answer(400, f"beyond retention policy dropped={len(lines)}")
        assert list(backfill(site, "archive", NOON_MS, NOON_MS + 3_600_000))[-1].rejected == 12
    assert len((site.store_path / "rejected-archive.jsonl").read_text().splitlines()) == 12


def test_a_backfill_to_a_server_that_is_not_in_the_site_file_names_those_that_are(site: Site) -> None:
    with pytest.raises(CallError, match='no server has the id "other"; the site file has archive'):
        next(backfill(site, "other", 0, NOON_MS))


def test_the_command_sends_a_range_again_and_says_where_to_go_on(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    argv = ["history", "backfill", str(site.path), "archive"]
    with scripted(port_of(site)) as server:
        assert main([*argv, "--json"]) == 0
        assert json.loads(capsys.readouterr().out) == {"server": "archive", "sent": 1000, "rejected": 0}
        assert main([*argv, "--from", "2026-01-02T12:00Z", "--to", "2026-01-02T13:00Z"]) == 0
        assert "archive: 12 readings sent, 0 rejected" in capsys.readouterr().out
        seen = len(server.taken)

        def away_after_the_first_day(lines: list[str]) -> Answer:
            return Answer(503) if len(server.taken) > seen + 140 else Scripted().judge(lines)

        server.judge = away_after_the_first_day
        assert main(argv) == 3
        assert "go on with --from 2026-01-02T00:00:00.000Z" in capsys.readouterr().err
        server.judge = lambda lines: Answer(400, f"beyond retention policy dropped={len(lines)}")
        assert main([*argv, "--from", "2026-01-02T12:00Z", "--to", "2026-01-02T13:00Z"]) == 1
    assert main([*argv[:-1], "other"]) == 2
    assert "the site file has archive" in capsys.readouterr().err
