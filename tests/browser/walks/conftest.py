"""What every walk needs: the demo's farm with a hand on its clock, a person who signs in, and a camera.

A walk is a test that goes the way of a guide in `docs/guides`, with `expect` at each step. With the variable
`GAUGEHOUSE_PICTURES` set it takes the guide's pictures too, into `docs/pictures/guides`:

    GAUGEHOUSE_PICTURES=1 python -m pytest tests/browser/walks

A walk's file may name its moment and its days of past: `BEGINS = "2026-03-10T07:00+00:00"`, `DAYS = 2`.
"""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from gaugehouse.demousers import PASSWORD
from tests.browser.conftest import PATIENCE_MS, ROOT, Server, watched
from tests.browser.walks.smaller import smaller

PICTURES: Final = ROOT / "docs" / "pictures" / "guides"
TAKING: Final = bool(os.environ.get("GAUGEHOUSE_PICTURES"))
BEGIN: Final = "2026-03-10T07:00+00:00"
WIDTH: Final = 1200
SLOW_MS: Final = 60_000
MOST_TRIES: Final = 40


class Farm(Server):
    """The demo, steered: `tests.browser.walks.serve` in a process of its own."""

    def __init__(self, folder: Path, begin: str = BEGIN, days: int = 7) -> None:
        super().__init__()
        self.folder, self.moment, self.days = folder, begin, days
        self.enter = ""

    @property
    def site(self) -> Path:
        """The site file, for commands."""
        return self.folder / "site.toml"

    def start(self) -> None:
        told = self.begin("tests.browser.walks.serve", str(self.port), str(self.folder), self.moment, str(self.days))
        word, _, self.enter = told.partition(" ")
        assert word == "ready", f"the farm did not start: {told}"

    def begin(self, module: str, *words: str) -> str:
        """Start a process that obeys; the first line that it says."""
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, *words],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        return self._answer()

    def _answer(self) -> str:
        assert isinstance(self.process, subprocess.Popen)
        assert self.process.stdout is not None
        line = self.process.stdout.readline().rstrip("\n")
        assert line, f"the farm has ended (exit {self.process.poll()})"
        return line

    def _do(self, what: str, **said: Any) -> dict[str, float]:
        assert isinstance(self.process, subprocess.Popen)
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps({"do": what, **said}) + "\n")
        self.process.stdin.flush()
        answer: dict[str, float] = json.loads(self._answer())
        return answer

    def passes(self, minutes: float, **said: float) -> None:
        """Let so many minutes pass on the site's clock, fast; returns when they have."""
        self._do("pass", minutes=minutes, **said)

    def receive(self, tank: str, m3: float, m3_per_h: float) -> None:
        """So much begins to run into a tank, slowly at first."""
        self._do("receive", tank=tank, m3=m3, m3_per_h=m3_per_h)

    def issue(self, tank: str, m3: float, m3_per_h: float) -> None:
        self._do("issue", tank=tank, m3=m3, m3_per_h=m3_per_h)

    def stop(self, tank: str) -> None:
        """Close what runs into or out of a tank."""
        self._do("stop", tank=tank)

    def breaks(self, instrument: str, kind: str, value: float | None = None) -> None:
        """An instrument breaks, until `mend`; kinds are those of `simulator.faults.FaultKind`."""
        self._do("break", instrument=instrument, kind=kind, value=value)

    def mend(self, instrument: str) -> None:
        self._do("mend", instrument=instrument)

    def truth(self, tank: str) -> dict[str, float]:
        """What is really in a tank (`level_m`) and has ever gone in and out (`received_m3`, `issued_m3`)."""
        return self._do("look", tank=tank)


class Camera:
    """Takes the pictures of a guide, where they are asked for. guide: the first part of their names."""

    def __init__(self, guide: str) -> None:
        self.guide = guide
        self.taken: list[Path] = []

    def take(self, page: Page, name: str, height: int | None = None) -> None:
        """A picture of a page from its head, as high as the window or as told. The mark of simulated data must be on
        it: a picture without it could be taken for a real farm's."""
        expect(page.get_by_text("SIMULATED", exact=True)).to_be_visible()
        if not TAKING:
            return
        size = page.viewport_size
        assert size is not None
        page.evaluate("scrollTo(0, 0)")
        PICTURES.mkdir(parents=True, exist_ok=True)
        path = PICTURES / f"{self.guide}-{name}.png"
        high = height or size["height"]
        path.write_bytes(page.screenshot(full_page=True, clip={"x": 0, "y": 0, "width": size["width"], "height": high}))
        self.taken.append(path)

    def develop(self) -> None:
        """Make the pictures small; takes a while, so it comes after the walk."""
        while self.taken:
            path = self.taken.pop()
            path.write_bytes(smaller(path.read_bytes()))


def signed_in(page: Page, farm: Farm, name: str) -> None:
    """Sign one of the demo's people in (Ana administrator, Ben operator, Cleo maintainer, Dan stock keeper)."""
    page.goto(f"{farm.url}/sign-in?next=/")
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator("#clock")).not_to_be_empty()


def take_step(page: Page, point_mA: int, way: str, wait: Callable[[], object]) -> None:
    """Take a step of a loop check: press until the current was steady for as long as the check wants."""
    button = page.get_by_role("button", name=f"Take as found, {point_mA} mA, {way}")
    for _ in range(MOST_TRIES):
        with page.expect_response(re.compile("/check/step$")) as answer:
            button.click()
        if answer.value.ok:
            return
        wait()
    raise AssertionError(page.locator("#said").inner_text())


@pytest.fixture(scope="module")
def farm(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Farm]:
    """The farm of a walk; a module may say from when and after how many days of past (`BEGINS`, `DAYS`)."""
    module = request.module
    made = Farm(tmp_path_factory.mktemp("walk"), getattr(module, "BEGINS", BEGIN), getattr(module, "DAYS", 7))
    with made:
        yield made
    if hasattr(module, "camera"):
        module.camera.develop()


@pytest.fixture
def context(browser: Browser, farm: Farm) -> Iterator[BrowserContext]:
    """A browser that is patient; a request to anywhere else, and a script error, fail the walk."""
    expect.set_options(timeout=SLOW_MS)
    with watched(browser, farm) as opened:
        opened.set_default_timeout(SLOW_MS)
        yield opened
    expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture
def page(context: BrowserContext) -> Page:
    page = context.new_page()
    page.set_viewport_size({"width": WIDTH, "height": 800})
    return page
