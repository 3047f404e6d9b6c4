"""Stretches of time whose readings were found worse only afterwards, and what becomes of a reading in one of them.

Knows stretches by tank, without overlap; refuses to know who found out and why (the record book does), and files. What
was measured is never changed: a reading is told with the worse of its own quality and the stretch's, and where that is
Bad without its level and all that follows from one.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from history.block import FIGURES, Columns, status_of, status_parts
from history.codec import Column
from history.scale import REASON_CODE
from history.store import Flags, Ints
from models.reading import BAD, EXACT, GOOD, Quality, Reading, Reason

MEASURED_BESIDE: Final = frozenset({"current_mA", "temperature_degC", "water_m"})
"""Figures that do not follow from the level."""
_WITHDRAWN: Final = dict.fromkeys(name for name in FIGURES if name not in MEASURED_BESIDE)


class Stretch(NamedTuple):
    """start_ms <= t < end_ms, of one tank."""

    start_ms: int
    end_ms: int
    quality: Quality
    reason: Reason


def painted(stretches: Iterable[Stretch], new: Stretch) -> list[Stretch]:
    """With a newer stretch, which wins where it lies over others. Quality Good: as measured, so nothing is left there.

    Disjoint and by time, as they must have been before.
    """
    out = []
    for old in stretches:
        if old.start_ms < new.start_ms:
            out.append(old._replace(end_ms=min(old.end_ms, new.start_ms)))
        if old.end_ms > new.end_ms:
            out.append(old._replace(start_ms=max(old.start_ms, new.end_ms)))
    if new.quality is not GOOD:
        out.append(new)
    return sorted(out)


class Requalified:
    """The stretches of all tanks. Never changed: a store is given a new one."""

    def __init__(self, stretches: Mapping[str, Sequence[Stretch]] | None = None) -> None:
        self._of = {tank: tuple(some) for tank, some in (stretches or {}).items() if some}
        self._starts = {tank: [one.start_ms for one in some] for tank, some in self._of.items()}

    def of(self, tank: str) -> Sequence[Stretch]:
        """A tank's stretches by time, disjoint."""
        return self._of.get(tank, ())

    def all(self) -> Mapping[str, Sequence[Stretch]]:
        return self._of

    def at(self, tank: str, time_ms: int) -> Stretch | None:
        """The stretch that holds an instant."""
        starts = self._starts.get(tank)
        if starts is None:
            return None
        place = bisect_right(starts, time_ms) - 1
        found = self._of[tank][place] if place >= 0 else None
        return found if found is not None and time_ms < found.end_ms else None

    def touches(self, tank: str, start_ms: int, end_ms: int) -> bool:
        return any(one.start_ms < end_ms and one.end_ms > start_ms for one in self.of(tank))

    def reading(self, reading: Reading) -> Reading:
        """A reading as it is to be told."""
        if reading.tank not in self._of:
            return reading
        found = self.at(reading.tank, reading.time_ms)
        if found is None or found.quality <= reading.quality:
            return reading
        if found.quality is not BAD:
            worst = max(reading.stock_quality, found.quality)
            return reading._replace(quality=found.quality, reason=found.reason, stock_quality=worst)
        return reading._replace(
            quality=BAD, reason=found.reason, stock_quality=BAD, bound=EXACT, **_WITHDRAWN  # type: ignore[arg-type]  # None
        )  # fmt: skip

    def columns(self, tank: str, columns: Columns) -> Columns:
        """The same for a stretch of readings."""
        for one in self.of(tank):
            inside = (columns.time_ms >= one.start_ms) & (columns.time_ms < one.end_ms)
            inside &= columns.quality < one.quality
            if inside.any():
                columns = _told(columns, inside, one)
        return columns

    def graded(self, tank: str, time_ms: Ints, quality: Ints) -> Ints:
        """The qualities of readings with these times."""
        for one in self.of(tank):
            inside = (time_ms >= one.start_ms) & (time_ms < one.end_ms)
            if inside.any():
                quality = np.where(inside, np.maximum(quality, int(one.quality)), quality)
        return quality

    def units(self, tank: str, unit: Ints, unit_ms: int) -> Ints:
        """Of units of time (minutes or hours since 1970), the worst quality of any stretch that touches each."""
        worst = np.zeros(len(unit), np.int64)
        for one in self.of(tank):
            touched = (unit >= one.start_ms // unit_ms) & (unit <= (one.end_ms - 1) // unit_ms)
            worst[touched] = np.maximum(worst[touched], int(one.quality))
        return worst


AS_MEASURED: Final = Requalified()


def _told(columns: Columns, inside: Flags, one: Stretch) -> Columns:
    status = columns.status.copy()
    for code in np.unique(status[inside]):
        _, _, stock, bound = status_parts(int(code))
        told = status_of(int(one.quality), REASON_CODE[one.reason], max(stock, int(one.quality)), bound)
        if one.quality is BAD:
            told = status_of(int(BAD), REASON_CODE[one.reason], int(BAD), 0)
        status[inside & (columns.status == code)] = told
    if one.quality is not BAD:
        return Columns(columns.seq, columns.time_ms, status, columns.fine_m, columns.figures)
    keep = ~inside
    figures = {
        name: column if name in MEASURED_BESIDE else Column(column.values, column.known & keep)
        for name, column in columns.figures.items()
    }
    fine = Column(columns.fine_m.values, columns.fine_m.known & keep)
    return Columns(columns.seq, columns.time_ms, status, fine, figures)
