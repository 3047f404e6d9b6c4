"""Advice on damping a level: what its lines may be, what time constants leave and cost, which one to take and why.

Knows one signal's spectrum and what the tank allows; refuses to guess beyond what its sampling can show: a line that
may be folded is said to be, and no time constant is advised for the sake of noise that a wire picked up.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import signal  # type: ignore[import-untyped]  # it ships no types

from models.spectrum import Peak, Spectrum, folded_Hz, left_by_first_order, unfolded_Hz

TIME_CONSTANTS_S: Final = (0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0)
MAINS_HZ: Final = (50.0, 60.0)
MAINS_WIDTH_HZ: Final = 0.3
"""A supply's frequency is no steadier than this on a weak net (common practice, no source)."""
HARMONICS: Final = 10
SLOSH_WIDTH_HZ: Final = 0.03
SURFACE_HZ: Final = 2.0
"""Below this a line is a motion of the surface rather than of a machine (common practice, no source)."""
MOTORS_HZ: Final = ((24.0, 25.0), (28.8, 30.0))
"""Turns of four-pole induction motors on 50 and 60 Hz, with up to 4 % of slip (from memory)."""
FASTEST_HZ: Final = 100.0
LAG_M: Final = 0.010
"""A filter that lags by more than a limit's usual deadband at the largest flow is too slow: our own choice."""
AIM_M: Final = 0.001
_SPIKE: Final = 8.0
_RARE: Final = 0.02


class Sampling(NamedTuple):
    """How a signal came. polled: by this daemon, otherwise by an independent recorder. update_s: how often the
    transmitter itself measures, None where that is not known."""

    rate_Hz: float
    polled: bool
    update_s: float | None = None

    @property
    def highest_Hz(self) -> float:
        """The fastest motion of a surface that can be seen this way."""
        own = [] if self.update_s is None else [1 / (2 * self.update_s)]
        return min([self.rate_Hz / 2, *own])

    @property
    def words(self) -> str:
        period = f"{1 / self.rate_Hz:.3g} s"
        if not self.polled:
            limit = f"half of the recorder's {self.rate_Hz:g} Hz"
        else:
            limit = f"half of the polling rate (one poll in {period})"
        if self.update_s is not None and 1 / (2 * self.update_s) < self.rate_Hz / 2:
            limit = f"half of the transmitter's own rate (one update in {self.update_s:g} s)"
        return f"the highest frequency of a moving surface that can be seen this way is {self.highest_Hz:g} Hz, {limit}"


class LineKind(StrEnum):
    UNKNOWN = "cannot be told"
    SURFACE = "surface"
    MACHINE = "vibration"
    PICKUP = "electrical pick-up"
    FASTER = "faster than the transmitter"


class Line(NamedTuple):
    """One line of the spectrum, what it is taken for, and why."""

    peak: Peak
    kind: LineKind
    words: str


def lines_of(spectrum: Spectrum, sampling: Sampling, slosh_Hz: Sequence[float]) -> list[Line]:
    """Every line of a spectrum, judged. slosh_Hz: how the tank's surface swings, empty where that is not known."""
    width = max(SLOSH_WIDTH_HZ, 2 * spectrum.resolution_Hz)
    judge = _polled if sampling.polled else _recorded
    return [judge(peak, spectrum, sampling, _near(peak.frequency_Hz, slosh_Hz, width)) for peak in spectrum.peaks]


def _near(frequency_Hz: float, among_Hz: Sequence[float], width_Hz: float) -> float | None:
    found = min(among_Hz, key=lambda other: abs(other - frequency_Hz), default=None)
    return found if found is not None and abs(found - frequency_Hz) <= width_Hz else None


def _polled(peak: Peak, spectrum: Spectrum, sampling: Sampling, slosh: float | None) -> Line:
    f, period = peak.frequency_Hz, f"{1 / sampling.rate_Hz:.3g} s"
    others = same_as(f, sampling.rate_Hz)
    own = "" if sampling.update_s is None else _own_folding(f, sampling.update_s)
    if slosh is not None:
        words = (
            f"the surface of this tank swings at {slosh:.2f} Hz, but polled every {period} slosh cannot be told from "
            f"vibration: {others} show at the same place{own}"
        )
    else:
        words = f"polled every {period} it cannot be told from what is folded: {others} show at the same place{own}"
    return Line(peak, LineKind.UNKNOWN, words)


def _own_folding(frequency_Hz: float, update_s: float) -> str:
    """What the transmitter's own updates do to a line that was polled."""
    if frequency_Hz > 1 / (2 * update_s):
        return (
            f"; as the transmitter measures only every {update_s:g} s, this is what its steps make of a slower motion"
        )
    others = unfolded_Hz(frequency_Hz, 1 / update_s, FASTEST_HZ)[:2]
    if not others:
        return ""
    return f"; its own updates every {update_s:g} s fold {_list(others)} there before any poll"


def same_as(shown_Hz: float, rate_Hz: float) -> str:
    """In words: the other frequencies that show at the same place, the nearest ones, motors and supplies."""
    every = unfolded_Hz(shown_Hz, rate_Hz, FASTEST_HZ)
    motors = [f for f in every if any(low <= f <= high for low, high in MOTORS_HZ)]
    supplies = [f for mains in MAINS_HZ for f in every if abs(f - mains) <= 0.5]
    parts = [_list(every[:2])]
    if motors:
        parts.append(f"a motor at {_list(motors)}")
    if supplies:
        parts.append(f"a supply at {_list(supplies)}")
    return ", ".join(parts)


def _list(frequencies: Sequence[float]) -> str:
    return f"{', '.join(f'{f:.3g}' for f in frequencies)} Hz"


def _recorded(peak: Peak, spectrum: Spectrum, sampling: Sampling, slosh: float | None) -> Line:
    f, update_s = peak.frequency_Hz, sampling.update_s
    mains = mains_of(f, spectrum.resolution_Hz)
    if mains is not None:
        times = round(f / mains)
        harmonic = "" if times == 1 else f" times {times}"
        words = (
            f"{mains:g} Hz{harmonic} is the mains: electrical pick-up in the wires, which no damping of the "
            "transmitter takes out; look at screen, earth and what runs beside the cable"
        )
        return Line(peak, LineKind.PICKUP, words)
    if update_s is not None and f > 1 / (2 * update_s):
        words = (
            f"the transmitter, which measures every {update_s:g} s, passes no motion faster than "
            f"{1 / (2 * update_s):g} Hz: this came into the current behind it, or into the recorder"
        )
        return Line(peak, LineKind.FASTER, words)
    if slosh is not None:
        return Line(
            peak, LineKind.SURFACE, f"the surface of this tank swings so, at {slosh:.2f} Hz{_folded(f, update_s)}"
        )
    if f < SURFACE_HZ:
        return Line(peak, LineKind.SURFACE, f"as slow as waves and inflow move a surface{_folded(f, update_s)}")
    words = (
        f"vibration, as of a machine at {60 * f:.0f} turns a minute{_folded(f, update_s)}; look at what runs so and "
        "how the gauge is mounted"
    )
    return Line(peak, LineKind.MACHINE, words)


def _folded(frequency_Hz: float, update_s: float | None) -> str:
    """The doubt that the transmitter's own updates leave about a line of its current."""
    if update_s is None:
        return ", unless the transmitter's own updates have folded it (how often it measures was not given)"
    others = unfolded_Hz(frequency_Hz, 1 / update_s, FASTEST_HZ)[:2]
    return f", or {_list(others)} folded by its updates every {update_s:g} s" if others else ""


def mains_of(frequency_Hz: float, resolution_Hz: float) -> float | None:
    """50 or 60 where a line is at one of their multiples."""
    width = max(MAINS_WIDTH_HZ, 1.5 * resolution_Hz)
    found = [
        (abs(frequency_Hz - times * mains), mains)
        for mains in MAINS_HZ
        for times in range(1, HARMONICS + 1)
        if abs(frequency_Hz - times * mains) <= width
    ]
    return min(found)[1] if found else None


def suspected(frequency_Hz: float, sampling: Sampling, slosh_Hz: Sequence[float], resolution_Hz: float) -> str:
    """What sampling makes of a frequency that somebody suspects, in words."""
    if frequency_Hz <= sampling.rate_Hz / 2:
        return f"{frequency_Hz:g} Hz shows as it is"
    shown = folded_Hz(frequency_Hz, sampling.rate_Hz)
    slosh = _near(shown, slosh_Hz, max(SLOSH_WIDTH_HZ, 2 * resolution_Hz))
    where = f"{frequency_Hz:g} Hz shows at {shown:.3f} Hz when it is sampled every {1 / sampling.rate_Hz:.3g} s"
    if slosh is not None:
        return f"{where}: it cannot be told from slosh, the surface of this tank swings at {slosh:.2f} Hz"
    return f"{where}: it cannot be told from a motion as slow as that"


class Row(NamedTuple):
    """What a time constant leaves and costs. noise_m: with a filter behind the polls; transmitter_m: with the damping
    of the transmitter before them, None where only polls were seen. lag_m: at the largest flow, None where that is not
    known."""

    time_constant_s: float
    noise_m: float
    transmitter_m: float | None
    lag_m: float | None

    @property
    def delay_s(self) -> float:
        """By so much a rising level raises its alarm later: a first-order lag counts with its full time constant."""
        return self.time_constant_s


def table_of(
    levels_m: npt.ArrayLike,
    sampling: Sampling,
    lines: Sequence[Line],
    poll_Hz: float,
    rise_m_per_s: float | None,
) -> list[Row]:
    """Remaining noise and lag for each time constant; lines that are electrical are left out, they are to be mended."""
    electrical = tuple(line.peak.frequency_Hz for line in lines if line.kind in (LineKind.PICKUP, LineKind.FASTER))

    def left(time_constant_s: float, poll_Hz: float | None) -> float:
        return left_by_first_order(levels_m, sampling.rate_Hz, time_constant_s, poll_Hz=poll_Hz, without_Hz=electrical)

    return [
        Row(
            t,
            left(t, poll_Hz),
            None if sampling.polled else left(t, None),
            None if rise_m_per_s is None else rise_m_per_s * t,
        )
        for t in TIME_CONSTANTS_S
    ]


def spikes_of(levels: npt.ArrayLike, step: float = 0.0) -> int:
    """How many samples stand alone far from their neighbours; 0 where so many do that they are the noise itself."""
    array = np.asarray(levels, dtype=np.float64)
    off = np.abs(array - signal.medfilt(array, 5))
    usual = max(1.4826 * float(np.median(np.abs(np.diff(array)))), step, 1e-12)
    count = int(np.count_nonzero(off > _SPIKE * usual))
    return count if count <= _RARE * array.size else 0


class Advice(NamedTuple):
    """What to do. time_constant_s: 0 for no damping, None where no time constant helps. `reasons`: a sentence each."""

    time_constant_s: float | None
    reasons: tuple[str, ...]


def advice_of(
    rows: Sequence[Row], lines: Sequence[Line], spikes: int, aim_m: float = AIM_M, lag_m: float = LAG_M
) -> Advice:
    """The shortest time constant that leaves no more noise than aim_m, if its lag at the largest flow allows it."""
    chosen, why = _choose(rows, aim_m, lag_m)
    reasons = [why]
    if spikes:
        reasons.append(
            f"{spikes} samples stand alone as spikes: a median of 3 polls takes such out at a lag of one poll"
        )
    if chosen != 0 and any(line.kind is LineKind.UNKNOWN for line in lines):
        reasons.append(
            "before that, record a burst of some minutes at 200 Hz or more with an independent recorder: what was "
            "folded is mended where it comes from, not by a filter"
        )
    if any(line.kind in (LineKind.PICKUP, LineKind.FASTER) for line in lines):
        reasons.append("what is electrical is not in the table: mend the wiring")
    quicker = next((r for r in rows if r.transmitter_m is not None and r.transmitter_m <= aim_m), None)
    if (
        quicker is not None
        and quicker.time_constant_s > 0
        and (chosen is None or 2 * quicker.time_constant_s <= chosen)
    ):
        reasons.append(
            f"damping in the transmitter would need {quicker.time_constant_s:g} s only, as there it acts before the "
            "polls fold what is fast; but it hides the level from high-high too, and belongs in [tank.response] then"
        )
    if chosen:
        reasons.append(
            "set it as [tank.filter], where high-high and critical high stay undamped, rather than in the transmitter"
        )
    return Advice(chosen, tuple(reasons))


def _choose(rows: Sequence[Row], aim_m: float, lag_m: float) -> tuple[float | None, str]:
    bare, aim = rows[0], f"{1000 * aim_m:g} mm"
    if bare.noise_m <= aim_m:
        return 0.0, f"no damping: the noise of {1000 * bare.noise_m:.2f} mm is no more than {aim}"
    quick = [row for row in rows if row.lag_m is None or row.lag_m <= lag_m]
    enough = next((row for row in rows if row.noise_m <= aim_m), None)
    if enough is not None and enough in quick:
        return enough.time_constant_s, (
            f"a first-order filter of {enough.time_constant_s:g} s: the shortest here that leaves no more than {aim} "
            f"({1000 * enough.noise_m:.2f} mm); {_cost(enough)}"
        )
    best = quick[-1]
    if enough is None and best.noise_m > 0.7 * bare.noise_m:
        return None, (
            f"no time constant helps: {best.time_constant_s:g} s leave {1000 * best.noise_m:.2f} of "
            f"{1000 * bare.noise_m:.2f} mm, for what moves this level is slower than that"
        )
    reason = f"its lag must not pass {1000 * lag_m:g} mm" if len(quick) < len(rows) else "none here leaves less"
    return best.time_constant_s, (
        f"a first-order filter of {best.time_constant_s:g} s: it leaves {1000 * best.noise_m:.2f} mm, more than {aim}, "
        f"but {reason}; {_cost(best)}"
    )


def _cost(row: Row) -> str:
    late = f"a rising level raises high {row.delay_s:g} s later"
    return late if row.lag_m is None else f"it lags {1000 * row.lag_m:.1f} mm at the largest flow, {late}"
