"""A burst of an independent recorder, from a CSV or WAV file, as evenly spaced samples.

Refuses what is not even, too long or no number, with the row and the mend. What the values are in is told by the CSV's
header (`current [mA]`) or by the call.
"""

import csv
import math
import re
import struct
import warnings
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.io import wavfile  # type: ignore[import-untyped]  # it ships no types

from gaugehouse.errors import CallError

MOST_SAMPLES: Final = 2_000_000
UNEVEN_FRAC: Final = 0.2
"""A step in time may differ by so much of the usual one: recorders print times in few digits."""
_HEADER: Final = re.compile(r"\s*(.*?)\s*(?:\[(.*?)\])?\s*")
_TIME: Final = ("t", "time", "seconds")


class Burst(NamedTuple):
    """Samples at an even rate. unit: as the file says it, empty where it does not."""

    values: npt.NDArray[np.float64]
    rate_Hz: float
    unit: str


def read_burst(path: Path, rate_Hz: float | None, column: str | None, channel: int | None) -> Burst:
    """The samples of a file. rate_Hz: needed for a CSV without times; must agree where the file tells its own.

    column: of a CSV with several; channel: of a WAV, from 1. Raises `CallError`.
    """
    if not path.is_file():
        raise CallError(f"{path}: there is no such file")
    wav = path.suffix.lower() == ".wav"
    if wav and column is not None:
        raise CallError(f"--column is for CSV files, and {path} is a WAV; give --channel")
    if not wav and channel is not None:
        raise CallError(f"--channel is for WAV files, and {path} is none; give --column")
    burst = _wav(path, channel or 1) if wav else _csv(path, rate_Hz, column)
    if rate_Hz is not None and abs(rate_Hz - burst.rate_Hz) > 0.01 * rate_Hz:
        raise CallError(
            f"{path}: its own times say {burst.rate_Hz:g} Hz and --rate says {rate_Hz:g} Hz; find out which is right, "
            "and leave --rate out if it is the file"
        )
    return burst


def _wav(path: Path, channel: int) -> Burst:
    """Samples as parts of full scale."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks that only players want
            rate, data = wavfile.read(path)
    except (ValueError, OSError, EOFError, struct.error, UnboundLocalError, ZeroDivisionError) as error:
        # what the library raises for a file without samples or with a damaged head
        raise CallError(f"{path}: this is no WAV file of plain samples (PCM): {error}") from error
    array = np.asarray(data)
    channels = 1 if array.ndim == 1 else array.shape[1]
    if not 1 <= channel <= channels:
        raise CallError(f"{path}: no channel {channel}; it has {channels}")
    one = array if array.ndim == 1 else array[:, channel - 1]
    _few_enough(path, one.size)
    values = one.astype(np.float64)
    if one.dtype == np.uint8:  # the WAV format's own rule: 8 bits are without sign, the middle is 128
        values = (values - 128) / 128
    elif np.issubdtype(one.dtype, np.integer):
        values /= -float(np.iinfo(one.dtype).min)
    return Burst(values, float(rate), "")


def _csv(path: Path, rate_Hz: float | None, column: str | None) -> Burst:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise CallError(f"{path}: cannot be read as text: {error}") from error
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise CallError(f"{path}: the file is empty")
    cells = next(csv.reader([lines[0][1]]))
    headed = any(_number(cell) is None for cell in cells)
    names = [_HEADER.fullmatch(cell) for cell in cells] if headed else []
    heads = [(match[1], match[2] or "") for match in names if match] or [("", "")] * len(cells)
    times = 0 if len(cells) > 1 and (not headed or heads[0][0].lower() in _TIME) else None
    place = _place(path, heads, times, column)
    rows = lines[1:] if headed else lines
    _few_enough(path, len(rows))
    values, stamps = [], []
    for number, line in rows:
        row = [_number(cell) for cell in next(csv.reader([line]))]
        value = row[place] if place < len(row) else None
        stamp = row[times] if times is not None and times < len(row) else 0.0
        if value is None or stamp is None:
            raise CallError(
                f'{path}: row {number}, "{line}": a number is missing; write decimal points, a row a sample'
            )
        values.append(value)
        stamps.append(stamp)
    told = _rate(path, stamps, heads[0][1]) if times is not None else rate_Hz
    if told is None:
        raise CallError(f"{path}: it has no column of times; give its rate with --rate")
    return Burst(np.array(values), told, heads[place][1])


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _place(path: Path, heads: list[tuple[str, str]], times: int | None, column: str | None) -> int:
    others = [k for k in range(len(heads)) if k != times]
    if column is not None:
        for k in others:
            if heads[k][0] == column:
                return k
        raise CallError(f"{path}: no column {column!r}; there are {', '.join(repr(heads[k][0]) for k in others)}")
    if len(others) > 1:
        raise CallError(f"{path}: it has {len(others)} columns of values; name one with --column")
    return others[0]


def _rate(path: Path, stamps: list[float], unit: str) -> float:
    """The rate that a column of times tells, in s unless its header says ms."""
    if len(stamps) < 2:
        raise CallError(f"{path}: one sample is no burst")
    if unit not in ("", "s", "ms"):
        raise CallError(f"{path}: times in [{unit}] are not understood; write them in [s] or [ms] since any moment")
    steps = np.diff(np.array(stamps)) / (1000 if unit == "ms" else 1)
    usual = (stamps[-1] - stamps[0]) / (len(stamps) - 1) / (1000 if unit == "ms" else 1)
    if usual <= 0:
        raise CallError(f"{path}: its times do not rise; a burst is in the order of time")
    worst = int(np.argmax(np.abs(steps - usual)))
    if abs(float(steps[worst]) - usual) > UNEVEN_FRAC * usual:
        raise CallError(
            f"{path}: after sample {worst + 1} the step in time is {float(steps[worst]):g} s and not {usual:g} s: a "
            "spectrum needs even samples; cut the file there"
        )
    return 1 / usual


def _few_enough(path: Path, count: int) -> None:
    if count > MOST_SAMPLES:
        raise CallError(f"{path}: {count} samples; {MOST_SAMPLES} are the most, cut the file")
