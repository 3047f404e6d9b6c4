"""Runs recorded Samples through the same core as the daemon: the same input gives the same bytes.

Starts from no state, opens no store, asks no bus. Rows with equal times form one tick; nothing happens between ticks or
after the last.
"""

import contextlib
import sys
from collections.abc import Callable, Iterator
from itertools import groupby
from pathlib import Path
from typing import Any, Final, TextIO

from alerts.alarm import Transition
from alerts.faultlog import Case
from alerts.faults import ENDED, Fault
from gaugehouse.core import StepResult, Tick
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.faultrecords import fault_cells
from gaugehouse.movementrecords import COLUMNS, MOVEMENT, movement_cells, rounded
from gaugehouse.recording import read_samples
from gaugehouse.rows import (
    ALARM_COLUMNS,
    FAULT_COLUMNS,
    line,
    reading_cells,
)
from gaugehouse.site import Site
from gaugehouse.wiring import core_of_recording
from inventory.movement import Stage
from models.reading import READING_COLUMNS, Instant, Sample

LARGEST_STEP_BACK_MS: Final = 3_600_000


def ticks(
    rows: Iterator[tuple[int, Sample]], order: dict[str, int], path: Path, say: Callable[[str], None]
) -> Iterator[Tick]:
    """Ticks out of rows. `order`: instruments in the site file's order; `say`: told of each clock step."""
    last_ms: int | None = None
    elapsed_ms = 0
    seq = 0
    for time_ms, group in groupby(rows, key=lambda row: row[1].time_ms):
        numbered = list(group)
        if last_ms is not None:
            step = time_ms - last_ms
            if step < -LARGEST_STEP_BACK_MS:
                raise CallError(
                    f"{path}, row {numbered[0][0]}: time falls by {-step / 1000:.0f} s to {iso_ms(time_ms)}; a "
                    f"clock step of up to {LARGEST_STEP_BACK_MS // 60_000} min is taken as such, a larger one means "
                    "that rows are out of order: sort them or split the file there"
                )
            if step < 0:
                say(f"{path}, row {numbered[0][0]}: the clock steps back by {-step / 1000:g} s to {iso_ms(time_ms)}")
            elapsed_ms += max(0, step)
        last_ms = time_ms
        seq += 1
        samples = sorted((sample for _, sample in numbered), key=lambda sample: order[sample.instrument])
        yield Tick(Instant(seq, time_ms, elapsed_ms), samples)


class Results:
    """The four files of a replay, written beside and put in place together once all of it went well."""

    def __init__(self, out: Path, stack: contextlib.ExitStack) -> None:
        self._out = out
        self._files: dict[str, TextIO] = {}

        def open_file(name: str, columns: tuple[str, ...]) -> TextIO:
            file = stack.enter_context((out / f"{name}.part").open("w", encoding="utf-8", newline="\n"))
            stack.callback((out / f"{name}.part").unlink, missing_ok=True)
            self._files[name] = file
            file.write(line(columns))
            return file

        self._readings = open_file("readings.csv", READING_COLUMNS)
        self._alarms = open_file("alarms.csv", ALARM_COLUMNS)
        self._faults = open_file("faults.csv", FAULT_COLUMNS)
        self._movements = open_file("movements.csv", COLUMNS)
        self._found: dict[tuple[str, int], dict[str, Any]] = {}

    def add(self, result: StepResult) -> None:
        for reading in result.readings:
            self._readings.write(line(reading_cells(reading)))
        for transition in result.transitions:
            self._alarms.write(line(alarm_cells(transition)))
        for decision in result.decisions:
            if decision.kind == MOVEMENT:  # the newest entry counts
                self._found[decision.body["tank"], decision.body["number"]] = dict(decision.body)

    def finish(self, faults: list[tuple[Fault, Case]], order: list[str], running: list[dict[str, Any]]) -> None:
        """Write faults and movements, those that run as they stand now, and replace the files of the run before."""
        for row in running:
            self._found[row["tank"], row["number"]] = self._found[row["tank"], row["number"]] | row
        for body in sorted(self._found.values(), key=lambda one: (one["start_ms"], order.index(one["tank"]))):
            if body["stage"] != Stage.WITHDRAWN.value:
                self._movements.write(line(movement_cells(rounded(body))))
        for fault, case in faults:
            self._faults.write(line(fault_cells(fault, case)))
        for name, file in self._files.items():
            file.close()
            (self._out / f"{name}.part").replace(self._out / name)


def alarm_cells(transition: Transition) -> list[str]:
    """One row of alarms.csv."""
    t = transition
    return [iso_ms(t.time_ms), t.source, t.condition, str(t.priority), t.event, t.state]


def replay(site: Site, samples: Path, out: Path, say: Callable[[str], None] | None = None) -> None:
    """Write readings.csv, alarms.csv, faults.csv and movements.csv of a recording into `out`.

    Raises `CallError` with the row for a recording that is wrong, `CouldNot` when a file cannot be read or written.
    """
    core = core_of_recording(site)
    order = {loop.instrument: place for place, loop in enumerate(site.loops)}
    rows = read_samples(samples, site.signal_names)
    tell = say or (lambda text: print(text, file=sys.stderr))
    try:
        out.mkdir(parents=True, exist_ok=True)
        with contextlib.ExitStack() as stack:
            results = Results(out, stack)
            ended: list[tuple[Fault, Case]] = []
            for tick in ticks(rows, order, samples, tell):
                result = core.step(tick)
                results.add(result)
                core.loops.traces.take()
                ended += [(change.fault, case) for change, case in result.fault_changes if change.change == ENDED]
            still = [(fault, core.loops.log.case(fault)) for fault in core.faults.open_faults()]
            faults = sorted(ended + still, key=lambda pair: (pair[0].start_ms, order[pair[0].instrument]))
            running = [core.movements.row(movement) for movement in core.movements.open()]
            results.finish(faults, [tank.id for tank in site.tanks], running)
            tell(f"{samples}: {core.at.seq} ticks; readings, alarms, faults and movements are in {out}")
    except OSError as error:
        raise CouldNot(f"{error.filename or out}: cannot be written: {error.strerror}") from error
