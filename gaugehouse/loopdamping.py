"""`gaugehouse loop damping`: what moves a level signal, what damping it would gain and cost, what to set and why.

From what the daemon has polled and kept, or from a burst file of an independent recorder.
"""

from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from gaugehouse.errors import CallError
from gaugehouse.levelsignal import Signal, hertz, polled, positive, recorded
from gaugehouse.printing import as_json, table
from gaugehouse.site import Site, load_site
from models import damping as d
from models.errors import OutOfRange
from models.slosh import slosh_Hz
from models.spectrum import Spectrum, slope_per_s, spectrum
from models.tank import Tank

UPRIGHT_FRAC: Final = 0.02
MOVING_M_PER_S: Final = 0.001 / 60
"""A level that moves faster is no longer at rest (common practice, no source)."""
CAUTION: Final = (
    "Recorders are connected by people who may: hazardous areas are for licensed practice. Follow local codes."
)


class Figures(NamedTuple):
    """Everything that the command prints."""

    tank: str
    signal: Signal
    spectrum: Spectrum
    lines: list[d.Line]
    suspects: list[str]
    slosh_Hz: tuple[float, ...]
    slope_m_per_s: float | None
    fill_m3_per_s: float | None
    rows: list[d.Row]
    advice: d.Advice | None


def damping(args: Namespace) -> int:
    """Print the advice for one tank."""
    site = load_site(Path(args.site))
    known = [tank.id for tank in site.tanks]
    if args.tank not in known:
        raise CallError(f"{site.path}: no tank {args.tank!r}; there are {', '.join(known)}")
    found = _figures(site, site.tank(args.tank), args)
    print(as_json(_json(found)) if args.json else "\n".join(_lines(found)))
    return 0


def _figures(site: Site, tank: Tank, args: Namespace) -> Figures:
    update_s = positive("--update", args.update, "s", "0.5 s")
    signal = recorded(tank, args, update_s) if args.file is not None else polled(site, tank, args, update_s)
    try:
        found = spectrum(signal.values, signal.sampling.rate_Hz)
    except OutOfRange as error:
        raise CallError(f"{signal.told}: {error}") from error
    level_m = None if signal.levels_m is None else float(np.mean(signal.levels_m))
    slosh = _slosh(tank, level_m)
    lines = d.lines_of(found, signal.sampling, slosh)
    suspects = [
        d.suspected(hertz("--suspect", text), signal.sampling, slosh, found.resolution_Hz)
        for text in args.suspect or ()
    ]
    fill = _fill(site, tank, args)
    rows: list[d.Row] = []
    advice = slope = None
    if signal.levels_m is not None and level_m is not None:
        poll_Hz = signal.sampling.rate_Hz if signal.sampling.polled else 1000 / site.period_ms[tank.instrument]
        rise = None if fill is None else fill / _area_m2(tank, level_m)
        rows = d.table_of(signal.levels_m, signal.sampling, lines, poll_Hz, rise)
        slope = slope_per_s(signal.levels_m, signal.sampling.rate_Hz)
        aim_m = positive("--aim", args.aim, "m", "1 mm")
        high = next((limit for limit in site.alarms_of(tank.id).limits if limit.condition == "high"), None)
        advice = d.advice_of(
            rows,
            lines,
            d.spikes_of(signal.levels_m, 0.001),
            d.AIM_M if aim_m is None else aim_m,
            high.deadband if high is not None and high.deadband > 0 else d.LAG_M,
        )
    return Figures(tank.id, signal, found, lines, suspects, slosh, slope, fill, rows, advice)


def _fill(site: Site, tank: Tank, args: Namespace) -> float | None:
    response = site.extras[tank.id].response
    given = positive("--fill-rate", args.fill_rate, "m3/s", "1000 L/min")
    return given if given is not None else None if response is None else response.max_fill_m3_per_s


def _area_m2(tank: Tank, level_m: float) -> float:
    table_ = tank.table
    return table_.area_m2(min(max(level_m, table_.bottom_m), table_.top_m))


def _slosh(tank: Tank, level_m: float | None) -> tuple[float, ...]:
    """How the surface swings where the tank is upright, taken as round; nothing for another shape."""
    table_ = tank.table
    height = table_.top_m - table_.bottom_m
    low, middle, high = (table_.area_m2(table_.bottom_m + part * height) for part in (0.3, 0.5, 0.7))
    if max(abs(low - middle), abs(high - middle)) > UPRIGHT_FRAC * middle:
        return ()
    depth = height / 2 if level_m is None else level_m - table_.bottom_m
    return slosh_Hz(2 * float(np.sqrt(middle / np.pi)), depth)


def _json(found: Figures) -> dict[str, Any]:
    sampling = found.signal.sampling
    return {
        "tank": found.tank,
        "source": "polled" if sampling.polled else "recorder",
        "signal": found.signal.told,
        "rate_Hz": sampling.rate_Hz,
        "update_s": sampling.update_s,
        "highest_Hz": sampling.highest_Hz,
        "sees": sampling.words,
        "resolution_Hz": found.spectrum.resolution_Hz,
        "unit": found.signal.unit,
        "slosh_Hz": list(found.slosh_Hz),
        "slope_m_per_s": found.slope_m_per_s,
        "lines": [
            {"frequency_Hz": p.frequency_Hz, "amplitude": p.amplitude, "kind": kind.value, "words": words}
            for p, kind, words in found.lines
        ],
        "suspects": found.suspects,
        "fill_m3_per_s": found.fill_m3_per_s,
        "time_constants": [{**row._asdict(), "delay_s": row.delay_s} for row in found.rows],
        "advice": None if found.advice is None else found.advice._asdict(),
    }


def _lines(found: Figures) -> Iterator[str]:
    signal = found.signal
    yield f"tank {found.tank}: {signal.told}"
    yield f"  {signal.sampling.words}"
    if found.slosh_Hz:
        modes = ", ".join(f"{f:.3f}" for f in found.slosh_Hz)
        yield f"  slosh of this tank, taken as round: {modes} Hz (linear theory)"
    if found.slope_m_per_s is not None and abs(found.slope_m_per_s) > MOVING_M_PER_S:
        speed = 60_000 * found.slope_m_per_s
        yield f"  the level moved by {speed:+.1f} mm/min meanwhile: a time at rest tells more"
    unit = "mm" if signal.unit == "m" else signal.unit
    factor = 1000 if signal.unit == "m" else 1
    yield "" if found.lines else "  no line stands out of the noise"
    for peak, _, words in found.lines:
        size = f"{factor * peak.amplitude:.3g} {unit}".strip()
        yield f"  {peak.frequency_Hz:.3f} Hz, {size}: {words}"
    yield from (f"  {words}" for words in found.suspects)
    if found.rows:
        rows = [_cells(row) for row in found.rows]
        yield ""
        yield table(tuple(rows[0]), rows)
        at = "not known, give --fill-rate" if found.fill_m3_per_s is None else f"{60_000 * found.fill_m3_per_s:g} L/min"
        yield f"noise: standard deviation, a straight line taken out; lag: at the largest flow ({at})"
    if found.advice is not None:
        yield ""
        yield from (f"{'advice: ' if k == 0 else '  '}{why}" for k, why in enumerate(found.advice.reasons))
    elif signal.levels_m is None:
        yield "  its values have no unit of length or current: lines only; give --unit or --full-scale"
    yield CAUTION


def _cells(row: d.Row) -> dict[str, Any]:
    """One row of the table; the damping of a transmitter is told from a recorder's file only."""
    here = {"time constant [s]": row.time_constant_s, "noise, filter here [mm]": 1000 * row.noise_m}
    transmitter = {} if row.transmitter_m is None else {"noise, in the transmitter [mm]": 1000 * row.transmitter_m}
    lag = None if row.lag_m is None else 1000 * row.lag_m
    return {**here, **transmitter, "lag [mm]": lag, "high later by [s]": row.delay_s}
