"""What is remembered of every instrument's samples before anybody knows of a fault: whole, in little room.

A farm of 2000 instruments remembers a million and a half of them. As objects they take 1.0 kB each and slow the memory
collector down; packed they take a fifth of that and are no objects to it. Nothing is rounded: what comes out equals
what went in.
"""

import marshal
from collections import deque
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from models.reading import Sample

NOTHING: Final[Mapping[str, float]] = MappingProxyType({})

LONGEST_MEMORY: Final = 20_000
"""Samples of one instrument that are remembered at the most, whatever the site file asks for."""


class Heard(NamedTuple):
    """A sample as it is remembered. level_m: of the first tank that the instrument gauges, None where it is Bad;
    movement: filling, emptying, still, or empty where that is not known. around: what the site's points said then."""

    elapsed_ms: int
    sample: Sample
    current_mA: float | None
    level_m: float | None
    movement: str
    around: Mapping[str, float] = NOTHING


class Memory:
    """One instrument's, oldest first; what is older than `reach_ms` before the newest is forgotten."""

    __slots__ = ("_elapsed_ms", "_instrument", "_packed", "_reach_ms", "_time_ms")

    def __init__(self, instrument: str, reach_ms: int) -> None:
        self._instrument = instrument
        self._reach_ms = reach_ms
        self._elapsed_ms: deque[int] = deque(maxlen=LONGEST_MEMORY)
        self._time_ms: deque[int] = deque(maxlen=LONGEST_MEMORY)
        self._packed: deque[bytes] = deque(maxlen=LONGEST_MEMORY)

    def append(self, heard: Heard) -> None:
        """The next one, in the order of time."""
        sample = heard.sample
        plain = (
            str(sample.outcome), _plain(sample.values), dict(sample.raw), sample.elapsed_ms,
            _number(heard.current_mA), _number(heard.level_m), str(heard.movement), _plain(heard.around),
        )  # fmt: skip
        self._elapsed_ms.append(heard.elapsed_ms)
        self._time_ms.append(sample.time_ms)
        self._packed.append(marshal.dumps(plain))
        oldest_ms = heard.elapsed_ms - self._reach_ms
        while self._elapsed_ms[0] < oldest_ms:
            self._elapsed_ms.popleft()
            self._time_ms.popleft()
            self._packed.popleft()

    def elapsed_at(self, time_ms: int) -> int | None:
        """When, on the core's clock, the sample of a time was heard; None where it is forgotten or never was."""
        pairs = zip(self._time_ms, self._elapsed_ms, strict=True)
        return next((elapsed_ms for at_ms, elapsed_ms in pairs if at_ms == time_ms), None)

    def since(self, elapsed_ms: int | None = None) -> Iterator[Heard]:
        """What was heard from a time on; everything without one."""
        for at_ms, time_ms, packed in zip(self._elapsed_ms, self._time_ms, self._packed, strict=True):
            if elapsed_ms is None or at_ms >= elapsed_ms:
                yield self._unpacked(at_ms, time_ms, packed)

    def _unpacked(self, elapsed_ms: int, time_ms: int, packed: bytes) -> Heard:
        plain = marshal.loads(packed)  # noqa: S302 - bytes of our own, of this process
        outcome, values, raw, sample_ms, current, level, movement, around = plain
        sample = Sample(self._instrument, time_ms, outcome, values, raw, sample_ms)
        return Heard(elapsed_ms, sample, current, level, movement, around)


def _number(value: float | None) -> float | None:
    """A float of Python's own: `marshal` takes a number of an array library for a piece of memory."""
    return None if value is None else float(value)


def _plain(values: Mapping[str, float | None]) -> dict[str, float | None]:
    return {name: None if value is None else float(value) for name, value in values.items()}
