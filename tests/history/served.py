"""Stores that keep everything on a real server: for the contract suite, which is the same for all.

Written as the product writes: into an embedded file, and from there by the outlet. Read back from the server alone;
only what a server is never asked for (the newest reading, the highest seq) comes from the file.
"""

import json
import urllib.parse
import urllib.request
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Self

from history.both import Both
from history.errors import PointsRejected
from history.influxql import InfluxReadings
from history.lines import FIELDS, MEASUREMENT, reading_from, time_ns
from history.memory import MemoryStore
from history.outlet import Outlet
from history.posting import InfluxPoster
from history.rejects import RejectList
from history.requalify import Requalified
from history.sqlite import SqliteStore
from history.store import Buckets, Trend, grid_of
from history.tidying import Kept
from history.trusting import Trusting
from models.reading import Reading
from tests.history.test_outlet import Where

DATABASE = "tanks"


class Sent(SqliteStore):
    """An embedded file whose readings are all on a server after every append. The site's name keeps tests apart."""

    outlet: Outlet
    poster: InfluxPoster
    server: InfluxReadings
    asked: Trusting

    @classmethod
    def begin(cls, folder: Path, url: str, site: str) -> Self:
        made = cls.open(folder / "readings.sqlite", site)
        made.poster = InfluxPoster(Where(url, bucket=DATABASE), str)
        made.outlet = Outlet("main", site, made, made.poster, RejectList(folder / "rejected.jsonl"))
        made.server = InfluxReadings(url, DATABASE, site, str)
        made.asked = Trusting(made.server)
        return made

    def append(self, readings: Sequence[Reading]) -> None:
        try:
            super().append(readings)
        except PointsRejected:
            self.send()
            raise
        self.send()

    def close(self) -> None:
        self.poster.close()
        self.server.close()
        super().close()

    def requalify(self, found: Requalified) -> None:
        super().requalify(found)
        self.asked.requalified = found

    def send(self) -> None:
        while self.outlet.step() == 0:
            pass
        counters = self.outlet.counters()
        assert (counters.failure, counters.rejected) == ("", 0), counters


class OnInflux(Sent):
    """Everything that is older than the newest reading is asked of the server, in InfluxQL."""

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        self.last_seq()  # says so when it is closed
        return self.asked.read(tank, max(0, start_ms), end_ms)

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        known, grid = grid_of(quantity, start_ms, span_ms, points)
        buckets = Buckets(grid)
        self.asked.fill(buckets, tank, quantity, grid, grid.end_ms)
        return buckets.trend(known)


class Forgetful(Sent):
    """An embedded file that lets days go, as soon as they are over, after they were sent: under `Both`."""

    def append(self, readings: Sequence[Reading]) -> None:
        super().append(readings)
        while self.tidy(Kept(readings_ms=0)):
            pass

    @classmethod
    def both(cls, folder: Path, url: str, site: str) -> Both:
        made = cls.begin(folder, url, site)
        return Both(made, {"main": made.server})


class OnVictoria(Sent):
    """Read back by the test through the export of VictoriaMetrics: the product itself asks it nothing."""

    url = ""
    site = ""

    @classmethod
    def begin(cls, folder: Path, url: str, site: str) -> Self:
        made = super().begin(folder, url, site)
        made.url, made.site = url, site
        return made

    def send(self) -> None:
        super().send()
        urllib.request.urlopen(f"{self.url}/internal/force_flush", timeout=30).close()

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        self.last_seq()
        return (
            self._requalified.reading(one)
            for one in exported(self.url, self.site, tank)
            if start_ms <= one.time_ms < end_ms
        )

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        back = MemoryStore()
        back.append(list(exported(self.url, self.site, tank)))
        back.requalify(self._requalified)
        return back.trend(tank, quantity, start_ms, span_ms, points)


def exported(url: str, site: str, tank: str) -> Iterator[Reading]:
    """What VictoriaMetrics holds of a tank, in the order of seq. Its times are milliseconds."""
    where = f'{{__name__=~"{MEASUREMENT}_.*",site="{site}",tank="{tank}"}}'
    question = urllib.parse.urlencode({"match[]": where, "start": "0", "end": "4102444800"})
    points: dict[int, dict[str, float | None]] = {}
    with urllib.request.urlopen(f"{url}/api/v1/export?{question}", timeout=60) as answer:
        for line in answer:
            series = json.loads(line)
            name = series["metric"]["__name__"].removeprefix(f"{MEASUREMENT}_")
            assert name in FIELDS
            for time_ms, value in zip(series["timestamps"], series["values"], strict=True):
                points.setdefault(time_ms, {})[name] = value
    found = (reading_from(tank, time_ns(time_ms, 0), fields) for time_ms, fields in points.items())
    return iter(sorted((one for one in found if one is not None), key=lambda one: one.seq))
