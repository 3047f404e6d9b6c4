"""What the daemon finds out about itself becomes alarms: a full disk, a late store, a stepped clock."""

from datetime import date
from pathlib import Path

import pytest

from gaugehouse import systemwatch
from gaugehouse.checking import check
from gaugehouse.site import load_site
from gaugehouse.sitefile.sheetlines import overdue_tests
from gaugehouse.stores import look_into_book, open_stores
from gaugehouse.systemwatch import Sources, SystemReport, SystemWatch, failed_checks
from history.chain import Entry
from history.readers import ReaderPool
from history.writer import Counters
from tests.gaugehouse.farms import running
from tests.gaugehouse.sites import LOOP_SITE, loop_site, write_site
from tests.gaugehouse.test_watching import Player, site_core


class Clock:
    """A clock that a test sets."""

    speed = 1.0

    def __init__(self, now_ms: int) -> None:
        self.ms = now_ms

    def now_ms(self) -> int:
        return self.ms


def counters(lag_s: float) -> Counters:
    return Counters(0, 0, 0, 0, 0, lag_s, "")


def test_what_the_daemon_reports_raises_and_clears_alarms_of_the_system(tmp_path: Path) -> None:
    player = Player(site_core(tmp_path, ""))
    site = player.core.site
    with open_stores(site) as stores:
        lag = [0.0]
        found = Sources(lambda: counters(lag[0]), None, stores.book, ReaderPool(), dict)
        watch = SystemWatch(site, Clock(2_000), found, lambda act: None, 1_000)

        def report(second: float) -> list[str]:
            told = systemwatch.judged(watch.facts(second), site.system, [])
            SystemReport(tuple(told)).apply(player.core, player.core.at)
            return [
                what
                for what in player.tick(second, palm_top={"current": 12.0, "temperature": 15.0})
                if "system" in what
            ]

        assert report(0) == []
        lag[0] = 60.0
        assert report(1) == ["system.store_late raised"]
        lag[0] = 0.0
        assert report(2) == []
        assert report(33) == ["system.store_late returned"]


@pytest.mark.parametrize(("speed", "behind"), [(1.0, True), (60.0, False)])
def test_a_clock_before_what_is_stored_is_behind_unless_a_demo_ran_ahead(
    tmp_path: Path, speed: float, behind: bool
) -> None:
    site = loop_site(tmp_path)
    with open_stores(site) as stores:
        found = Sources(lambda: counters(0.0), None, stores.book, ReaderPool(), dict)
        clock = Clock(5_000)
        clock.speed = speed
        watch = SystemWatch(site, clock, found, lambda act: None, 6_000)
        assert watch.facts(0.0).clock_behind is behind
        clock.ms = 7_000
        assert not watch.facts(0.0).clock_behind


def test_only_the_newest_finished_check_of_a_loop_counts(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    rows = [
        ("palm-top", "finished", False), ("palm-top", "finished", True), ("elm", "finished", True),
        ("elm", "finished", False), ("elm", "started", None), ("elm", "time over", None),
    ]  # fmt: skip
    with open_stores(site) as stores:
        stores.book.commit(
            [
                Entry("loop_check", 1000 + n, n, {"change": change, "instrument": name, "passes": passes})
                for n, (name, change, passes) in enumerate(rows)
            ],
            {},
        )
    with look_into_book(site) as book:
        assert failed_checks(book) == {"elm": 1003}


def test_tests_of_alarms_are_overdue_the_day_after_they_were_due(tmp_path: Path) -> None:
    text = (
        "source,condition,last_test,test_every\npalm,high,2026-01-01,30 d\npalm,low,2026-01-01,\npalm,low_low,,30 d\n"
    )
    (tmp_path / "sheet.csv").write_text(text, encoding="utf-8")
    site = load_site(write_site(tmp_path, LOOP_SITE + '\n[alarms]\nsheet = "sheet.csv"\n'))
    assert overdue_tests(site, date(2026, 1, 31)) == ["palm.low_low"]  # it must have one and never had
    assert overdue_tests(site, date(2026, 2, 1)) == ["palm.high", "palm.low_low"]
    (late,) = check(site.path, "2026-02-01").problems[-1:]
    assert late.key == "alarm.test_every"
    assert "palm.high, palm.low_low" in late.text
    assert not any(problem.key == late.key for problem in check(write_site(tmp_path), "2026-02-01").problems)


def test_a_disk_that_does_not_answer_is_not_known() -> None:
    assert systemwatch.disk_used_percent(Path("/nowhere/at/all")) is None
    used = systemwatch.disk_used_percent(Path("/"))
    assert used is not None
    assert 0 < used <= 100


async def test_a_running_daemon_raises_an_alarm_when_its_disk_fills_and_clears_it_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    used = [95.0]
    monkeypatch.setattr(systemwatch, "disk_used_percent", lambda path: used[0])
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    async with running(tmp_path, speed=60.0, watch_disk=True) as run:
        await run.until(lambda live: any(a["id"] == "system.disk_filling" for a in live["alarms"]))
        used[0] = 50.0
        await run.until(
            lambda live: any(a["id"] == "system.disk_filling" and a["returned"] is not None for a in live["alarms"])
        )
        assert run.daemon.system is not None
        run.daemon.system.stepped(120_000)
        await run.until(lambda live: any(a["id"] == "system.clock_wrong" for a in live["alarms"]))


async def test_a_broker_that_is_not_there_is_an_alarm_of_the_system(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    nobody = '\n[mqtt]\nhost = "127.0.0.1"\nport = 9\n\n[system]\npublisher_late = "1 s"\n'
    async with running(tmp_path, speed=60.0, more=nobody) as run:
        await run.until(lambda live: any(a["id"] == "system.publisher_late" for a in live["alarms"]))
        (alarm,) = [a for a in run.daemon.facts.live()["alarms"] if a["id"] == "system.publisher_late"]  # type: ignore[union-attr]
        assert (alarm["tank"], alarm["priority"]) == (None, 3)
        assert "none is lost" in alarm["action"]
