"""A tank's level as evenly spaced samples: what was polled and kept, or what an independent recorder wrote.

Knows the options of `gaugehouse loop damping` that choose them; refuses to judge what is in them.
"""

from argparse import Namespace
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from gaugehouse.burst import read_burst
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.looking import span_of
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.site import Site
from gaugehouse.sitefile import quantities
from gaugehouse.stores import look_into_readings
from models.damping import Sampling
from models.reading import BAD, EXACT, Reading
from models.spectrum import LEAST_SAMPLES
from models.tank import Tank

HOUR_MS: Final = 3_600_000
MOST_READINGS: Final = 200_000
HOLE_POLLS: Final = 3


class Signal(NamedTuple):
    """Evenly sampled values of a tank's level. levels_m: None where the file's unit says nothing of level."""

    sampling: Sampling
    values: npt.NDArray[np.float64]
    unit: str
    levels_m: npt.NDArray[np.float64] | None
    told: str


def positive(option: str, text: str | None, unit: str, example: str) -> float | None:
    """A positive quantity of an option, None where it is not given."""
    value = quantity_or_none(option, text, unit, example)
    if value is not None and not value > 0:
        raise CallError(f'{option} "{text}": must be above zero, such as "{example}"')
    return value


def hertz(option: str, text: str) -> float:
    if "rpm" in text or "rev" in text:
        raise CallError(f'{option} "{text}": divide turns a minute by 60 and write Hz, such as "24.7 Hz"')
    value = positive(option, text, "Hz", "24.7 Hz")
    assert value is not None
    return value


def polled(site: Site, tank: Tank, args: Namespace, update_s: float | None) -> Signal:
    """The longest even stretch of trusted levels that the store has of the time asked for (default: its last hour)."""
    for option in ("rate", "column", "channel", "unit", "shunt", "full_scale"):
        if getattr(args, option) is not None:
            raise CallError(f"--{option.replace('_', '-')} is for a recorder's file; give --file too")
    start, end = span_of(args, site)
    with look_into_readings(site) as store:
        latest = store.latest(tank.id)
        if latest is None:
            raise CallError(f"{site.store_path}: nothing is kept of tank {tank.id} yet")
        until = latest.time_ms + 1 if end is None else end
        begin = until - HOUR_MS if start is None else start
        kept: list[Reading] = []
        for reading in store.read(tank.id, begin, until):
            kept.append(reading)
            if len(kept) > MOST_READINGS:
                raise CallError(f"more than {MOST_READINGS} readings in that time; ask for less with --from and --to")
    levels, period_ms, first_ms, lost = even_stretch(kept)
    if len(levels) < LEAST_SAMPLES:
        raise CallError(
            f"tank {tank.id}: {len(levels)} trusted levels in a row from {iso_ms(begin)} to {iso_ms(until)}, and a "
            f"spectrum needs {LEAST_SAMPLES}; choose another time with --from and --to"
        )
    told = f"{len(levels)} levels polled every {period_ms / 1000:g} s from {iso_ms(first_ms)}, {lost} lost"
    array = np.array(levels)
    return Signal(Sampling(1000 / period_ms, True, update_s), array, "m", array, told)


def even_stretch(readings: list[Reading]) -> tuple[list[float], float, int, int]:
    """The longest stretch of trusted levels without a hole of more than 3 polls, on an even grid.

    Gives the levels, the usual step in ms, the time of the first and how many polls were lost and filled in by a
    straight line.
    """
    told = (r for r in readings if r.quality is not BAD and r.bound is EXACT)
    good = [(r.time_ms, r.level_m) for r in told if r.level_m is not None]
    if len(good) < 2:
        return [], 0.0, 0, 0
    period_ms = float(np.median(np.diff([time_ms for time_ms, _ in good])))
    stretches: list[list[tuple[int, float]]] = [[]]
    for time_ms, level_m in good:
        last = stretches[-1][-1][0] if stretches[-1] else time_ms
        if not 0 <= time_ms - last <= HOLE_POLLS * period_ms:
            stretches.append([])
        stretches[-1].append((time_ms, level_m))
    longest = max(stretches, key=len)
    first_ms = longest[0][0]
    places: dict[int, float] = {}
    for time_ms, level_m in longest:
        places[round((time_ms - first_ms) / period_ms)] = level_m
    grid = range(max(places) + 1)
    levels = np.interp(np.array(grid), np.array(sorted(places)), np.array([places[k] for k in sorted(places)]))
    return [float(level) for level in levels], period_ms, first_ms, len(grid) - len(places)


def recorded(tank: Tank, args: Namespace, update_s: float | None) -> Signal:
    """A recorder's file, in m of level where its unit says how."""
    if args.start is not None or args.end is not None:
        raise CallError("--from and --to choose from what was polled; a recorder's file is taken whole")
    rate = None if args.rate is None else hertz("--rate", args.rate)
    burst = read_burst(args.file, rate, args.column, args.channel)
    values, unit = burst.values, burst.unit
    if args.unit is not None:
        if unit and unit != args.unit:
            raise CallError(f"{args.file}: its header says [{unit}] and --unit says {args.unit}; leave --unit out")
        unit = args.unit
    if args.full_scale is not None:
        number, _, scale = args.full_scale.strip().partition(" ")
        try:
            values = values * float(number)
        except ValueError:
            raise CallError(f'--full-scale "{args.full_scale}": write a number and a unit, such as "20 mA"') from None
        unit = scale.strip()
    levels = None if not unit else _levels(tank, values, unit, args.shunt)
    told = f"{args.file}: {values.size} samples at {burst.rate_Hz:g} Hz, {values.size / burst.rate_Hz:.1f} s"
    shown = values if levels is None else levels
    return Signal(Sampling(burst.rate_Hz, False, update_s), shown, unit if levels is None else "m", levels, told)


def _levels(
    tank: Tank, values: npt.NDArray[np.float64], unit: str, shunt: str | None
) -> npt.NDArray[np.float64] | None:
    """Values of a recorder as level: a length, a current, or volts over a shunt."""
    if quantities.converts(unit, "m"):
        factor, constant = quantities.linear(unit, "m")
        return factor * values + constant
    if quantities.converts(unit, "V"):
        ohm = positive("--shunt", shunt, "ohm", "250 ohm")
        if ohm is None:
            raise CallError(f"values in {unit} are over a shunt; give it with --shunt, such as --shunt '250 ohm'")
        values, unit = quantities.linear(unit, "V")[0] * values / ohm * 1000, "mA"
    if not quantities.converts(unit, "mA"):
        return None
    ends = tank.range_m
    if ends is None:
        raise CallError(f"tank {tank.id} has no at_4mA and at_20mA: record a length, not a current")
    return ends[0] + (quantities.linear(unit, "mA")[0] * values - 4) / 16 * (ends[1] - ends[0])
