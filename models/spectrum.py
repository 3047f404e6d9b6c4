"""What is in an evenly sampled signal: its spectrum, the lines that stand out of it, where a frequency folds to.

Knows arrays of floats, missing nothing; refuses to know tanks. Needs numpy and scipy, which nothing else here loads.
"""

import math
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal, stats  # type: ignore[import-untyped]  # it ships no types

from models.errors import OutOfRange

Floats = npt.NDArray[np.float64]
Spectral = npt.NDArray[np.floating[Any]]

LEAST_SAMPLES: Final = 64
_LEAST_SEGMENT: Final = 512
_SEGMENTS: Final = 8
_FALSE_PEAK: Final = 0.01
"""The chance that plain noise shows one peak anywhere in a spectrum."""
_LOBE: Final = 2
"""So many bins to either side does the main lobe of a Hann window reach."""
_SIDE_LOBES: Final = 20
_SIDE_LOBE: Final = 0.02
"""Side lobes of a Hann window reach so many bins with so much of the amplitude (computed: 1 % at 3.5 bins)."""
_SLOW: Final = 8
"""Lines of fewer cycles than this in a segment are looked for in longer ones."""
_FIRST: Final = 3
"""A line of fewer cycles in a segment is told from a drift by nobody."""


class Peak(NamedTuple):
    """A line: its frequency in Hz, and the amplitude of the sine that it is, in the signal's unit."""

    frequency_Hz: float
    amplitude: float


class Spectrum(NamedTuple):
    """rate_Hz: of the samples; resolution_Hz: between two bins. peaks: strongest first."""

    rate_Hz: float
    resolution_Hz: float
    peaks: tuple[Peak, ...]

    @property
    def highest_Hz(self) -> float:
        """Half of the rate: what is faster has been folded."""
        return self.rate_Hz / 2


def detrended(values: npt.ArrayLike) -> Floats:
    """The signal less the straight line that fits it best. Raises `OutOfRange` for too few samples or no numbers."""
    array = np.asarray(values, dtype=np.float64)
    if array.size < LEAST_SAMPLES:
        raise OutOfRange(f"{array.size} samples are too few for a spectrum; {LEAST_SAMPLES} are the least")
    if not np.all(np.isfinite(array)):
        raise OutOfRange("the signal holds something that is no number")
    flat: Floats = signal.detrend(array, type="linear")
    return flat


def slope_per_s(values: npt.ArrayLike, rate_Hz: float) -> float:
    """The slope of the straight line that fits best, in the signal's unit per s."""
    array = np.asarray(values, dtype=np.float64)
    return float(np.polynomial.polynomial.polyfit(np.arange(array.size) / rate_Hz, array, 1)[1])


def spectrum(values: npt.ArrayLike, rate_Hz: float, most: int = 6) -> Spectrum:
    """The spectrum of a signal sampled at an even rate, with its strongest lines.

    Welch's method (segments overlapping by half, Hann window); a peak is where the density stands so far above the
    running median of its neighbours that plain noise would do it once in a hundred spectra. Slow lines, of few cycles
    in a segment, are looked for in longer segments.
    """
    flat = detrended(values)
    short = min(flat.size, max(_LEAST_SEGMENT, flat.size // _SEGMENTS))
    resolution = rate_Hz / short
    slow_Hz = _SLOW * resolution
    found = [peak for peak in _peaks(flat, rate_Hz, short) if peak.frequency_Hz > slow_Hz]
    found += [peak for peak in _peaks(flat, rate_Hz, max(short, flat.size // 2)) if peak.frequency_Hz <= slow_Hz]
    found.sort(key=lambda peak: -peak.amplitude)
    return Spectrum(rate_Hz, resolution, tuple(_without_lobes(found, resolution)[:most]))


def _peaks(flat: Floats, rate_Hz: float, length: int) -> list[Peak]:
    """Every line that stands out in segments of one length."""
    frequency, density = signal.welch(flat, rate_Hz, "hann", nperseg=length, detrend="constant")
    floor, threshold = _floor(density, _tilt(flat, frequency / rate_Hz), flat.size / length)
    return [
        _peak(frequency, density, floor, k, rate_Hz / length)
        for k in range(_FIRST, density.size - 1)
        if density[k] > threshold * floor[k] and density[k] == density[max(0, k - _LOBE) : k + _LOBE + 1].max()
    ]


def _without_lobes(peaks: list[Peak], resolution: float) -> list[Peak]:
    """The peaks, strongest first, less what may be a side lobe of a stronger one."""
    kept: list[Peak] = []
    for peak in peaks:
        near = [other for other in kept if abs(other.frequency_Hz - peak.frequency_Hz) < _SIDE_LOBES * resolution]
        if all(peak.amplitude > _SIDE_LOBE * other.amplitude for other in near):
            kept.append(peak)
    return kept


def _tilt(flat: Floats, cycles: Floats) -> Floats:
    """What levels the spectrum of a signal that drifts: the gain of 1 - p z, p its correlation from sample to sample.

    Without it the steep slope of a drift would pass for lines. cycles: frequencies in cycles a sample.
    """
    power = float(np.dot(flat, flat))
    p = float(np.dot(flat[1:], flat[:-1])) / power if power > 0 else 0.0
    gain: Floats = 1 - 2 * p * np.cos(2 * np.pi * cycles) + p * p
    return gain


def _floor(density: Floats, tilt: Floats, segments: float) -> tuple[Floats, float]:
    """The level of the noise at each bin, and how far above it a line must stand."""
    freedom = 2 * max(1.0, 1.6 * segments)  # of segments that overlap by half: about (computed for a Hann window)
    width = 2 * max(10, density.size // 8) + 1
    median = np.zeros_like(density)  # the first bins and the last lack what the detrending and the folding took
    median[2:-1] = ndimage.median_filter((density * tilt)[2:-1], size=width, mode="reflect")
    floor = np.maximum(median / tilt / (stats.chi2.median(freedom) / freedom), density.max() * 1e-12 + 1e-300)
    return floor, float(stats.chi2.isf(_FALSE_PEAK / density.size, freedom) / freedom)


def _peak(frequency: Floats, density: Floats, floor: Floats, k: int, resolution: float) -> Peak:
    """The line around a bin: its place by a parabola through the logarithms, its power above the floor."""
    left, top, right = np.log(np.maximum(density[k - 1 : k + 2], 1e-300))
    bend = left - 2 * top + right
    shift = 0.0 if bend >= 0 else float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    lobe = slice(max(0, k - _LOBE), k + _LOBE + 1)
    power = float(np.sum(np.maximum(density[lobe] - floor[lobe], 0.0))) * resolution
    return Peak(float(frequency[k]) + shift * resolution, math.sqrt(2 * power))


def folded_Hz(frequency_Hz: float, rate_Hz: float) -> float:
    """Where a frequency shows when it is sampled at a rate: between 0 and half of the rate."""
    return abs(frequency_Hz - rate_Hz * round(frequency_Hz / rate_Hz))


def unfolded_Hz(shown_Hz: float, rate_Hz: float, highest_Hz: float) -> list[float]:
    """Every other frequency up to a highest one that shows at the same place, lowest first."""
    found = []
    for turn in range(1, math.ceil(highest_Hz / rate_Hz) + 1):
        found += [turn * rate_Hz - shown_Hz, turn * rate_Hz + shown_Hz]
    return sorted({round(f, 9) for f in found if shown_Hz < f <= highest_Hz})


def left_by_first_order(
    values: npt.ArrayLike,
    rate_Hz: float,
    time_constant_s: float,
    *,
    poll_Hz: float | None,
    without_Hz: tuple[float, ...] = (),
    width_Hz: float = 0.3,
) -> float:
    """Standard deviation of what a first-order filter leaves of a signal, its straight line taken out first.

    poll_Hz: the filter runs on polls at this rate, which fold what is faster; None: on the signal before it is polled,
    as the damping of a transmitter. without_Hz: lines that are left out of the sum, so wide to either side.
    """
    flat = detrended(values)
    power = np.abs(np.fft.rfft(flat)) ** 2
    frequency = np.fft.rfftfreq(flat.size, 1 / rate_Hz)
    power[1 : (flat.size + 1) // 2] *= 2  # both halves of a real signal's spectrum
    for line in without_Hz:
        power[np.abs(frequency - line) <= width_Hz] = 0.0
    return math.sqrt(float(np.sum(power * _gain(frequency, poll_Hz, time_constant_s)))) / flat.size


def _gain(frequency: Spectral, poll_Hz: float | None, time_constant_s: float) -> Spectral:
    """What a first-order filter leaves of the power at each frequency, before polls or behind them."""
    if time_constant_s <= 0:
        return np.ones_like(frequency)
    turn = 2 * np.pi * frequency
    if poll_Hz is None:
        return 1 / (1 + (turn * time_constant_s) ** 2)
    alpha = -math.expm1(-1 / (poll_Hz * time_constant_s))
    kept = 1 - alpha
    gain: Spectral = alpha**2 / (1 - 2 * kept * np.cos(turn / poll_Hz) + kept**2)  # the same for all that folds alike
    return gain
