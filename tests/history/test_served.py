"""The traps of real servers, and the embedded store with a server behind it. Each trap was first seen on the servers
named (influxd 1.6.7, VictoriaMetrics 1.79.5); the tests run whatever of them is installed."""

import logging
import urllib.parse
import urllib.request
import uuid
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import pytest

from history.both import Both
from history.errors import StoreUnavailable
from history.following import Cursor
from history.influxql import InfluxReadings
from history.memory import MemoryStore
from history.outlet import Outlet
from history.posting import InfluxPoster
from history.rejects import RejectList
from history.scale import rounded
from history.servertrouble import Away, Held
from history.sqlite import SqliteStore
from history.store import Buckets, Grid
from history.tidying import Kept
from models.reading import Reading
from tests.history.samples import NOON_MS, bad, reading, run
from tests.history.served import DATABASE, OnInflux, OnVictoria, Sent, exported
from tests.history.test_outlet import Where
from tests.ports import free_port
from tests.tsdb import Server

pytestmark = pytest.mark.service

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
WEEK_MS = 7 * DAY_MS
MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS


@pytest.fixture
def site() -> str:
    return f"site-{uuid.uuid4().hex}"


def influxql(url: str, question: str) -> str:
    asked = urllib.parse.urlencode({"db": DATABASE, "q": question})
    with urllib.request.urlopen(f"{url}/query?{asked}", timeout=30) as answer:
        return str(answer.read().decode())


def write(url: str, line: str) -> None:
    """A line of somebody else's."""
    request = urllib.request.Request(f"{url}/api/v2/write?bucket={DATABASE}&org=-", line.encode())
    urllib.request.urlopen(request, timeout=30).close()


def outlet_of(store: SqliteStore, url: str, site: str, folder: Path, bucket: str = DATABASE) -> Outlet:
    poster = InfluxPoster(Where(url, bucket=bucket), str)
    return Outlet("main", site, store, poster, RejectList(folder / "rejected.jsonl"))


def drain(outlet: Outlet) -> None:
    while outlet.step() == 0:
        pass


def test_the_same_points_sent_twice_are_there_once(
    tmp_path: Path, site: str, influx_server: Server, victoria_server: Server
) -> None:
    """VictoriaMetrics needs -dedup.minScrapeInterval=1ms for that, as tests/tsdb.py starts it."""
    kept = run(500)
    for number, (kind, url) in enumerate(((OnInflux, influx_server.url), (OnVictoria, victoria_server.url))):
        folder = tmp_path / str(number)
        folder.mkdir()
        with closing(kind.begin(folder, url, site)) as store:
            store.append(kept)
            store.move_cursor("main", Cursor(100))
            store.send()
            assert store.outlet.counters().sent == 900
            assert list(store.read("T-1", 0, 2 * NOON_MS)) == [rounded(one) for one in kept]


def test_a_field_that_somebody_wrote_as_an_integer_costs_the_lines_of_that_shard_only(
    tmp_path: Path, site: str, influx_server: Server
) -> None:
    """influxd fixes the type of a field for each shard of a week: a float there is a 400, for ever."""
    foreign_ms = NOON_MS - 30 * WEEK_MS
    write(influx_server.url, f"reading,site={site},tank=T-9 level_m=5i {foreign_ms * 1_000_000}")
    try:
        kept = [*run(3, start_ms=foreign_ms + 1000), *run(30, first_seq=4)]
        with closing(SqliteStore.open(tmp_path / "r.sqlite", site)) as store:
            store.append(kept)
            outlet = outlet_of(store, influx_server.url, site, tmp_path)
            drain(outlet)
            assert store.cursor("main") == Cursor(33, sent=30, rejected=3)
            outlet.stop(1)
            outlet._poster.close()
        assert (tmp_path / "rejected.jsonl").read_text().count("field type conflict") == 3
        with closing(InfluxReadings(influx_server.url, DATABASE, site, str)) as asked:
            assert list(asked.read("T-1", 0, 2 * NOON_MS)) == [rounded(one) for one in kept[3:]]
    finally:
        influxql(influx_server.url, f"DELETE FROM reading WHERE site = '{site}'")


def test_a_database_that_is_not_there_holds_the_outlet_and_the_questions(
    tmp_path: Path, site: str, influx_server: Server
) -> None:
    with closing(SqliteStore.open(tmp_path / "r.sqlite", site)) as store:
        store.append(run(3))
        outlet = outlet_of(store, influx_server.url, site, tmp_path, bucket="nothing")
        assert outlet.step() > 0
        assert outlet.counters().held
        assert 'answers 404: database not found: "nothing"' in outlet.counters().failure
        outlet._poster.close()
    with closing(InfluxReadings(influx_server.url, "nothing", site, str)) as asked:
        with pytest.raises(Held, match="cannot answer: database not found: nothing"):  # inside of a 200
            asked.read("T-1", 0, NOON_MS)


def test_what_is_older_than_victoria_metrics_keeps_is_taken_with_204_and_gone(
    tmp_path: Path, site: str, victoria_server: Server
) -> None:
    """No client can see that; docs/history.md says to give it a retention as long as the site's history."""
    old = run(2, start_ms=NOON_MS - 12 * 365 * DAY_MS)
    with closing(OnVictoria.begin(tmp_path, victoria_server.url, site)) as store:
        store.append([*old, *run(2, first_seq=3)])
        assert store.cursor("main") == Cursor(4, sent=4)
    assert [one.seq for one in exported(victoria_server.url, site, "T-1")] == [3, 4]


def test_a_server_that_cannot_be_asked_in_influxql_says_so(site: str, victoria_server: Server) -> None:
    with closing(InfluxReadings(victoria_server.url, DATABASE, site, str)) as asked:
        with pytest.raises(Held, match="gives no InfluxQL answer"):
            asked.read("T-1", 0, NOON_MS)


def test_a_server_that_is_not_there_is_away_for_questions(site: str) -> None:
    with closing(InfluxReadings(f"http://127.0.0.1:{free_port()}", DATABASE, site, str)) as asked:
        with pytest.raises(Away, match="does not answer a question"):
            asked.read("T-1", 0, NOON_MS)


QUESTIONS = [
    ("level_m", MIDNIGHT_MS + 5 * HOUR_MS + 17, 2 * HOUR_MS, 600),
    ("level_m", MIDNIGHT_MS, 2 * DAY_MS, 10),
    ("current_mA", MIDNIGHT_MS - DAY_MS + 1234, 5 * DAY_MS, 100),
    ("gsv_m3", MIDNIGHT_MS + 20 * HOUR_MS, 8 * HOUR_MS, 2000),
    ("water_m", MIDNIGHT_MS + 1, 3 * DAY_MS, 1000),
]


def history() -> list[Reading]:
    """Three and a half days, a reading every 20 s, with failed stretches."""
    return [
        bad(k + 1, MIDNIGHT_MS + k * 20_000, current_mA=3.5 + k % 7 / 100) if k % 613 < 9
        else reading(k + 1, MIDNIGHT_MS + k * 20_000, level_m=5 + (k * 7919 % 1000) / 997)
        for k in range(7 * DAY_MS // 2 // 20_000)
    ]  # fmt: skip


class Farm(Sent):
    """An embedded file, everything of it on the server."""


@pytest.fixture(scope="module")
def everything() -> MemoryStore:
    store = MemoryStore()
    store.append(history())
    return store


@pytest.fixture
def farm(tmp_path: Path, site: str, influx_server: Server) -> Iterator[Farm]:
    store = Farm.begin(tmp_path, influx_server.url, site)
    readings = history()
    for start in range(0, len(readings), 1000):
        SqliteStore.append(store, readings[start : start + 1000])
        while store.tidy():
            pass
    store.send()
    yield store
    store.close()


def test_trends_of_the_server_are_those_of_all_readings_to_the_same_bit(farm: Farm, everything: MemoryStore) -> None:
    empty = Both(SqliteStore.open(farm._file.path.with_name("new.sqlite"), "NEW"), {"main": farm.asked})
    for question in QUESTIONS:
        assert empty.trend("T-1", *question) == everything.trend("T-1", *question)
    assert list(empty.read("T-1", 0, 2 * NOON_MS)) == list(everything.read("T-1", 0, 2 * NOON_MS))
    empty.close()


def test_what_the_embedded_store_has_thinned_is_whole_again_with_a_server(farm: Farm, everything: MemoryStore) -> None:
    while farm.tidy(Kept(readings_ms=DAY_MS)):
        pass
    alone = [one.seq for one in farm.read("T-1", 0, 2 * NOON_MS)]
    assert 0 < len(alone) < 8000
    both = Both(farm, {"main": farm.asked})
    for question in QUESTIONS:
        assert both.trend("T-1", *question) == everything.trend("T-1", *question)
    assert list(both.read("T-1", 0, 2 * NOON_MS)) == list(everything.read("T-1", 0, 2 * NOON_MS))
    assert farm.trend("T-1", *QUESTIONS[0]) != everything.trend("T-1", *QUESTIONS[0])  # by the minute, without it


class Counting:
    """A server that is away until told otherwise."""

    def __init__(self, behind: InfluxReadings) -> None:
        self.asked, self.away, self._behind = 0, True, behind

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        self._ask()
        return self._behind.read(tank, start_ms, end_ms)

    def fill(self, buckets: Buckets, tank: str, quantity: str, grid: Grid, before_ms: int) -> None:
        self._behind.fill(buckets, tank, quantity, grid, before_ms)  # and then it fails
        self._ask()

    def _ask(self) -> None:
        self.asked += 1
        if self.away:
            raise Away("does not answer a question: timed out")


def test_a_server_that_is_away_breaks_no_trend_and_is_left_alone_for_a_while(
    farm: Farm, everything: MemoryStore, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "history.both")
    while farm.tidy(Kept(readings_ms=DAY_MS)):
        pass
    at = [0.0]
    server = Counting(farm.asked)
    both = Both(farm, {"main": server}, clock_s=lambda: at[0])
    for _ in range(3):
        assert both.trend("T-1", *QUESTIONS[0]) == farm.trend("T-1", *QUESTIONS[0])
    assert server.asked == 1
    with pytest.raises(StoreUnavailable, match="server main does not answer"):
        both.read("T-1", 0, 2 * NOON_MS)
    newest = [one.seq for one in both.read("T-1", MIDNIGHT_MS + 3 * DAY_MS, 2 * NOON_MS)]
    assert len(newest) == 2160  # what the embedded store has needs no server
    at[0] = 61.0
    server.away = False
    assert both.trend("T-1", *QUESTIONS[0]) == everything.trend("T-1", *QUESTIONS[0])
    assert [record.getMessage() for record in caplog.records] == [
        "server main does not answer a question: timed out; older readings are not shown until it answers",
        "server main answers questions again",
    ]


def test_a_second_server_is_asked_when_the_first_is_away(farm: Farm, everything: MemoryStore) -> None:
    away = Counting(farm.asked)
    empty = Both(SqliteStore.open(farm._file.path.with_name("new.sqlite"), "NEW"), {"a": away, "b": farm.asked})
    assert empty.trend("T-1", *QUESTIONS[1]) == everything.trend("T-1", *QUESTIONS[1])
    assert away.asked == 1
    empty.close()


def test_two_readings_of_one_millisecond_stay_two_on_influxdb(tmp_path: Path, site: str, influx_server: Server) -> None:
    kept: Sequence[Reading] = [reading(1, NOON_MS), reading(2, NOON_MS), reading(3, NOON_MS)]
    with closing(OnInflux.begin(tmp_path, influx_server.url, site)) as store:
        store.append(kept)
        assert list(store.read("T-1", NOON_MS, NOON_MS + 1)) == [rounded(one) for one in kept]
