"""Stores that keep everything on a real server: for the contract suite, which is the same for all.

Written as the product writes: into an embedded file, and from there by the outlet. Read back from the server alone;
only what a server is never asked for (the newest reading, the highest seq) comes from the file.
"""

import json
import time
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
KEPT_S = 3640 * 86_400
"""As tests/tsdb.py starts VictoriaMetrics, with some days to spare."""
SHOWN_WITHIN_S = 60.0


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

    def append(self, readings: Sequence[Reading]) -> None:
        try:
            super().append(readings)
        finally:
            for tank in {one.tank for one in readings}:
                times = [one.time_ms for one in readings if one.tank == tank and one.time_ms >= 0]
                self._wait_shown(tank, min(times, default=0), max(times, default=0) + 1)

    def _wait_shown(self, tank: str, start_ms: int, end_ms: int) -> None:
        """Until the server shows every figure that was sent of a time; but for what is older than it keeps."""
        wanted: dict[int, set[str]] = {}
        for one in super().read(tank, max(start_ms, round(1000 * (time.time() - KEPT_S))), end_ms):
            wanted.setdefault(one.time_ms, set()).update(name for name in FIELDS if getattr(one, name) is not None)
        begun_s = time.monotonic()
        while wanted and time.monotonic() - begun_s < SHOWN_WITHIN_S:
            flush(self.url)
            shown = _points(self.url, self.site, tank, start_ms, end_ms)
            if all(names <= shown.get(time_ms, {}).keys() for time_ms, names in wanted.items()):
                return
            time.sleep(0.05)

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


def flush(url: str) -> None:
    """Let VictoriaMetrics show what it has taken: but for what it is sorting just now, which it does not wait for. On a
    busy machine that takes seconds."""
    urllib.request.urlopen(f"{url}/internal/force_flush", timeout=60).close()


def exported(url: str, site: str, tank: str) -> Iterator[Reading]:
    """What VictoriaMetrics shows of a tank, in the order of seq. Its times are milliseconds."""
    points = _points(url, site, tank, 0, 4_102_444_800_000)
    found = (reading_from(tank, time_ns(time_ms, 0), fields) for time_ms, fields in points.items())
    return iter(sorted((one for one in found if one is not None), key=lambda one: one.seq))


def _points(url: str, site: str, tank: str, start_ms: int, end_ms: int) -> dict[int, dict[str, float | None]]:
    where = f'{{__name__=~"{MEASUREMENT}_.*",site="{site}",tank="{tank}"}}'
    question = urllib.parse.urlencode({"match[]": where, "start": str(start_ms / 1000), "end": str(end_ms / 1000)})
    points: dict[int, dict[str, float | None]] = {}
    with urllib.request.urlopen(f"{url}/api/v1/export?{question}", timeout=60) as answer:
        for line in answer:
            series = json.loads(line)
            name = series["metric"]["__name__"].removeprefix(f"{MEASUREMENT}_")
            assert name in FIELDS
            for time_ms, value in zip(series["timestamps"], series["values"], strict=True):
                points.setdefault(time_ms, {})[name] = value
    return points
