"""A site whose papers, readings and closes go through the core into a real record book, for tests of the stock book."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gaugehouse.acts import Answer, act_of
from gaugehouse.bookview import Closing, book_json, closing
from gaugehouse.core import Core, Tick
from gaugehouse.days import Days, parse_ms
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of, stock_of
from history.book import RecordBook
from history.chain import Entry
from models.quantity import Gauging
from models.reading import GOOD, NO_REASON, Instant, Quality, Reading
from models.stock_budget import Rest
from tests.gaugehouse.sites import LOOP_SITE

SECOND = """
[[tank]]
id = "ridge"
name = "Ridge"
product = "jet"
level = "palm-top.current"
temperature = "palm-top.temperature"
water = "none"
measures = "innage"
at_4mA = "0 m"
at_20mA = "12 m"
reference_height = "13.5 m"
shape = {{ kind = "upright", diameter = "10 m", height = "13 m" }}
"""
ACCEPTED = 'accepted_by = "the stock keeper"'
PLACES = """
[[stock.documents.place]]
id = "bowser"
name = "Refueller 1"
kind = "refueller"
product = "jet"
"""
METER = """
[[stock.documents.meter]]
id = "rack"
tank = "palm"
direction = "out"
"""
RULE = """
[stock.accounts]
rule = "flow-through"
"""


def site_text(*, zone: str = "Etc/UTC", day_starts: str = "00:00", accepted: bool = True, more: str = "") -> str:
    head = LOOP_SITE.replace('zone = "Etc/UTC"', f'zone = "{zone}"\nday_starts = "{day_starts}"') + SECOND
    if accepted:
        head = head.replace('reference_height = "13.5 m"', f'reference_height = "13.5 m"\n{ACCEPTED}')
    return head + PLACES + METER + more


class Ledger:
    """A site with a record book on disk. Time moves only when told to; readings are those that were put in."""

    def __init__(self, folder: Path, text: str | None = None, at: str = "2026-01-01T12:00:00Z") -> None:
        self.folder = folder
        self.site: Site = self._load(RULE if text is None else text, whole=text is not None)
        self.ms, self.seq = parse_ms(at), 0
        self.readings: dict[str, list[Reading]] = {}
        self.book = RecordBook.open(folder / "records.sqlite", self.site.id)
        self.core: Core = core_of(self.site)

    def _load(self, text: str, *, whole: bool) -> Site:
        path = self.folder / "site.toml"
        path.write_text((text if whole else site_text(more=text)).format(port=1502, period="1 s"), encoding="utf-8")
        return load_site(path)

    def restart(self, text: str | None = None) -> None:
        """As after a crash: everything from the record book; with another site file where one is given."""
        self.book.close()
        if text is not None:
            self.site = self._load(text, whole=True)
        self.book = RecordBook.open(self.folder / "records.sqlite", self.site.id)
        self.core = core_of(self.site)
        self.core.restore(self.book.state())

    def close(self) -> None:
        self.book.close()

    # What people and gauges do

    def do(self, act_name: str, /, **fields: Any) -> Answer:
        act = act_of(act_name, {"by": "Ada"} | fields)
        self.seq, self.ms = self.seq + 1, self.ms + 1000
        at = Instant(self.seq, self.ms, self.seq * 1000)
        result = self.core.step(Tick(at, (), [act]))
        entries = [Entry(one.kind, at.time_ms, at.seq, one.body) for one in result.decisions]
        if entries:
            self.book.commit(entries, self.core.changed_state())
        return result.answers[0]

    def add(self, kind: str, day: str, **fields: Any) -> Answer:
        self.ms = max(self.ms, Days(self.site.zone, self.site.day_starts_min).on(day).start_ms)
        answer = self.do("add_document", kind=kind, day=day, sure=True, **fields)
        assert answer.status.value == "done", answer
        return answer

    def until(self, text: str) -> None:
        self.ms = parse_ms(text)

    def read_at(self, tank: str, ms: int, level_m: float | None, degC: float = 15.0) -> None:
        """A reading of the gauge; None: Bad."""
        self.seq += 1
        if level_m is None:
            reading = Reading(self.seq, ms, tank, Quality.BAD, NO_REASON)
        else:
            model, gauging = stock_of(self.site, tank), Gauging(level_m, degC)
            q = model.calculate(gauging)
            budget = model.budget(q, gauging, Rest.AT_REST)
            assert budget is not None
            reading = Reading(
                self.seq, ms, tank, GOOD, NO_REASON, None, level_m, degC, None, q.tov_m3, q.gov_m3, q.gsv_m3,
                q.mass_kg, stock_quality=GOOD, gsv_u95_m3=budget.expanded,
            )  # fmt: skip
        self.readings.setdefault(tank, []).append(reading)

    def end_of(self, tank: str, day: str, level_m: float | None, degC: float = 15.0, before_ms: int = 1000) -> None:
        """What the gauge tells at the end of a day."""
        end_ms = Days(self.site.zone, self.site.day_starts_min).on(day).end_ms
        self.read_at(tank, end_ms - before_ms, level_m, degC)

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        return iter([one for one in self.readings.get(tank, ()) if start_ms <= one.time_ms < end_ms])

    # The book

    def look(self, kind: str, name: str, **asked: Any) -> dict[str, Any]:
        return book_json(self.site, self, self.book, self.ms, kind, name, **asked)

    def product(self, kind: str, name: str) -> dict[str, Any]:
        found: dict[str, Any] = self.look(kind, name)["products"][0]
        return found

    def tank(self, kind: str, name: str, tank: str = "palm") -> dict[str, Any]:
        found: dict[str, Any] = next(one for one in self.product(kind, name)["tanks"] if one["tank"] == tank)
        return found

    def closing(self, kind: str, name: str, by: str = "Ada") -> Closing:
        return closing(self.site, self, self.book, self.ms, kind, name, "jet", by, "", simulated=True)

    def sign(self, kind: str, name: str, by: str = "Ada") -> Answer:
        found = self.closing(kind, name, by)
        assert not found.obstacles, found.obstacles
        return self.do("close_stock", **found.fields)
