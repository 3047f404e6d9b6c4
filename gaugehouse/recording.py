"""Samples as CSV: what `run --record` writes and what `replay` reads.

`time,instrument,outcome,<signal>,...` with engineering values in each signal's declared unit, printed so that reading
them back gives the very same floats. Empty = the signal did not answer, `NaN` = it answered with something that is no
number.
"""

import contextlib
import csv
import errno
import logging
import math
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, Protocol

from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.errors import CallError, CouldNot
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample

log = logging.getLogger(__name__)

NOT_A_NUMBER: Final = "NaN"
_OUTCOMES: Final = {OK, TIMEOUT, WRONG_REPLY}


def columns_of(signals: Mapping[str, Sequence[str]]) -> list[str]:
    """The union of the instruments' signals, in the order in which they are first named."""
    return list(dict.fromkeys(name for names in signals.values() for name in names))


def header_of(signals: Mapping[str, Sequence[str]]) -> str:
    """The first line of a recording."""
    return ",".join(["time", "instrument", "outcome", *columns_of(signals)]) + "\n"


class Out(Protocol):
    """Where a recording goes."""

    def write(self, text: str, /) -> object: ...


class RecordingFile:
    """A recording on the disk. Each piece is handed to the system at once and whole, or not at all.

    A disk that takes nothing stops no daemon: what could not be written is missing from the recording as if nothing had
    been asked, which is said once when it begins and once, with a count, when it is over.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file = path.open("ab", buffering=0)
        self.lost = 0

    def __enter__(self) -> "RecordingFile":
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def write(self, text: str) -> None:
        piece = text.encode()
        before = self._file.seek(0, os.SEEK_END)
        try:
            if self._file.write(piece) != len(piece):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        except OSError as error:
            with contextlib.suppress(OSError):
                self._file.truncate(before)  # half a row would spoil the next one
            if not self.lost:
                log.error("recording %s: %s; what comes meanwhile is missing there", self._path, error.strerror)
            self.lost += 1
        else:
            if self.lost:
                log.warning("recording %s: written again; %d ticks are missing", self._path, self.lost)
            self.lost = 0


def open_recording(path: Path, signals: Mapping[str, Sequence[str]]) -> tuple[RecordingFile, bool]:
    """A file to record into, and whether it still needs its header. A recording that is there is gone on with.

    Raises `CallError` for a file that holds something else, `CouldNot` for one that cannot be made.
    """
    try:
        if path.exists() and path.stat().st_size:
            with path.open(encoding="utf-8") as file:
                first = file.readline()
            if first != header_of(signals):
                raise CallError(
                    f"{path}: holds something else, or a recording with other columns; it stays, name a new file"
                )
            return RecordingFile(path), False
        return RecordingFile(path), True
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise CallError(f"{path}: is no recording; it is left alone, name a new file") from error


class Recorder:
    """Writes Samples to a CSV file as they come. `signals`: the signal names of each instrument."""

    def __init__(self, out: Out, signals: Mapping[str, Sequence[str]], *, header: bool = True) -> None:
        self._out = out
        self._columns = columns_of(signals)
        if header:
            out.write(header_of(signals))

    def write(self, samples: Iterable[Sample], time_ms: int) -> None:
        """Write the samples of one tick under the tick's time."""
        lines = []
        for sample in samples:
            cells = [iso_ms(time_ms), sample.instrument, sample.outcome]
            for name in self._columns:
                value = sample.values.get(name, "")
                cells.append(NOT_A_NUMBER if value is None else str(value))
            lines.append(",".join(cells) + "\n")
        self._out.write("".join(lines))


def read_samples(path: Path, signals: Mapping[str, Sequence[str]]) -> Iterator[tuple[int, Sample]]:
    """Row number and Sample of each row of a recording, in the file's order.

    Raises `CallError` (file, row, found, allowed) for an unknown instrument or column, a time without offset, a cell
    that is no number; `CouldNot` when the file cannot be read.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            yield from _rows(path, csv.reader(file), signals)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise CallError(f"{path}: is no UTF-8 text (byte {error.start}); save it as CSV in UTF-8") from error
    except csv.Error as error:
        raise CallError(f"{path}: is no CSV: {error}") from error


def _rows(path: Path, rows: Iterator[list[str]], signals: Mapping[str, Sequence[str]]) -> Iterator[tuple[int, Sample]]:
    header = [cell.strip() for cell in next(rows, [])]
    places = _places(path, header, signals)
    known = {name: frozenset(names) for name, names in signals.items()}
    for number, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        where = f"{path}, row {number}"
        if len(row) > len(header):
            raise CallError(f"{where}: {len(row)} cells under {len(header)} columns; take the extra cells out")
        row += [""] * (len(header) - len(row))
        try:
            time_ms = parse_ms(row[places.time].strip())
        except ValueError as error:
            raise CallError(f"{where}, column time: {error}") from None
        instrument = row[places.instrument].strip()
        if instrument not in known:
            raise CallError(
                f"{where}: unknown instrument {instrument!r}; the site file has {', '.join(known) or 'none'}"
            )
        yield number, _sample(where, row, places, instrument, known[instrument], time_ms)


class _Places:
    """Where the columns are."""

    __slots__ = ("instrument", "outcome", "signals", "time")

    def __init__(self, time: int, instrument: int, outcome: int | None, signals: list[tuple[int, str]]) -> None:
        self.time, self.instrument, self.outcome, self.signals = time, instrument, outcome, signals


def _places(path: Path, header: list[str], signals: Mapping[str, Sequence[str]]) -> _Places:
    for name in ("time", "instrument"):
        if name not in header:
            raise CallError(f"{path}, row 1: no column {name!r}; the header is time,instrument[,outcome],<signal>,...")
    doubled = {name for name in header if header.count(name) > 1}
    if doubled:
        raise CallError(f"{path}, row 1: column {min(doubled)!r} stands there twice; keep one")
    columns = columns_of(signals)
    found = []
    for place, name in enumerate(header):
        if name in columns:
            found.append((place, name))
        elif name not in ("time", "instrument", "outcome"):
            raise CallError(f"{path}, row 1: unknown column {name!r}; the site file has {', '.join(columns)}")
    outcome = header.index("outcome") if "outcome" in header else None
    return _Places(header.index("time"), header.index("instrument"), outcome, found)


def _sample(
    where: str, row: list[str], places: _Places, instrument: str, known: frozenset[str], time_ms: int
) -> Sample:
    values: dict[str, float | None] = {}
    for place, name in places.signals:
        cell = row[place].strip()
        if not cell:
            continue
        if name not in known:
            raise CallError(f"{where}: instrument {instrument!r} has no signal {name!r}; leave that cell empty")
        try:
            value = float(cell.replace("_", "?"))
        except ValueError:
            raise CallError(f"{where}, column {name}: {cell!r} is no number; empty means no answer") from None
        values[name] = value if math.isfinite(value) else None
    outcome = "" if places.outcome is None else row[places.outcome].strip()
    if not outcome:
        outcome = OK if values and all(name in values or name not in known for _, name in places.signals) else TIMEOUT
    elif not _is_outcome(outcome):
        raise CallError(
            f"{where}, column outcome: {outcome!r}; allowed: ok, timeout, wrong-reply, exception-02 and such"
        )
    elif outcome == OK and not values:
        outcome = TIMEOUT
    return Sample(instrument, time_ms, outcome, values)


def _is_outcome(text: str) -> bool:
    if text in _OUTCOMES:
        return True
    kind, _, code = text.partition("-")
    return kind == "exception" and len(code) == 2 and all(c in "0123456789abcdefABCDEF" for c in code)
