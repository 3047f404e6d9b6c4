"""A site for tests of documents: two jet tanks, one for avgas, two owners' fuel in none of them, places and meters."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from gaugehouse.acts import Answer, act_of
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of
from models.reading import Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE

NOON_MS = 1_790_078_400_000  # 2026-09-22T12:00:00Z
TODAY = "2026-09-22"
DAY_MS = 86_400_000

PLACES = """
[[tank]]
id = "ridge"
name = "Ridge"
product = "jet"
level = "palm-top.current"
measures = "innage"
at_4mA = "0 m"
at_20mA = "12 m"
reference_height = "13.5 m"
shape = {{ kind = "upright", diameter = "10 m", height = "13 m" }}

[[product]]
id = "avgas"
name = "Avgas 100LL"
base_density = "715 kg/m3"

[[stock.documents.place]]
id = "bowser"
name = "Refueller 1"
kind = "refueller"
product = "jet"
capacity = "20 m3"

[[stock.documents.place]]
id = "slop"
kind = "slop"
product = "jet"

[[stock.documents.place]]
id = "avgas-cart"
kind = "refueller"
product = "avgas"

[[stock.documents.meter]]
id = "rack"
tank = "palm"
direction = "out"
factor = 1.002
rolls_over_at = "100000 m3"

[[stock.documents.meter]]
id = "watcher"
tank = "palm"
direction = "out"
compensated = true
counts = "check"
"""

OWNERS = """
[[stock.documents.owner]]
id = "north"
[[stock.documents.owner]]
id = "south"
"""


class Office:
    """A core whose people write papers down; it can be restarted from what it kept."""

    def __init__(self, folder: Path, more: str = "") -> None:
        path = folder / "site.toml"
        path.write_text((LOOP_SITE + PLACES + more).format(port=1502, period="1 s"), encoding="utf-8")
        self.site: Site = load_site(path)
        self.core: Core = core_of(self.site)
        self.ms = NOON_MS
        self.seq = 0
        self.state: dict[str, str] = {}
        self.book: list[Any] = []

    def tick(self, samples: Sequence[Sample] = (), acts: Sequence[Any] = ()) -> StepResult:
        self.seq += 1
        self.ms += 1000
        result = self.core.step(Tick(Instant(self.seq, self.ms, self.seq * 1000), samples, acts))
        self.book += result.decisions
        self.keep()
        return result

    def keep(self) -> None:
        for key, value in self.core.changed_state().items():
            if value is None:
                self.state.pop(key, None)
            else:
                self.state[key] = value

    def restart(self) -> None:
        self.core = core_of(self.site)
        self.core.restore(self.state)

    def do(self, name: str, **fields: Any) -> Answer:
        act = act_of(name, {"by": "Ada"} | fields)
        return self.tick(acts=[act]).answers[0]

    def add(self, kind: str, **fields: Any) -> Answer:
        return self.do("add_document", kind=kind, **({"day": TODAY} | fields))

    def close(self, day: str, product: str = "jet") -> None:
        self.core.documents.close(day, product)
        self.keep()


def opening(
    office: Office, tank: str = "palm", day: str = "2026-09-01", litres: float = 300_000, **more: Any
) -> Answer:
    return office.add("opening balance", tank=tank, day=day, observed=f"{litres} L", **more)
