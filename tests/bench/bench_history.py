"""What the stores cost: commits, rows, trends and bytes, against bare SQLite with the same rows in the same run.

`python -m tests.bench.bench_history [--short]`. Bare SQLite: `executemany` of rows that are whole numbers already, into
one table with the same columns, key and settings; it neither scales, nor checks seq, nor rolls up. Both sides take
turns, so that a busy machine troubles both alike. The data are simulated: a level that rises and falls with 0.4 mm of
noise, 14 figures a reading, one reading a second.
"""

import argparse
import random
import sqlite3
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from history.book import RecordBook
from history.chain import Entry
from history.scale import COLUMNS, row_of
from history.sqlite import SqliteStore
from models.reading import QUANTITIES, Bound, Quality, Reading, Reason

TANKS = 20
DAY_S = 86_400
START_MS = 1_767_225_600_000
DAY_AIM_S, LONG_AIM_S = 0.150, 1.0


def simulated(tank: str, seq: int, noise: random.Random) -> Reading:
    level = 6 + 4 * abs((seq % 40_000) / 20_000 - 1) + noise.gauss(0, 0.0004)
    tov = level * 78.54
    return Reading(
        seq, START_MS + seq * 1000, tank, Quality.GOOD, Reason.NONE,
        4 + level * 16 / 12, level, 15.1 + level / 100, 0.012, tov, tov - 0.9, tov * 0.998, tov * 797.2,
        level * 8, level * 8.1, 12.5 - level, noise.gauss(0, 3),
        Quality.GOOD, Bound.NONE, 1.2, 3.25,
    )  # fmt: skip


class Bare:
    """The least that keeps the same rows."""

    def __init__(self, path: Path, synchronous: str) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        self._connection.execute("PRAGMA journal_mode = WAL")
        self._connection.execute(f"PRAGMA synchronous = {synchronous}")
        columns = ", ".join(f"{column} INTEGER" for column in COLUMNS)
        self._connection.execute(f"CREATE TABLE r (tank INTEGER, {columns}, PRIMARY KEY (tank, seq)) WITHOUT ROWID")
        self._insert = f"INSERT INTO r VALUES (?{', ?' * len(COLUMNS)})"

    def append(self, rows: Sequence[tuple]) -> None:
        self._connection.execute("BEGIN")
        self._connection.executemany(self._insert, rows)
        self._connection.execute("COMMIT")

    def close(self) -> None:
        self._connection.close()


def timed(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def ticks(count: int, noise: random.Random, first: int = 1) -> Iterator[list[Reading]]:
    for seq in range(first, first + count):
        yield [simulated(f"T-{tank}", seq, noise) for tank in range(TANKS)]


def plain(readings: Sequence[Reading]) -> list[tuple]:
    return [(int(one.tank[2:]), *row_of(one)) for one in readings]


def spread(times: Sequence[float]) -> str:
    ordered = sorted(times)
    return f"p50 {statistics.median(ordered) * 1e3:.2f} ms, p99 {ordered[len(ordered) * 99 // 100] * 1e3:.2f} ms"


def ratio(ours: Sequence[float], bare: Sequence[float]) -> str:
    return f"ratio of medians {statistics.median(ours) / statistics.median(bare):.2f}"


def one_second(folder: Path, count: int) -> None:
    """A tick of 20 tanks at a time: the readings alone, and as many chained records flushed to the disk."""
    noise = random.Random(1)
    store, quick = SqliteStore.open(folder / "ticks.sqlite", "BENCH"), Bare(folder / "quick.sqlite", "NORMAL")
    book, sure = RecordBook.open(folder / "book.sqlite", "BENCH"), Bare(folder / "sure.sqlite", "FULL")
    times: list[list[float]] = [[], [], [], []]
    for seq, tick in enumerate(ticks(count, noise), start=1):
        rows = plain(tick)
        entries = [
            Entry("alarm", one.time_ms, seq, {"tank": one.tank, "event": "raised", "level_m": one.level_m})
            for one in tick
        ]
        state = {f"{one.tank}.high": f"unacknowledged since {seq}" for one in tick}
        times[0].append(timed(lambda tick=tick: store.append(tick)))
        times[1].append(timed(lambda rows=rows: quick.append(rows)))
        times[2].append(timed(lambda entries=entries, state=state: book.commit(entries, state)))
        times[3].append(timed(lambda rows=rows: sure.append(rows)))
    print(f"one second of {TANKS} tanks, {count} times:")
    print(f"  readings: {spread(times[0])} (bare {spread(times[1])}; {ratio(times[0], times[1])})")
    print(f"  20 records and 20 states, durable: {spread(times[2])}")
    print(f"    (20 bare rows, durable: {spread(times[3])}; {ratio(times[2], times[3])})")
    print(f"  verify of {TANKS * count} records: {timed(book.verify):.2f} s")
    for each in (store, quick, book, sure):
        each.close()


def many_rows(folder: Path, turns: int) -> None:
    """A hundred ticks to a transaction, as after the store was away."""
    noise = random.Random(2)
    store, bare = SqliteStore.open(folder / "rows.sqlite", "BENCH"), Bare(folder / "bare.sqlite", "NORMAL")
    ours, theirs = [], []
    for turn in range(turns):
        batch = [one for tick in ticks(100, noise, 1 + turn * 100) for one in tick]
        rows = plain(batch)
        ours.append(timed(lambda batch=batch: store.append(batch)))
        theirs.append(timed(lambda rows=rows: bare.append(rows)))
    per_batch = 100 * TANKS
    print(f"{turns} batches of {per_batch} rows: {per_batch / statistics.median(ours):,.0f} rows/s "
          f"(bare {per_batch / statistics.median(theirs):,.0f}; {ratio(ours, theirs)})")  # fmt: skip
    store.close()
    bare.close()
    size = (folder / "rows.sqlite").stat().st_size / (turns * per_batch)
    print(f"on disk: {size:.1f} bytes a reading with its roll-ups, {size / len(QUANTITIES):.2f} a value")


def trends(folder: Path, days: int) -> None:
    noise = random.Random(3)
    store = SqliteStore.open(folder / "trend.sqlite", "BENCH")
    for first in range(1, days * DAY_S + 1, 20_000):
        store.append([simulated("T-1", seq, noise) for seq in range(first, min(first + 20_000, days * DAY_S + 1))])
    for name, span_s, aim_s in (("a day", DAY_S, DAY_AIM_S), (f"{days} days", days * DAY_S, LONG_AIM_S)):
        for points in (300, 1500, 2000):
            start_ms = START_MS + (days * DAY_S - span_s) * 1000 + 777
            question = ("T-1", "tov_m3", start_ms, span_s * 1000, points)
            took = statistics.median(timed(lambda question=question: store.trend(*question)) for _ in range(5))
            print(f"trend of {name} in {points} points: {took * 1e3:.0f} ms (aim at most {aim_s * 1e3:.0f})")
    took = timed(lambda: (store.latest("T-1"), store.latest_good("T-1")))
    print(f"the newest and the last good reading: {took * 1e3:.2f} ms")
    store.close()


def years(folder: Path, count: int) -> None:
    """What a chart of years asks: one reading a minute, so that a store of years is filled in a bearable time."""
    noise = random.Random(4)
    store, minutes = SqliteStore.open(folder / "years.sqlite", "BENCH"), count * 366 * 1440
    for first in range(1, minutes + 1, 20_000):
        batch = (simulated("T-1", seq, noise) for seq in range(first, min(first + 20_000, minutes + 1)))
        store.append([one._replace(time_ms=START_MS + one.seq * 60_000) for one in batch])
    columns = ("tov_m3", "temperature_degC", "level_m", "gsv_m3", "water_m", "rate_m3_per_h")
    for name, days in (("31 days", 31), ("a year", 366), (f"{count} years", count * 366)):
        span_ms = days * 86_400_000
        start_ms = START_MS + minutes * 60_000 - span_ms + 777

        def ask(column: str, start_ms: int = start_ms, span_ms: int = span_ms) -> object:
            return store.trend("T-1", column, start_ms, span_ms, 1500)

        one = statistics.median(timed(lambda ask=ask: ask("tov_m3")) for _ in range(5))
        six = statistics.median(timed(lambda ask=ask: [ask(column) for column in columns]) for _ in range(3))
        print(f"chart of {name} in 1500 points, {minutes:,} readings kept: one series {one * 1e3:.0f} ms, "
              f"six {six * 1e3:.0f} ms (ratio {six / one:.1f})")  # fmt: skip
    store.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--short", action="store_true", help="3 days and fewer turns instead of 30 days")
    short = parser.parse_args().short
    with TemporaryDirectory(prefix="gaugehouse-bench-") as name:
        one_second(Path(name), 500 if short else 5000)
        many_rows(Path(name), 20 if short else 200)
        trends(Path(name), 3 if short else 30)
        years(Path(name), 1 if short else 3)


if __name__ == "__main__":
    main()
