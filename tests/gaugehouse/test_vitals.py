"""The daemon's own watchdog: what counts as stuck, who is told, and that a real daemon whose poller hangs says so."""

import asyncio
import contextlib
import functools
import json
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from gaugehouse import daemon as daemons
from gaugehouse.supervised import Supervisor, supervisor_of
from gaugehouse.vitals import BEAT_S, STALL_S, Vitals, Watched
from tests.gaugehouse.farms import Running, running
from tests.tsdb import victoria_metrics


class Farm:
    """Counts that a test moves by hand, and a clock of its own."""

    def __init__(self) -> None:
        self.s, self.polls, self.waiting_s, self.store, self.begun = 0.0, {"row": 0, "far": 0}, 0.0, "", ""
        self.vitals = Vitals(
            Watched(
                lambda: dict(self.polls), {"row": 1.0, "far": 60.0}, lambda: 0, lambda: self.waiting_s,
                lambda: self.begun, lambda: self.store,
            ),
            clock_s=lambda: self.s,
        )  # fmt: skip

    def go(self, seconds: float, *polled: str) -> None:
        """Time goes on in beats, and some buses poll once in each."""
        for _ in range(round(seconds / BEAT_S)):
            self.s += BEAT_S
            for bus in polled:
                self.polls[bus] += 1
            self.vitals.beat()

    def ill(self) -> list[str]:
        return [check.name for check in self.vitals.checks() if not check.ok]


def test_a_bus_whose_polls_do_not_end_is_told_and_a_slow_one_is_given_its_time() -> None:
    farm = Farm()
    farm.go(30, "row")
    assert farm.ill() == []
    assert farm.vitals.not_ready() == ""
    farm.go(160, "row")
    assert farm.ill() == ["bus/far"]
    farm.go(1, "far")
    farm.go(21)
    assert farm.ill() == ["bus/row"]
    assert "bus row: no poll came to an end for 2" in farm.vitals.not_ready()
    farm.go(1, "row")
    assert farm.ill() == []


def test_ticks_that_wait_a_store_that_takes_nothing_and_a_loop_that_stands_are_told_apart() -> None:
    farm = Farm()
    farm.waiting_s = 25.0
    assert farm.ill() == ["core"]
    assert all(check.restart for check in farm.vitals.checks() if not check.ok)
    farm.store = "disk full"
    assert farm.ill() == ["core", "store"]
    assert not any(check.restart for check in farm.vitals.checks() if not check.ok)
    farm.waiting_s, farm.store = 0.0, ""
    farm.s += 11
    assert "loop" in farm.ill()
    farm.vitals.beat()
    assert farm.vitals.longest_stall_s == pytest.approx(10.5)


async def test_where_the_loop_stands_goes_into_the_log(capfd: pytest.CaptureFixture[str]) -> None:
    clock_s = [0.0]
    vitals = Vitals(Watched(lambda: {}, {}, lambda: 0, lambda: 0.0, lambda: "", lambda: ""), clock_s=lambda: clock_s[0])
    task = asyncio.create_task(vitals.run())
    await asyncio.sleep(0)
    told = a_turn_that_takes_long(clock_s, capfd)
    task.cancel()
    await asyncio.wait({task})
    assert "a_turn_that_takes_long" in told
    assert vitals.stalls == 1


def a_turn_that_takes_long(clock_s: list[float], capfd: pytest.CaptureFixture[str]) -> str:
    """Keeps the loop until the log tells of it, or for as long as no machine takes to give a thread a turn."""
    clock_s[0], told, until_s = STALL_S + 1, "", time.monotonic() + 60
    while "a_turn_that_takes_long" not in told and time.monotonic() < until_s:
        time.sleep(0.05)
        told += capfd.readouterr().err
    return told


@pytest.fixture
def supervisor(tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    address = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(address)
        heard.settimeout(60)
        yield heard, address


async def test_a_supervisor_hears_that_it_lives_and_not_when_a_restart_would_help(
    supervisor: tuple[socket.socket, str],
) -> None:
    heard, address = supervisor
    farm = Farm()
    ours = supervisor_of({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "60000000"})
    assert ours.watchdog_s == pytest.approx(60.0)
    for store, waiting_s, alive in (("", 0.0, True), ("disk full", 30.0, True), ("", 30.0, False)):
        farm.store, farm.waiting_s = store, waiting_s
        task = asyncio.create_task(ours.attend(farm.vitals))
        words = (await asyncio.to_thread(heard.recv, 500)).decode()
        task.cancel()
        await asyncio.wait({task})
        assert ("WATCHDOG=1" in words) == alive
        assert "STATUS=" in words


def test_without_a_supervisor_or_with_one_that_is_gone_nothing_happens(tmp_path: Path) -> None:
    supervisor_of({}).tell("READY=1")
    Supervisor(str(tmp_path / "nobody")).tell("READY=1")
    assert supervisor_of({"WATCHDOG_USEC": "1000", "WATCHDOG_PID": "1"}).watchdog_s is None


def test_a_supervisor_that_never_reads_holds_nothing_up_for_good(supervisor: tuple[socket.socket, str]) -> None:
    _, address = supervisor
    full = 0
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
        other.connect(address)
        other.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while full < 100_000:
                other.send(b"WATCHDOG=1")
                full += 1
    assert 0 < full < 100_000
    Supervisor(address).tell("READY=1")


async def test_a_daemon_is_ready_counts_its_work_and_is_not_healthy_while_its_poller_hangs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, supervisor: tuple[socket.socket, str]
) -> None:
    heard, address = supervisor
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    monkeypatch.setattr(daemons, "Vitals", lambda watched: Vitals(watched, stuck_s=10.0))
    async with running(tmp_path) as run, run.client() as client:
        while "READY=1" not in (await asyncio.to_thread(heard.recv, 500)).decode():
            pass
        async with asyncio.timeout(60):
            while (await client.get("readyz")).status_code != 200:
                await asyncio.sleep(0.1)
        assert (await client.get("healthz")).json()["ok"] is True
        found = figures((await client.get("metrics")).text)
        assert sum(found["gaugehouse_polls_total"].values()) >= len(run.site.loops)
        assert sum(found["gaugehouse_poll_lateness_seconds_count"].values()) > 0
        assert found["gaugehouse_core_ticks_total"][()] > 0
        assert set(found["gaugehouse_tank_quality"]) == {(tank.id,) for tank in run.site.tanks}
        comes_back = hang(run)
        async with asyncio.timeout(60):
            while (answer := await client.get("healthz")).status_code == 200:
                await asyncio.sleep(0.2)
        assert "no poll came to an end" in answer.json()["detail"]
        assert 0.0 in figures((await client.get("metrics")).text)["gaugehouse_check_ok"].values()
        comes_back.set()
        async with asyncio.timeout(60):  # the driver comes back: so does the daemon, by itself
            while (await client.get("healthz")).status_code != 200:
                await asyncio.sleep(0.2)


def hang(run: Running) -> asyncio.Event:
    """One bus's line takes a request and does not come back with it until told, as a driver that is stuck would."""
    comes_back = asyncio.Event()
    line = next(iter(run.daemon.collector._buses.values()))._line
    exchange = line.exchange

    async def late(*asked: object) -> object:
        line.exchange = exchange  # type: ignore[method-assign]
        await comes_back.wait()
        return await exchange(*asked)  # type: ignore[arg-type]

    line.exchange = late  # type: ignore[method-assign, assignment]
    return comes_back


def figures(text: str) -> dict[str, dict[tuple[str, ...], float]]:
    """Samples by name and label values, read by the client library's own parser."""
    found: dict[str, dict[tuple[str, ...], float]] = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            found.setdefault(sample.name, {})[tuple(sample.labels.values())] = sample.value
    return found


@pytest.mark.service
async def test_a_time_series_server_scrapes_it_and_answers_for_it(tmp_path: Path) -> None:
    async with running(tmp_path / "farm") as run:
        jobs = {"scrape_configs": [{"job_name": "farm", "scrape_interval": "1s",
                "static_configs": [{"targets": [run.daemon.url.removeprefix("http://").rstrip("/")]}]}]}  # fmt: skip
        scrape = tmp_path / "scrape.json"
        scrape.write_text(json.dumps(jobs))  # JSON is YAML
        begin = functools.partial(victoria_metrics, tmp_path / "tsdb", more=(f"-promscrape.config={scrape}",))
        with contextlib.ExitStack() as stack:
            server = await asyncio.to_thread(stack.enter_context, begin())
            instruments = {i.id for bus in run.site.buses for i in bus.instruments}
            # One query, so that both are of the same instant: a scrape may come before an instrument was asked, and
            # one that the machine lets wait for a second counts as failed.
            ask = {"query": "up or gaugehouse_polls_total{outcome='ok'}"}
            async with httpx.AsyncClient(base_url=server.url, timeout=60) as client, asyncio.timeout(90):
                told, up = set[str](), list[str]()
                while told != instruments or up != ["1"]:
                    await asyncio.sleep(0.5)
                    found = (await client.get("api/v1/query", params=ask)).json()["data"]["result"]
                    told = {one["metric"]["instrument"] for one in found if "instrument" in one["metric"]}
                    up = [one["value"][1] for one in found if one["metric"]["__name__"] == "up"]
