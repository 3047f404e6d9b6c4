"""The slope of a standard volume over quiet hours, with a standard error that respects how its errors hang together.

Straight line, and over whole days a daily wave and its first overtone beside it, through means of equal blocks
(ordinary least squares). What is left over is taken as a first-order chain: its correlation from block to block widens
the error and lowers the number of independent blocks to n (1 - r) / (1 + r). Source of that figure: Bayley and
Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) for long series; from memory. Knows numbers only; refuses to know tanks.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

BLOCKS_A_DAY: Final = 24
LEAST_BLOCKS: Final = 8
MOST_R: Final = 0.9
LEAST_FREE: Final = 1.0


class Fit(NamedTuple):
    """slope: m3/h, negative for a loss. hours and m3: the blocks' middles (from the window's start) and means;
    line_m3: the straight line at them, wave_m3 line and daily wave. r: correlation of neighbours that was allowed for;
    free: degrees of freedom that are left."""

    slope_m3_per_h: float
    se_m3_per_h: float
    free: float
    r: float
    hours: tuple[float, ...]
    m3: tuple[float, ...]
    line_m3: tuple[float, ...]
    wave_m3: tuple[float, ...]
    residual_m3: float


def blocks_of(hours: Sequence[float], values: Sequence[float], length_h: float) -> tuple[list[float], list[float]]:
    """Means of equal blocks, empty ones left out. length_h: of the window."""
    count = max(LEAST_BLOCKS, round(length_h)) if length_h < 24 else BLOCKS_A_DAY * round(length_h / 24)
    sums: dict[int, list[float]] = {}
    for hour, value in zip(hours, values, strict=True):
        place = min(count - 1, max(0, int(hour / length_h * count)))
        sums.setdefault(place, []).append(value)
    places = sorted(sums)
    return [(p + 0.5) * length_h / count for p in places], [math.fsum(sums[p]) / len(sums[p]) for p in places]


def fitted(hours: Sequence[float], values: Sequence[float], length_h: float) -> Fit | None:
    """hours: from the window's start; values in m3. A length of whole days takes the daily wave in.

    None where not one independent block would be left over to judge the scatter by.
    """
    middles, means = blocks_of(hours, values, length_h)
    t, y = np.array(middles), np.array(means)
    daily = length_h >= 24 - 1e-9
    columns = [np.ones_like(t), t - length_h / 2]
    if daily:
        columns += [wave(2 * np.pi * t / period) for period in (24, 12) for wave in (np.sin, np.cos)]
    design = np.column_stack(columns)
    n, p = design.shape
    if n < p + 3:
        return None
    start = float(y[0])  # sums of small differences: a tank's whole volume would eat their digits
    found, *_ = np.linalg.lstsq(design, y - start, rcond=None)
    left = y - start - design @ found
    squares = float(left @ left)
    r = _correlation(left, squares)
    independent = n * (1 - r) / (1 + r)
    free = independent - p
    if free < LEAST_FREE:
        return None
    spread = np.linalg.inv(design.T @ design)[1, 1] * squares / (n - p)
    return Fit(
        float(found[1]),
        math.sqrt(max(0.0, float(spread)) * (1 + r) / (1 - r)),
        free,
        r,
        tuple(middles),
        tuple(means),
        tuple(float(v) for v in design[:, :2] @ found[:2] + start),
        tuple(float(v) for v in design @ found + start),
        math.sqrt(squares / (n - p)),
    )


def _correlation(left: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]", squares: float) -> float:
    """Of neighbours, with what a fit of few blocks takes from it given back; never below 0.

    The correction (1 + 4 r) / n of the first order: Kendall, Biometrika 41 (1954), from memory.
    """
    if squares <= 0:
        return 0.0
    r = float(left[1:] @ left[:-1]) / squares
    return min(MOST_R, max(0.0, r + (1 + 4 * max(0.0, r)) / len(left)))
