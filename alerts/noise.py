"""How much a loop's signal jumps from one sample to the next while nothing is wrong: learned for each loop, and kept.

Knows one figure of noise for each block of samples, and how such figures were spread over the last weeks; refuses to
know limits, faults and time of day. Unit: mA where the loop tells its current, else that of the signal it is made of.

Source of the estimator: the standard deviation of first differences is sqrt(2) times that of white noise (computed);
1.4826 x the median absolute deviation estimates a standard deviation robustly (from memory). Choices are ours.
"""

import math
from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any, Final, NamedTuple

BLOCK: Final = 60
"""Differences from which one figure is made; for white noise it is then good to about 11 %."""

CLIPPED_AT: Final = 3.0
"""A difference counts no more than so many robust deviations: one step of the level is no noise."""

HALF_LIFE_MS: Final = 14 * 86_400_000
"""A figure two weeks old counts half."""

LEARNED_AFTER_MS: Final = 86_400_000
"""Floor and loudest are known when a day has gone by: night and day, still and moving, have been seen."""

LEAST_BLOCKS: Final = 100
FLOOR_BLOCKS: Final = 5.0
LOUD_FRAC: Final = 0.01
PER_OCTAVE: Final = 4
LEAST: Final = 1e-7
"""What a block without any change counts as."""

LOUDER_BY: Final = 4.0
"""A block is out of the ordinary when it is so many times louder than `loud`."""

NEW_ORDER_MS: Final = 7 * 86_400_000
"""What lasts for a week is the loop's new ordinary noise: until then a loud block teaches nothing."""


class Noise(NamedTuple):
    """What is known of a loop's noise, as standard deviations of one sample; None = not known yet.

    signal: the register that it was seen on. now: the newest block. floor: only so many blocks as prove nothing were
    quieter. usual: half of the blocks were quieter. loud: one block of a hundred was louder.
    """

    signal: str
    now: float | None
    floor: float | None
    usual: float | None
    loud: float | None

    @property
    def is_loud(self) -> bool:
        """True when the newest block is out of the ordinary; False too while nobody knows what that is."""
        return self.now is not None and self.loud is not None and self.now > LOUDER_BY * self.loud


def spread(differences: Sequence[float]) -> float:
    """The standard deviation of one sample, from first differences: slope taken out, outliers clipped."""
    middle = median(differences)
    off = [abs(d - middle) for d in differences]
    robust = 1.4826 * median(off)
    if robust > 0:
        most = CLIPPED_AT * robust
        off = [min(d, most) for d in off]
    else:  # a coarse register that seldom moves: forget the two largest instead
        off = sorted(off)[:-2]
    return math.sqrt(sum(d * d for d in off) / len(off) / 2)


class LoopNoise:
    """The noise of one loop. Feed it with healthy samples only, and tell it where one is missing."""

    __slots__ = ("_at_ms", "_counts", "_differences", "_last", "_loud_since_ms", "_since_ms", "now", "signal")

    def __init__(self) -> None:
        self._begin("", 0)

    def _begin(self, signal: str, elapsed_ms: int) -> None:
        self.signal = signal
        self.now: float | None = None
        self._counts: dict[int, float] = {}
        self._since_ms = self._at_ms = elapsed_ms
        self._loud_since_ms: int | None = None
        self._last: float | None = None
        self._differences: list[float] = []

    def take(self, elapsed_ms: int, signal: str, value: float) -> bool:
        """One healthy sample. True when a block was completed; `now` is its figure then."""
        if signal != self.signal:  # another register: nothing that was learned holds for it
            self._begin(signal, elapsed_ms)
        last, self._last = self._last, value
        if last is None:
            return False
        self._differences.append(value - last)
        if len(self._differences) < BLOCK:
            return False
        self.now = spread(self._differences)
        self._differences.clear()
        return True

    def skipped(self) -> None:
        """A poll failed: no difference leads across it."""
        self._last = None

    def interrupted(self) -> None:
        """The signal did not measure: what follows is another stretch."""
        self._last = None
        self._differences.clear()

    def learn(self, elapsed_ms: int) -> None:
        """Take the newest block as one of a loop without a fault, unless it is out of the ordinary."""
        if self.now is None:
            return
        if not self.known().is_loud:
            self._loud_since_ms = None
        elif self._loud_since_ms is None or elapsed_ms - self._loud_since_ms < NEW_ORDER_MS:
            self._loud_since_ms = elapsed_ms if self._loud_since_ms is None else self._loud_since_ms
            return
        fade = 0.5 ** (max(0, elapsed_ms - self._at_ms) / HALF_LIFE_MS)
        self._at_ms = elapsed_ms
        counts = {place: count * fade for place, count in self._counts.items() if count > 0.01}
        place = round(PER_OCTAVE * math.log2(max(self.now, LEAST)))
        counts[place] = counts.get(place, 0.0) + 1
        self._counts = counts

    def known(self) -> Noise:
        """What is known now. Floor and loudest are missing before a day is over."""
        counts = self._counts
        total = sum(counts.values())
        if not total:
            return Noise(self.signal, self.now, None, None, None)
        ready = self._at_ms - self._since_ms >= LEARNED_AFTER_MS and total >= LEAST_BLOCKS
        return Noise(
            self.signal,
            self.now,
            self._quieter_than(FLOOR_BLOCKS) if ready else None,
            self._quieter_than(total / 2),
            self._quieter_than(total * (1 - LOUD_FRAC)) if ready else None,
        )

    def _quieter_than(self, weight: float) -> float:
        """The figure below which so much weight lies."""
        gone = 0.0
        for place in sorted(self._counts):
            gone += self._counts[place]
            if gone >= weight:
                break
        return float(2.0 ** (place / PER_OCTAVE))

    def saved(self) -> dict[str, Any]:
        return {
            "signal": self.signal,
            "now": self.now,
            "since": self._since_ms,
            "at": self._at_ms,
            "loud_since": self._loud_since_ms,
            "counts": {str(place): round(count, 3) for place, count in sorted(self._counts.items())},
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        self.signal, self.now = saved["signal"], saved["now"]
        self._since_ms, self._at_ms = saved["since"], saved["at"]
        self._loud_since_ms = saved["loud_since"]
        self._counts = {int(place): count for place, count in saved["counts"].items()}
        self.interrupted()
