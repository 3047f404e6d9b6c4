"""The embedded store beside two time-series servers, on the same data in the same run.

`python -m tests.bench.bench_store [--short]`. Twenty tanks at one reading a second, eight figures each: current, level,
temperature, water, TOV, GOV, GSV and mass. The data are simulated: converter steps of 16 bits over 4 to 20 mA, noise of
0.4 mm, draws and receipts; five figures follow from the level by the model of an invented tank. Each store gives them
all back. VictoriaMetrics 1.79 (Debian) is not durable when it answers; InfluxDB 1.6 (Debian, behind a proxy that
rewrites a path) is. Ten years of a farm are generated block by block and then asked as the daemon asks.
"""

import argparse
import contextlib
import json
import math
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from gaugehouse.deriving import ModelDeriver
from history.block import FACTOR, FIGURES, Columns, Deriver, Measured
from history.codec import Column, whole
from history.sqlite import SqliteStore
from models.capacity import CapacityTable
from models.quantity import Product, Vessel
from models.reading import Bound, Quality, Reading, Reason
from tests.tsdb import influx, size_of, victoria_metrics

TANKS = 20
DAY_S = 86_400
DAY_MS = DAY_S * 1000
START_MS = 1_767_225_600_000
EIGHT = ("current_mA", "level_m", "temperature_degC", "water_m", "tov_m3", "gov_m3", "gsv_m3", "mass_kg")
BATCH = 5000


def model() -> ModelDeriver:
    """An invented upright tank of 78.5 m3 per metre, slightly barrelled, with jet fuel and a loop over 12 m."""
    levels = np.arange(0, 12.801, 0.01)
    table = CapacityTable(levels.tolist(), (78.54 * levels + 0.02 * np.sin(levels)).tolist())
    return ModelDeriver("invented", Vessel(table, 13.2), Product("jet", 800.0), (0.2, 12.2))


class Models:
    """The one model for every tank, as the store asks for it."""

    def __init__(self) -> None:
        self._model = model()

    def current(self, tank: str) -> Deriver:
        return self._model

    def definition(self, tank: str) -> str:
        return self._model.definition()

    def earlier(self, tank: str, version: str, definition: str) -> Deriver | None:
        return None


def generated(
    rng: np.random.Generator, start_ms: int, step_ms: int, count: int, first_seq: int, deriver: Deriver
) -> Columns:
    """A stretch of one tank, figures as the core would tell them: worked out from the unrounded level."""
    at = start_ms + np.arange(count, dtype=np.int64) * step_ms
    t = at / 1000.0
    true = 6.2 + 4.5 * np.abs((t / 40_000) % 2 - 1) - 2 + rng.normal(0, 0.0004, count)
    current = np.float32(4 + np.rint((true - 0.2) / 12 * 65_535) * (16 / 65_535)).astype(np.float64)
    level = 0.2 + (current - 4) / 16 * 12
    temperature = np.round(27 + 2.5 * np.sin(t * 2 * math.pi / DAY_S) + rng.normal(0, 0.02, count), 1)
    water = np.round(0.012 + 0.002 * np.sin(t / 500_000), 3)
    measured = Measured(at, np.zeros(count, np.int64), level, temperature, water)
    found = {**deriver.derive(measured, FIGURES), "temperature_degC": temperature, "water_m": water, "level_m": level}
    figures: dict[str, Column] = {}
    for name in FIGURES:
        values = found.get(name)
        if values is None:
            figures[name] = Column(np.zeros(count, np.int64), np.zeros(count, np.bool_))
        else:
            figures[name] = whole(np.rint(values * FACTOR[name]).astype(np.int64))
    jitter = rng.integers(0, 9, count)
    seq = first_seq + np.arange(count, dtype=np.int64) * TANKS + rng.integers(0, 3, count)
    return Columns(seq, at + jitter, np.zeros(count, np.int64), whole(level), figures)


def readings_of(columns: Columns, tank: str) -> list[Reading]:
    """Readings with the level to its last bit, as the core makes them."""
    values = {name: (columns.figures[name].values / FACTOR[name]).tolist() for name in EIGHT}
    fine, seq, at = columns.fine_m.values.tolist(), columns.seq.tolist(), columns.time_ms.tolist()
    return [
        Reading(seq[i], at[i], tank, Quality.GOOD, Reason.NONE, values["current_mA"][i], fine[i],
                values["temperature_degC"][i], values["water_m"][i], values["tov_m3"][i], values["gov_m3"][i],
                values["gsv_m3"][i], values["mass_kg"][i], stock_quality=Quality.GOOD, bound=Bound.NONE)
        for i in range(len(seq))
    ]  # fmt: skip


def only_eight(columns: Columns) -> Columns:
    """Without the figures that the peers are not given."""
    empty = Column(np.zeros(len(columns), np.int64), np.zeros(len(columns), np.bool_))
    figures = {name: columns.figures[name] if name in EIGHT else empty for name in FIGURES}
    return Columns(columns.seq, columns.time_ms, columns.status, columns.fine_m, figures)


def lines_of(columns: Columns, tank: str) -> list[str]:
    values = [(columns.figures[name].values / FACTOR[name]).tolist() for name in EIGHT]
    return [
        f"reading,tank={tank} " + ",".join(f"{name}={v!r}" for name, v in zip(EIGHT, row, strict=True)) + f" {at}"
        for at, *row in zip(columns.time_ms.tolist(), *values, strict=True)
    ]


def post(url: str, lines: Sequence[str]) -> None:
    body = "\n".join(lines).encode()
    request = urllib.request.Request(f"{url}/api/v2/write?org=o&bucket=tanks&precision=ms", body)
    with urllib.request.urlopen(request, timeout=60) as answer:
        assert answer.status == 204, answer.status


def timed(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def best(call: Callable[[], object], times: int = 7) -> float:
    return statistics.median(timed(call) for _ in range(times))


def spread(times: Sequence[float]) -> str:
    ordered = sorted(times)
    return f"p50 {statistics.median(ordered) * 1e3:6.2f} ms   p99 {ordered[len(ordered) * 99 // 100] * 1e3:6.2f} ms"


def get(url: str, **question: object) -> object:
    with urllib.request.urlopen(f"{url}?{urllib.parse.urlencode(question)}", timeout=60) as answer:
        return json.loads(answer.read())


def beside_servers(folder: Path, hours: int) -> None:
    """The same hours of twenty tanks into three stores; what they cost, and what they take to answer."""
    models, rng = Models(), np.random.default_rng(2026)
    now = models.current("")
    data = {f"T-{k}": only_eight(generated(rng, START_MS, 1000, hours * 3600, 1 + k * 3, now)) for k in range(TANKS)}
    values = TANKS * hours * 3600 * len(EIGHT)
    store = SqliteStore.open(folder / "ours.sqlite", "BENCH", models=models)
    with victoria_metrics(folder / "vm") as vm, influx(folder / "influx") as flux:
        one_second(store, vm.url, flux.url, data)
        ours = timed(lambda: [store.append(readings_of(c.take(slice(600, None)), tank)) for tank, c in data.items()])
        text = [lines_of(c.take(slice(600, None)), tank) for tank, c in data.items()]
        batches = [lines[i : i + BATCH] for lines in text for i in range(0, len(lines), BATCH)]
        theirs = [timed(lambda url=url: [post(url, batch) for batch in batches]) for url in (vm.url, flux.url)]
        print(f"{values / 1e6:.1f} million values: ours {ours:.1f} s as single readings; as text of {BATCH} lines "
              f"VictoriaMetrics {theirs[0]:.1f} s, InfluxDB {theirs[1]:.1f} s")  # fmt: skip
        sealing = timed(lambda: seal_all(store))
        get_ok(f"{vm.url}/internal/force_flush")
        check(store, data["T-0"], "T-0", hours)
        ask_all(store, vm.url, flux.url, hours)
    store.close()
    whole_file = (folder / "ours.sqlite").stat().st_size / values
    print(
        f"bytes per value given back, {values / 1e6:.1f} million in {len(EIGHT)} columns (sealed in {sealing:.1f} s):"
    )
    bare = blob_sizes(folder / "ours.sqlite") / values
    print(f"  ours            {whole_file:.3f}, with roll-ups; {bare:.3f} without (aim 0.40)")
    print(f"  VictoriaMetrics {size_of(folder / 'vm') / values:.3f} after stop")
    print(f"  InfluxDB        {size_of(folder / 'influx') / values:.3f}")


def one_second(store: SqliteStore, vm: str, flux: str, data: Mapping[str, Columns]) -> None:
    """Six hundred times the readings of one second, ours as durable as a database can be."""
    minutes = {tank: columns.take(slice(0, 600)) for tank, columns in data.items()}
    readings = [readings_of(columns, tank) for tank, columns in minutes.items()]
    lines = [lines_of(columns, tank) for tank, columns in minutes.items()]
    pragma(store, "synchronous = FULL")
    took: list[list[float]] = [[], [], []]
    for second in range(600):
        batch = sorted((of_tank[second] for of_tank in readings), key=lambda one: one.seq)
        text = [of_tank[second] for of_tank in lines]
        took[0].append(timed(lambda batch=batch: store.append(batch)))
        took[1].append(timed(lambda text=text: post(vm, text)))
        took[2].append(timed(lambda text=text: post(flux, text)))
    pragma(store, "synchronous = NORMAL")
    print(f"one second of {TANKS} tanks x {len(EIGHT)} figures, 600 times:")
    print(f"  ours, durable              {spread(took[0])}   (aim 0.5 and 2)")
    print(f"  VictoriaMetrics, in memory {spread(took[1])}")
    print(f"  InfluxDB, durable          {spread(took[2])}")


def pragma(store: SqliteStore, text: str) -> None:
    writer = store._file._writer
    assert writer is not None
    writer.execute(f"PRAGMA {text}").fetchall()


def get_ok(url: str) -> None:
    urllib.request.urlopen(url, timeout=60).close()


def seal_all(store: SqliteStore) -> None:
    for k in range(TANKS):
        store.seal(f"T-{k}")
    while store.tidy():
        pass
    writer = store._file._writer
    assert writer is not None
    writer.execute("VACUUM")  # as after some days: pages of rows that are sealed are used again
    pragma(store, "wal_checkpoint(TRUNCATE)")


def check(store: SqliteStore, expected: Columns, tank: str, hours: int) -> None:
    """What comes back is what went in."""
    found = store.columns(tank, START_MS - 10, START_MS + hours * 3_600_000 + 10)
    for name in EIGHT:
        values = np.concatenate([part.figures[name].values for part in found])
        assert (values == expected.figures[name].values).all(), name


def blob_sizes(path: Path) -> int:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT sum(length(data)) FROM part WHERE name NOT LIKE '_:%'").fetchone()[0])


def ask_all(store: SqliteStore, vm: str, flux: str, hours: int) -> None:
    """The questions of a page, of each store."""
    span_ms = hours * 3_600_000
    step_s = max(1, hours * 3600 // 1000)
    end_s = START_MS // 1000 + hours * 3600
    span = {"start": START_MS // 1000, "end": end_s, "step": step_s}
    rows: list[tuple[str, float, float, float]] = []
    export = f"{vm}/api/v1/export?match[]=reading_level_m%7Btank=%22T-3%22%7D&start={START_MS // 1000}&end={end_s}"
    questions = [f'{f}_over_time(reading_level_m{{tank="T-3"}}[{step_s}s])' for f in ("min", "avg", "max")]
    rows.append((
        f"trend of {hours} h, level, 1,000 buckets",
        best(lambda: store.trend("T-3", "level_m", START_MS, span_ms, 1000)),
        best(lambda: [get(f"{vm}/api/v1/query_range", query=q, nocache=1, **span) for q in questions]),
        best(lambda: get(f"{flux}/query", db="tanks", epoch="ms", q=(
            f"SELECT min(level_m),mean(level_m),max(level_m) FROM reading WHERE tank='T-3' AND time >= {START_MS}ms "
            f"AND time < {START_MS + span_ms}ms GROUP BY time({step_s}s) fill(none)"))),
    ))  # fmt: skip
    rows.append((
        f"trend of {hours} h, standard volume, 1,000 buckets",
        best(lambda: store.trend("T-3", "gsv_m3", START_MS, span_ms, 1000)),
        best(lambda: [get(f"{vm}/api/v1/query_range", query=q.replace("level_m", "gsv_m3"), nocache=1, **span)
                      for q in questions]),
        best(lambda: get(f"{flux}/query", db="tanks", epoch="ms", q=(
            f"SELECT min(gsv_m3),mean(gsv_m3),max(gsv_m3) FROM reading WHERE tank='T-3' AND time >= {START_MS}ms "
            f"AND time < {START_MS + span_ms}ms GROUP BY time({step_s}s) fill(none)"))),
    ))  # fmt: skip
    rows.append((
        "last values of all tanks",
        best(lambda: [store.latest(f"T-{k}") for k in range(TANKS)]),
        best(lambda: get(f"{vm}/api/v1/query", query="last_over_time(reading_level_m[10m])", time=end_s, nocache=1)),
        best(lambda: get(f"{flux}/query", db="tanks", q="SELECT last(level_m) FROM reading GROUP BY tank")),
    ))  # fmt: skip
    rows.append((
        f"raw {hours} h of one tank, 8 columns (VictoriaMetrics: one)",
        best(lambda: store.columns("T-3", START_MS, START_MS + span_ms, EIGHT)),
        best(lambda: _bytes(export)),
        best(lambda: get(f"{flux}/query", db="tanks", epoch="ms", q="SELECT * FROM reading WHERE tank='T-3'"), 3),
    ))  # fmt: skip
    print(f"{'':55}{'ours':>10}{'Victoria':>10}{'Influx':>10}  (ms, median)")
    for name, *times in rows:
        print(f"  {name:53}" + "".join(f"{t * 1e3:10.1f}" for t in times))


def _bytes(url: str) -> bytes:
    with urllib.request.urlopen(url, timeout=60) as answer:
        return bytes(answer.read())


def years(folder: Path, count: int, tanks: int, step_ms: int) -> None:
    """Years of a farm, generated block by block; then opened and asked in a process of its own."""
    path = folder / "years.sqlite"
    path.unlink(missing_ok=True)
    models, rng = Models(), np.random.default_rng(7)
    now = models.current("")
    store = SqliteStore.open(path, "BENCH", models=models)
    per_day = DAY_MS // step_ms
    begun = time.perf_counter()
    for day in range(count * 365):
        for k in range(tanks):
            first_seq = 1 + day * per_day * TANKS
            store.append_columns(f"T-{k}", generated(rng, START_MS + day * DAY_MS, step_ms, per_day, first_seq, now))
    store.close()
    values, size = count * 365 * tanks * per_day * len(EIGHT), path.stat().st_size
    print(f"{count} years of {tanks} tanks, a reading every {step_ms / 1000:g} s: {values / 1e6:,.0f} million values, "
          f"{size / 1e6:,.0f} MB, {size / values:.3f} bytes a value with roll-ups and the other figures; made in "
          f"{time.perf_counter() - begun:.0f} s")  # fmt: skip
    command = [sys.executable, "-m", "tests.bench.bench_store", "--ask", str(path), "--years", str(count)]
    subprocess.run(command, check=True)


def ask_years(path: Path, count: int) -> None:
    begun = time.perf_counter()
    store = SqliteStore.open(path, "BENCH", models=Models())
    opened = time.perf_counter() - begun
    first = timed(lambda: store.latest("T-0"))
    end_ms = START_MS + count * 365 * DAY_MS
    print(f"  open {opened * 1e3:.0f} ms (aim 1000), the newest reading {first * 1e3:.1f} ms")
    for name, days, points, aim in (("1 day", 1, 1000, 4), ("30 days", 30, 1500, 10), ("1 year", 365, 1500, 20)):
        for age, at_ms in (("newest", end_ms - days * DAY_MS), ("oldest", START_MS)):
            told = []
            for quantity in ("level_m", "gsv_m3"):
                question = ("T-0", quantity, at_ms + 777, days * DAY_MS, points)
                took = [timed(lambda question=question: store.trend(*question)) for _ in range(7)]
                told.append(f"{statistics.median(took) * 1e3:.1f} ms (first {took[0] * 1e3:.1f})")
            print(f"  trend of {name} in {points} points, {age}: level {told[0]}, standard volume {told[1]}; aim {aim}")
    took_s = best(lambda: store.columns("T-0", end_ms - DAY_MS, end_ms, EIGHT))
    print(f"  raw day of one tank, 8 columns: {took_s * 1e3:.1f} ms (aim 15)")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  memory of the process that asked: at most {most:.0f} MB (aim 200)")
    store.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--short", action="store_true", help="2 hours and a month instead of a day and ten years")
    parser.add_argument("--ask", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--years", type=int, default=10, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.ask:
        ask_years(args.ask, args.years)
        return
    if shutil.which("victoria-metrics") is None or shutil.which("influxd") is None:
        print("left out: the servers to compare with (Debian packages victoria-metrics and influxdb) are not installed")
    else:
        with TemporaryDirectory(prefix="gaugehouse-bench-") as name:
            beside_servers(Path(name), 2 if args.short else 24)
    with TemporaryDirectory(prefix="gaugehouse-bench-") as name:
        years(Path(name), 1 if args.short else 10, 1 if args.short else 20, 60_000)
        if not args.short:
            years(Path(name), 1, 2, 1000)


if __name__ == "__main__":
    main()
