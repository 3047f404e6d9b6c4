"""A commissioning engineer, from an empty site file to a proven loop: docs/guides/commissioning.md."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import ENDS_WITHIN_S, PATIENCE_MS, ROOT, watched
from tests.browser.walks.conftest import SLOW_MS, Camera, Farm, take_step
from tests.ports import free_port

pytestmark = [
    pytest.mark.browser,
    pytest.mark.soak,
    pytest.mark.timeout(300),
]  # a minute of commands; each has tests of its own

WHOLE: Final = Path(__file__).with_name("commissioning.toml")
LOOP: Final = "dune_loop"
STEPS_MA: Final = (4, 8, 12, 16, 20, 20, 16, 12, 8, 4)
NEEDS: Final = ("--by", "Eve")

camera = Camera("commissioning")


class NewFarm(Farm):
    """The instruments of a farm that has no daemon yet, a folder for its site file, and the daemon once it is run."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.daemon: subprocess.Popen[str] | None = None
        self.line_port = 0

    def start(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        word, _, ports = self.begin("tests.browser.walks.lines").partition(" ")
        assert word == "ready"
        self.line_port = int(ports.split()[1])

    def write(self, text: str) -> None:
        """The site file, with the ports of this run in place of its own."""
        mine = {"port = 1502\n": self.line_port, "port = 1503\n": free_port(), "port = 8600\n": self.port}
        for standing, port in mine.items():
            text = text.replace(standing, f"port = {port}\n")
        self.site.write_text(text, encoding="utf-8")

    def says(self, *words: str, status: int = 0) -> str:
        """What a command prints; fails where it ends otherwise than expected."""
        done = subprocess.run(
            [sys.executable, "-m", "gaugehouse.cli", *words],
            cwd=self.folder,
            capture_output=True,
            text=True,
            timeout=250,
            check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        assert done.returncode == status, (words, done.stdout, done.stderr)
        return done.stdout + done.stderr

    def run(self) -> None:
        self.daemon = subprocess.Popen(
            [sys.executable, "-m", "tests.browser.walks.run", str(self.site)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        assert self.daemon.stdout is not None
        assert self.daemon.stdout.readline().startswith("ready")

    def kill(self) -> None:
        if self.daemon is not None:
            self.daemon.kill()
            self.daemon.wait(ENDS_WITHIN_S)
            assert self.daemon.stdout is not None
            self.daemon.stdout.close()
        super().kill()


@pytest.fixture(scope="module")
def new(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NewFarm]:
    with NewFarm(tmp_path_factory.mktemp("new")) as made:
        yield made
    camera.develop()


@pytest.fixture
def page(browser: Browser, new: NewFarm) -> Iterator[Page]:
    expect.set_options(timeout=SLOW_MS)
    with watched(browser, new) as context:
        yield in_the_office(context)
    expect.set_options(timeout=PATIENCE_MS)


def in_the_office(context: BrowserContext) -> Page:
    context.set_default_timeout(SLOW_MS)
    page = context.new_page()
    page.set_viewport_size({"width": 1200, "height": 800})
    return page


def what_answers_on_the_line(new: NewFarm) -> None:
    """A file that has only begun; the line is looked at, and the level that was just dipped is found in it."""
    new.write("")
    assert "where to begin" in new.says("check", "site.toml", status=2)
    whole = WHOLE.read_text(encoding="utf-8")
    new.write(whole[whole.index("[[bus]]") : whole.index("[[instrument]]")])
    level_mm = round(1000 * new.truth("dune")["level_m"])
    ways = ("--units", "1", "--addresses", "0-7", "--level", f"{level_mm} mm", "--range", "0 m", "2.5 m")
    found = new.says("read", "site.toml", "--explore", "ramp", *ways)
    assert re.search(r"^ +1 +4 +0 +1 +float32 +high first +high first +current, mA", found, re.MULTILINE)
    assert re.search(r"^ +1 +4 +2 +3 +int16 or uint16 .* level, mm", found, re.MULTILINE)


def the_site_file(new: NewFarm) -> None:
    """One mistake at a time is told with its mend; then the plan, the capacities, the map."""
    whole = WHOLE.read_text(encoding="utf-8")
    new.write(whole)
    said = new.says("check", "site.toml", status=2)
    assert "tank[dune].capacity: capacity table dune.csv cannot be read" in said
    made = new.says("capacity", "shape", "lying", "--diameter", "2.5 m", "--length", "9 m", "--out", "dune.csv")
    assert "no calibration certificate: at least 1 % of volume" in made
    new.write(whole.replace('critical_high = "2.40 m"', 'critical_high = "2.48 m"').replace("limiter", "limitor"))
    said = new.says("check", "site.toml", status=2)
    assert "2 mistakes" in said
    assert "limits.critical_high: 2.48 m is beyond the reach of dune_loop.level" in said
    assert 'did you mean "limiter"?' in said
    new.write(whole)
    said = new.says("check", "site.toml")
    assert "no mistakes" in said
    assert "alarms of the gauge are not independent" in said
    assert "registers 0-3: current, level, temperature" in said
    said = new.says("check", "site.toml", "--map")
    assert "not for interlocks, trips or custody transfer" in said
    assert re.search(r"100 +uint16 +quality", said)


def asked_once(new: NewFarm) -> None:
    """Every step from the raw registers to the mass; the supply's budget."""
    said = new.says("read", "site.toml")
    assert "Good, asked on the wire" in said
    assert re.search(r"^GSV +gross standard volume at 15 degC", said, re.MULTILINE)
    assert "dune_loop" in new.says("loop", "budget", "site.toml")


def the_loop_is_proven(new: NewFarm, page: Page) -> None:
    """With a phone at the instrument: five points up and down, then the paper."""
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{new.url}/loops/{LOOP}/check")
    page.get_by_label("Your name").fill("Eve")
    page.get_by_label("Work permit").fill("PTW-1")
    page.get_by_label("How it is known that nothing flows").fill("valves shut and locked")
    page.get_by_role("button", name=re.compile("Begin the check")).click()
    expect(page.locator("#said")).to_have_text("Begun. Apply 4 mA.")
    for i, point in enumerate(STEPS_MA):
        new.breaks(LOOP, "saturated", float(point))
        expect(page.locator("main")).to_contain_text(f"{point}.00")
        if i == 4:
            camera.take(page, "3-phone", 1180)
        if i == 0:
            new.says("loop", "check", "step", "site.toml", LOOP, *NEEDS, "--wait", "30 s")
        else:
            take_step(page, point, "upward" if i < 5 else "downward", lambda: page.wait_for_timeout(500))
        expect(page.locator("#now table.steps tbody tr")).to_have_count(i + 1)
        new.mend(LOOP)
    expect(page.locator("#now caption")).to_contain_text("within the limit")
    page.get_by_label("Reference instrument and its number").fill("loop calibrator 4711")
    page.get_by_role("button", name="Finish and keep the record").click()
    expect(page.locator("#said")).to_have_text("Ended: the loop measures again. Record 1.")


def handed_over(new: NewFarm, page: Page) -> None:
    """What goes into the folder: sheet, map, record, the head of the record book; and who takes it over."""
    page.set_viewport_size({"width": 1200, "height": 800})
    new.says("alarms", "site.toml", "--sheet", "--pdf", "sheet.pdf")
    assert (new.folder / "sheet.pdf").read_bytes().startswith(b"%PDF")
    new.says("handover", "site.toml", *NEEDS, "--notes", "loop of Dune proven, record 1; no dip yet")
    page.goto(f"{new.url}/reports/handover")
    expect(page.locator("main")).to_contain_text("loop of Dune proven, record 1")
    camera.take(page, "5-handover")
    head = re.search(r"\d+:[0-9a-f]{64}", page.locator("main").inner_text())
    assert head is not None
    assert "unbroken" in new.says("verify", "site.toml", "--against", head[0])


def test_from_an_empty_file_to_a_proven_loop(page: Page, new: NewFarm) -> None:
    what_answers_on_the_line(new)
    the_site_file(new)
    asked_once(new)
    new.run()
    page.goto(f"{new.url}/tank/dune")
    expect(page.locator("[data-q=good]").first).to_be_visible()
    camera.take(page, "1-tank", 1250)
    page.goto(f"{new.url}/loops/{LOOP}")
    expect(page.locator(".budget")).to_contain_text("Spare volts")
    camera.take(page, "2-loop", 1250)
    the_loop_is_proven(new, page)
    page.set_viewport_size({"width": 1200, "height": 800})
    page.goto(f"{new.url}/loops/{LOOP}/check")
    expect(page.locator("table.records tbody tr")).to_contain_text("finished")
    expect(page.locator("p.checks")).to_be_hidden()
    camera.take(page, "4-record", 980)
    handed_over(new, page)
