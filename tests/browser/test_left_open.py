"""Pages left open for simulated weeks, beside a whole daemon at speed: heap, nodes and listeners stay what they were.

For `make soak`: GAUGEHOUSE_SOAK_WEEKS=4 of them at GAUGEHOUSE_SOAK_PAGES=6000 times real time, seven minutes.
"""

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from playwright.sync_api import Browser, CDPSession

from tests.fault.lives import lived

pytestmark = [pytest.mark.browser, pytest.mark.soak]

PAGES: Final = ("/", "/tank/north", "/trends?tanks=north&span=86400", "/alarms", "/buses", "/loops", "/yard")
WEEK_S: Final = 604_800
LOOKS: Final = 20
ROOM_MB: Final = 2.0
"""What a heap may hold more at the end: a state under way, compiled code. Growth over weeks would be a multiple."""


class Held(NamedTuple):
    """What a page holds after garbage collection."""

    heap_mb: float
    nodes: int
    listeners: int


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[tuple[str, float]]:
    speed = os.environ.get("GAUGEHOUSE_SOAK_PAGES", "6000")
    with lived(tmp_path, speed) as client:
        yield str(client.base_url).rstrip("/"), float(speed)


def held(session: CDPSession) -> Held:
    session.send("HeapProfiler.collectGarbage")
    told = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
    return Held(told["JSHeapUsedSize"] / 2**20, int(told["Nodes"]), int(told["JSEventListeners"]))


def test_pages_left_open_for_simulated_weeks_hold_no_more_than_at_the_beginning(
    browser: Browser, farm: tuple[str, float]
) -> None:
    url, speed = farm
    weeks = float(os.environ.get("GAUGEHOUSE_SOAK_WEEKS", "4"))
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    sessions = {}
    for path in PAGES:
        page = context.new_page()
        page.goto(url + path, timeout=120_000)
        sessions[path] = page.context.new_cdp_session(page)
        sessions[path].send("Performance.enable")
    looks: dict[str, list[Held]] = {path: [] for path in PAGES}
    for _ in range(LOOKS):
        time.sleep(weeks * WEEK_S / speed / LOOKS)
        for path, session in sessions.items():
            looks[path].append(held(session))
    context.close()
    grew = []
    for path, found in looks.items():
        early, late = found[LOOKS // 4], found[-1]
        print(
            f"{path:32} heap {early.heap_mb:.2f} then {late.heap_mb:.2f} MB, nodes {early.nodes} then {late.nodes}, "
            f"listeners {early.listeners} then {late.listeners}"
        )
        least = min(one.heap_mb for one in found[-5:])
        if least > early.heap_mb + ROOM_MB or late.listeners > early.listeners + 5:
            grew.append(f"{path}: {early} then {late}")
    print(f"{weeks:g} simulated weeks at {speed:g} times real time")
    assert grew == []
