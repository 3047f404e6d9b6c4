"""`gaugehouse history export` and `import`: readings out to a file and back in, as they are kept.

An export is put in its place when it is whole. An import is checked row by row before the first is kept; cut off, it
goes on where it stopped when it is called again. Nothing is imported beside a running daemon.
"""

import sys
from argparse import Namespace
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.historyfiles import kind_of, rows_in, writer
from gaugehouse.historyrows import Mistakes, Row, row_of
from gaugehouse.looking import sources_of, span_of
from gaugehouse.printing import as_json
from gaugehouse.progress import progress
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_readings, open_stores
from history.block import columns_of
from history.requalify import AS_MEASURED
from history.scale import row_of as whole_numbers
from history.sqlite import SqliteStore

DAY_MS: Final = 86_400_000
TOLD: Final = 20
"""So many mistakes are named, the others counted."""
AT_ONCE: Final = 200_000
"""Rows of a tank that are kept at once: some days at one a second, more of rarer ones."""
LARGEST_STEP_BACK_MS: Final = 3_600_000


def export(args: Namespace) -> int:
    """`gaugehouse history export`: 0 when the file is whole and in its place."""
    site, path = load_site(Path(args.site)), Path(args.out)
    kind_of(path)
    sources_of(site, args.tank)
    start, end = span_of(args, site)
    if path.exists():
        raise CallError(f"{path}: is there already; remove it or give another name")
    with look_into_readings(site) as store:
        found = [one for one in store.sizes().tanks if args.tank in (None, one.tank)]
        start_ms = max([min((one.oldest_ms for one in found), default=0), *([] if start is None else [start])])
        newest = max((one.newest_ms + 1 for one in found), default=0)
        end_ms = newest if end is None else min(newest, end)
        count = thinned = 0
        try:
            with writer(path) as out, progress("export", max(1, end_ms - start_ms)) as step:
                for day_ms in range(start_ms // DAY_MS * DAY_MS, end_ms, DAY_MS):
                    first, last = max(start_ms, day_ms), min(end_ms, day_ms + DAY_MS)
                    for one in found:
                        for columns in store.columns(one.tank, first, last):
                            out.add(one.tank, columns)
                            count += len(columns)
                    step(last - first)
        except OSError as error:
            raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
        thinned = sum(store.rows_between(one.tank, start_ms, end_ms)[1] for one in found)
    if thinned:
        print(f"{thinned} readings of that time are no longer kept singly and are not in {path}", file=sys.stderr)
    print(as_json({"file": str(path), "readings": count}) if args.json else f"{path}: {count} readings")
    return 0


def import_(args: Namespace) -> int:
    """`gaugehouse history import`: 0 when all rows are kept; 1 when there are mistakes, and then none is."""
    site, path = load_site(Path(args.site)), Path(args.file)
    kind_of(path)
    with open_stores(site) as stores:
        stores.readings.requalify(AS_MEASURED)  # rows are compared with what is kept, not with what is told
        plan = _checked(site, path, stores.readings)
        if plan.wrong:
            print("\n".join(plan.told), file=sys.stderr)
            if plan.wrong > len(plan.told):
                print(f"and {plan.wrong - len(plan.told)} mistakes more", file=sys.stderr)
            print(f"{path}: {plan.wrong} mistakes; nothing was imported", file=sys.stderr)
            return 1
        seq = max(stores.book.last_seq(), stores.readings.last_seq())
        kept = _keep(site, path, stores.readings, plan, seq)
    before = plan.rows - kept
    if args.json:
        print(as_json({"file": str(path), "imported": kept, "there_before": before}))
    else:
        print(f"{path}: {kept} readings imported{f', {before} were there before' if before else ''}")
    return 0


class _Plan:
    """What a file holds. go_on: of each tank the row after which it goes on; 0 for one that begins with the file."""

    def __init__(self) -> None:
        self.rows = 0
        self.wrong = 0
        self.told: list[str] = []
        self.go_on: dict[str, int] = {}

    def mistake(self, text: str) -> None:
        self.wrong += 1
        if len(self.told) < TOLD:
            self.told.append(text)


def _rows(site: Site, path: Path, words: str, plan: _Plan | None = None) -> Iterator[Row]:
    """The rows of a file; with a plan, mistakes go there, without one there are none."""
    tanks = {tank.id: tank for tank in site.tanks}
    with progress(words, 1.0) as step:
        done = 0.0
        for number, cells, far in rows_in(path):
            if far - done > 0.001:
                step(far - done)
                done = far
            try:
                yield row_of(number, cells, tanks)
            except Mistakes as error:
                if plan is None:
                    raise
                plan.mistake(f"{path}, row {number}: {error}")


def _checked(site: Site, path: Path, store: SqliteStore) -> _Plan:
    """Read the whole file once and find out what is wrong with it, and where an import that was cut off goes on."""
    plan = _Plan()
    newest = {}
    for known in site.tanks:
        found = store.latest(known.id)
        if found is not None:
            whole = whole_numbers(found)
            newest[known.id] = whole[1:6], whole[6:]
    last: dict[str, int] = {}
    early: dict[str, Row] = {}
    for row in _rows(site, path, "check", plan):
        plan.rows += 1
        tank, time_ms = row.tank, row.time_ms
        if last.get(tank, time_ms) - time_ms > LARGEST_STEP_BACK_MS:
            plan.mistake(
                f"{path}, row {row.number}: time of tank {tank} falls to {iso_ms(time_ms)}; steps back of up to "
                f"{LARGEST_STEP_BACK_MS // 60_000} min are taken as a clock that was set, larger ones mean that rows "
                "are out of order: sort them"
            )
        last[tank] = time_ms
        if tank in newest:
            if (row.kept[:5], row.kept[6:]) == newest[tank]:
                plan.go_on[tank] = row.number
                early.pop(tank, None)
            elif tank not in plan.go_on and time_ms <= newest[tank][0][0]:
                early.setdefault(tank, row)
    for tank, row in early.items():
        plan.mistake(
            f"{path}, row {row.number}: tank {tank} has readings up to {iso_ms(newest[tank][0][0])} already, and older "
            "ones cannot be put before them; import into a store that does not know the tank yet, or only later rows"
        )
    return plan


def _keep(site: Site, path: Path, store: SqliteStore, plan: _Plan, seq: int) -> int:
    """Read the file again and keep what is new of it, some days of a tank at once."""
    waiting: dict[str, deque[tuple[int | float | None, ...]]] = {}
    kept = 0
    for row in _rows(site, path, "import"):
        if row.number <= plan.go_on.get(row.tank, 0):
            continue
        rows = waiting.setdefault(row.tank, deque())
        if len(rows) >= AT_ONCE and _day(rows[-1]) != row.time_ms // DAY_MS:
            kept += _append(store, row.tank, rows)
        seq += 1
        rows.append((seq, *row.kept))
    for tank, rows in waiting.items():
        kept += _append(store, tank, rows)
    return kept


def _day(row: tuple[int | float | None, ...]) -> int:
    assert isinstance(row[1], int)
    return row[1] // DAY_MS


def _append(store: SqliteStore, tank: str, rows: deque[tuple[int | float | None, ...]]) -> int:
    columns = columns_of(list(rows))
    assert (np.diff(columns.seq) > 0).all()
    kept = store.append_columns(tank, columns)
    rows.clear()
    return kept
