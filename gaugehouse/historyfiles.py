"""Files of readings for export and import: CSV, and Parquet where `pyarrow` is installed. Knows no store.

Both hold the columns of readings.csv. In Parquet, time is a timestamp in UTC with milliseconds, figures are 64-bit
floats that print as in the CSV, missing is null.
"""

import csv
import importlib
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from gaugehouse.errors import CallError, CouldNot
from gaugehouse.historyrows import lines_of, words_of
from history.block import Columns
from models.reading import QUANTITY, READING_COLUMNS

CSV: Final = ".csv"
PARQUET: Final = ".parquet"
BATCH: Final = 20_000

Cells = Sequence[object]


def kind_of(path: Path) -> str:
    """By the file's name. Raises `CallError`."""
    if path.suffix not in (CSV, PARQUET):
        raise CallError(f"{path}: name it *{CSV} or *{PARQUET}; the name says which format it has")
    return path.suffix


def writer(path: Path) -> "Writer":
    """Raises `CallError` for a name of neither format and where `pyarrow` is missing."""
    return _Csv(path) if kind_of(path) == CSV else _Parquet(path)


class Writer(ABC):
    """A file that is written beside its place; leaving the block without an error puts it there."""

    def __init__(self, path: Path) -> None:
        self._path, self._part = path, path.with_name(path.name + ".part")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()
        if kind is None:
            self._part.replace(self._path)
        else:
            self._part.unlink(missing_ok=True)

    @abstractmethod
    def add(self, tank: str, columns: Columns) -> None:
        """The readings of a stretch."""

    @abstractmethod
    def _close(self) -> None:
        """The part is whole."""


class _Csv(Writer):
    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._file = self._part.open("w", encoding="utf-8", newline="\n")
        self._file.write(",".join(READING_COLUMNS) + "\n")

    def add(self, tank: str, columns: Columns) -> None:
        self._file.write(lines_of(tank, columns))

    def _close(self) -> None:
        self._file.close()


class _Parquet(Writer):
    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._pa, parquet = _arrow("pyarrow"), _arrow("pyarrow.parquet")
        word = self._pa.dictionary(self._pa.int32(), self._pa.string())
        kinds = {name: self._pa.float64() if name in QUANTITY else word for name in READING_COLUMNS}
        kinds["time"] = self._pa.timestamp("ms", tz="UTC")
        self._schema = self._pa.schema(list(kinds.items()))
        self._file = parquet.ParquetWriter(self._part, self._schema, compression="zstd")

    def add(self, tank: str, columns: Columns) -> None:
        pa, words = self._pa, words_of(tank, columns)
        arrays = []
        for field in self._schema:
            if field.name == "time":
                arrays.append(pa.array(columns.time_ms).cast(field.type))
            elif field.name in QUANTITY:
                known = columns.figures[field.name].known
                arrays.append(pa.array(columns.figure(field.name), field.type, mask=~known))
            else:
                arrays.append(pa.array(words[field.name]).dictionary_encode())
        self._file.write_table(pa.Table.from_arrays(arrays, schema=self._schema))

    def _close(self) -> None:
        self._file.close()


def _arrow(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError:
        raise CallError(
            "Parquet needs the library pyarrow; install it with `pip install 'gaugehouse[parquet]'`, or use CSV"
        ) from None


def rows_in(path: Path) -> Iterator[tuple[int, Cells, float]]:
    """Row number, cells in the order of `READING_COLUMNS`, and how far in the file that is, from 0 to 1.

    Raises `CallError` for what is no such file, `CouldNot` when it cannot be read.
    """
    try:
        yield from _rows_in_csv(path) if kind_of(path) == CSV else _rows_in_parquet(path)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be read: {error.strerror or error}") from error


def _rows_in_csv(path: Path) -> Iterator[tuple[int, Cells, float]]:
    size = max(1, path.stat().st_size)
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = csv.reader(file)
            order = _order(path, [cell.strip() for cell in next(rows, [])])
            read = 0
            for number, row in enumerate(rows, start=2):
                read += sum(map(len, row)) + len(row)
                if not any(cell.strip() for cell in row):
                    continue
                if len(row) != len(order):
                    raise CallError(f"{path}, row {number}: {len(row)} cells under {len(order)} columns")
                yield number, [row[place] for place in order], min(1.0, read / size)
    except UnicodeDecodeError as error:
        raise CallError(f"{path}: is no UTF-8 text (byte {error.start}); save it as CSV in UTF-8") from error
    except csv.Error as error:
        raise CallError(f"{path}: is no CSV: {error}") from error


def _rows_in_parquet(path: Path) -> Iterator[tuple[int, Cells, float]]:
    parquet, pa = _arrow("pyarrow.parquet"), _arrow("pyarrow")
    try:
        file = parquet.ParquetFile(path)
    except pa.ArrowInvalid as error:
        raise CallError(f"{path}: is no Parquet file: {error}") from error
    with file:
        order = _order(path, file.schema_arrow.names)
        total, number = max(1, file.metadata.num_rows), 0
        for batch in file.iter_batches(BATCH):
            columns = [batch.column(place).to_pylist() for place in order]
            for row in zip(*columns, strict=True):
                number += 1
                yield number, row, number / total


def _order(path: Path, header: Sequence[str]) -> list[int]:
    """Where each of `READING_COLUMNS` is."""
    missing = [name for name in READING_COLUMNS if name not in header]
    unknown = [name for name in header if name not in READING_COLUMNS]
    doubled = {name for name in header if header.count(name) > 1}
    if missing or unknown or doubled:
        told = [f"no column {', '.join(missing)}"] if missing else []
        told += [f"unknown column {', '.join(map(repr, unknown))}"] if unknown else []
        told += [f"column {', '.join(sorted(doubled))} twice"] if doubled else []
        raise CallError(
            f"{path}: {'; '.join(told)}; the columns are those of readings.csv: {','.join(READING_COLUMNS)}"
        )
    return [header.index(name) for name in READING_COLUMNS]
