"""What pages cost: server CPU and memory a connected page, first paint and bytes of the board, a page left open.

`python -m tests.bench.bench_pages [--short]`. Server and browser are processes of their own; CPU is what the operating
system counts for the server (user and system). Ratios hold within one run; single figures move with the machine's load.
"""

import asyncio
import contextlib
import json
import shutil
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from typing import Any

import psutil

from tests.browser.conftest import FLAGS, ROOT
from tests.ports import free_port

SHORT = "--short" in sys.argv
WATCH_S = 10.0 if SHORT else 30.0
CLIENTS = (0, 1, 20, 200)
WEEKS_STATES = 400 if SHORT else 4000


@contextlib.contextmanager
def console(tanks: int, step_s: float) -> Iterator[tuple[str, psutil.Process]]:
    """A console over that many tanks that makes a state every `step_s` s: its address without scheme, its process."""
    port = free_port()
    command = [sys.executable, "-m", "tests.bench.pageserver", str(port), str(tanks), str(step_s)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        assert server.stdout.readline().startswith("ready")
        try:
            yield f"127.0.0.1:{port}", psutil.Process(server.pid)
        finally:
            server.kill()


def cpu_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


class Page(asyncio.Protocol):
    """A page that listens, as light as can be: what it hears is counted and thrown away."""

    def __init__(self, where: str) -> None:
        self._where = where
        self.heard = 0
        self.listening = asyncio.Event()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(
            f"GET /feed HTTP/1.1\r\nHost: {self._where}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
        )  # the key is that of RFC 6455, 1.3

    def data_received(self, data: bytes) -> None:
        self.heard += len(data)
        if self.heard > 2000:
            self.listening.set()


async def listen(where: str, count: int, process: psutil.Process) -> tuple[float, float, float]:
    """CPU of the server in percent of a core, its memory in MB, and bytes a page and second, with so many pages."""
    loop, (host, port) = asyncio.get_running_loop(), where.split(":")
    connections = [await loop.create_connection(lambda: Page(where), host, int(port)) for _ in range(count)]
    for _, page in connections:
        await page.listening.wait()
        page.heard = 0
    before, since = cpu_s(process), time.monotonic()
    await asyncio.sleep(WATCH_S)
    used, took = cpu_s(process) - before, time.monotonic() - since
    memory = process.memory_info().rss / 1e6
    heard = [page.heard for _, page in connections]
    for transport, _ in connections:
        transport.close()
    if count:
        assert min(heard) > 0.5 * max(heard), "a page was left behind"
    return 100 * used / took, memory, sum(heard) / max(1, count) / took


def feed(tanks: int) -> None:
    print(f"\n{tanks} tanks, a state a second, {WATCH_S:g} s each:")
    with console(tanks, 1.0) as (where, process):
        idle = 0.0
        resting = 0.0
        for count in CLIENTS:
            percent, memory, size = asyncio.run(listen(where, count, process))
            if count == 0:
                idle, resting = percent, memory
                print(f"  nobody: {percent:.2f} % of a core, {memory:.0f} MB")
                continue
            each, weight = (percent - idle) / count, (memory - resting) / count * 1000
            print(
                f"  {count:3d} pages: {percent:.2f} % of a core, {each:.4f} % more a page (aim: under 0.1), "
                f"{weight:.0f} kB a page, {size / 1000:.1f} kB a page and second"
            )


PAINT = """() => {
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  const all = [performance.getEntriesByType("navigation")[0], ...performance.getEntriesByType("resource")];
  return { paint_ms: paint ? paint.startTime : null, bytes: all.reduce((sum, one) => sum + one.transferSize, 0) };
}"""
WATCH_EVENTS = """() => {
  window.slowest = [];
  new PerformanceObserver((list) => { for (const one of list.getEntries()) window.slowest.push(one.duration); })
    .observe({ type: "event", durationThreshold: 16, buffered: true });
  window.long = [];
  new PerformanceObserver((list) => { for (const one of list.getEntries()) window.long.push(one.duration); })
    .observe({ type: "longtask", buffered: true });
}"""


def board(tanks: int, chromium: str) -> None:
    """First paint and bytes of the board from a cold cache, and how long it takes to answer a key."""
    from playwright.sync_api import sync_playwright

    runs = 3 if SHORT else 7
    with console(tanks, 1.0) as (where, _), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        paints, sizes, bare = [], [], []
        for _ in range(runs):
            context = browser.new_context(viewport={"width": 1920, "height": 1080})
            page = context.new_page()
            page.goto(f"http://{where}/", wait_until="load")
            page.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
            told: dict[str, Any] = page.evaluate(PAINT)
            paints.append(told["paint_ms"])
            sizes.append(told["bytes"])
            page.goto(f"http://{where}/api/site", wait_until="load")
            page.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
            bare.append(page.evaluate(PAINT)["paint_ms"])
            context.close()
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        page.goto(f"http://{where}/", wait_until="load")
        page.evaluate(WATCH_EVENTS)
        for _ in range(20):
            page.keyboard.press("Tab")
            page.wait_for_timeout(120)
        slowest = page.evaluate("window.slowest")
        tasks = page.evaluate("window.long")
        browser.close()
    paint, line = statistics.median(paints), statistics.median(bare)
    key_ms, task_ms = max(slowest, default=16), max(tasks, default=0)
    print(
        f"{tanks:3d} tanks: first paint {paint:.0f} ms (most {max(paints):.0f}; aim at 20: 500), "
        f"{paint / line:.1f} times a line of text ({line:.0f} ms); {max(sizes) / 1000:.1f} kB (aim at 20: 60); "
        f"a key is answered within {key_ms:.0f} ms (aim at 200: 100), longest task {task_ms:.0f} ms"
    )


def left_open(chromium: str) -> None:
    """Memory of the board's page while the feed runs fast: the heap after garbage collection, and the DOM."""
    from playwright.sync_api import sync_playwright

    with console(20, 0.01) as (where, server), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page()
        page.goto(f"http://{where}/", wait_until="load")
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable")

        def held() -> tuple[float, int, int]:
            session.send("HeapProfiler.collectGarbage")
            told = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
            return told["JSHeapUsedSize"] / 1e6, int(told["Nodes"]), int(told["JSEventListeners"])

        def state() -> int:
            with urllib.request.urlopen(f"http://{where}/api/live", timeout=10) as answer:
                return int(json.load(answer)["seq"])

        page.wait_for_timeout(3000)
        first, began, memory = held(), state(), server.memory_info().rss
        print(f"left open: heap {first[0]:.2f} MB, {first[1]} nodes, {first[2]} listeners at the beginning")
        while state() - began < WEEKS_STATES:
            page.wait_for_timeout(1000)
        last, states, grown = held(), state() - began, server.memory_info().rss - memory
        print(
            f"after {states} states: heap {last[0]:.2f} MB ({last[0] / first[0]:.3f} of the beginning), "
            f"{last[1]} nodes, {last[2]} listeners; server {grown / 1e6:+.1f} MB"
        )
        browser.close()


if __name__ == "__main__":
    feed(20)
    feed(200)
    found = shutil.which("chromium")
    if found is None:
        print("no chromium: first paint and a page left open were not measured")
    else:
        for tanks in (20, 200):
            board(tanks, str(found))
        left_open(str(found))
