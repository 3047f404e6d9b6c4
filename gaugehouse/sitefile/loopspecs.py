"""What the fault tracker knows of each loop: which signals follow the level, what moves and noise are possible."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from alerts.spec import LoopFacts
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.quantities import linear
from gaugehouse.sitefile.schema import InstrumentTable, TankTable
from gaugehouse.sitefile.signalfacts import level_step_m, m_per_unit, span_m, step_of
from gaugehouse.sitefile.tankchecks import level_kind
from models.signal import NE43_2003
from models.tank import LevelKind, Linear, Measures, Tank

NOISY_PART: Final = 0.003
WAVES_PART: Final = 0.025
FASTEST_S: Final = 180.0
"""Parts of the gauge's range: noise and waves that are never a fault where the site says nothing, and the time in which
no tank of a fuel farm is filled or emptied. Common practice, no source; meant to be too wide rather than too narrow."""

FAR: Final = 1e12
"""Beyond every register: an open end, and a number that JSON can hold."""


def loops_of(draft: Draft, tanks: Sequence[Tank]) -> tuple[LoopFacts, ...]:
    """What the fault tracker knows of each instrument; the first tank that it gauges sets range and limits."""
    on: dict[str, list[Tank]] = {}
    for tank in tanks:
        on.setdefault(tank.instrument, []).append(tank)
    tables = {table.id: table for table in draft.file.tank}
    return tuple(_loop(i, on.get(i.id, []), tables) for i in draft.file.instrument)


def _loop(instrument: InstrumentTable, tanks: Sequence[Tank], tables: Mapping[str, TankTable]) -> LoopFacts:
    tank = tanks[0] if tanks else None
    table = tables[tank.id] if tank else None
    current = tank.current_signal if tank else None
    if current is None:
        named = next((s for s in instrument.signal if s.name == "current"), None)
        current = None if named is None else Linear(instrument.id, named.name, *linear(named.unit, "mA"))
    return LoopFacts(
        instrument=instrument.id,
        current_signal=None if current is None else current.signal,
        current_factor=1.0 if current is None else current.factor,
        current_constant=0.0 if current is None else current.constant,
        level_signals=tuple(dict.fromkeys(tank.level.signal for tank in tanks)),
        possible={tank.level.signal: possible(tank) for tank in tanks if tank.kind is LevelKind.LENGTH},
        percent_signal=next((tank.level.signal for tank in tanks if tank.kind is LevelKind.PERCENT), None),
        watched=_watched(instrument, tanks),
        ne43=tank.ne43 if tank else NE43_2003,
        frozen_after_ms=instrument.frozen_after,
        **_motion(instrument, tank, table),
    )


def _motion(instrument: InstrumentTable, tank: Tank | None, table: TankTable | None) -> dict[str, Any]:
    """How far a level may move and swing; nothing is judged where the instrument gauges no tank."""
    if tank is None or table is None:
        return {}
    range_m = span_m(tank)
    factors = {s.name: m_per_unit(s, tank) for s in instrument.signal if level_kind(s.unit) is not None}
    above, waves = table.noisy_above, table.surface_waves
    return {
        "m_per_unit": factors,
        "noisy_above_m": NOISY_PART * range_m if above is None else above,
        "fastest_m_per_s": table.fastest_change or range_m / FASTEST_S,
        "waves_m": WAVES_PART * range_m if waves is None else waves,
    }


def possible(tank: Tank) -> tuple[float, float]:
    """Between what a digital level signal must lie, in its declared unit, to be a level at all (`Tank.floor_m`)."""
    floor = tank.floor_m if tank.measures is Measures.INNAGE else tank.reference_height_m - tank.floor_m
    edge = (floor - tank.level.constant) / tank.level.factor
    upward = (tank.measures is Measures.INNAGE) == (tank.level.factor > 0)
    return (edge, FAR) if upward else (-FAR, edge)


def _watched(instrument: InstrumentTable, tanks: Sequence[Tank]) -> tuple[tuple[str, float | None], ...]:
    """The signals that follow the level, finest first; a float without a told resolution is taken as the finest."""
    gauging = {tank.level.signal for tank in tanks} | {"current", "level", "percent"}
    found = [
        (signal.name, step_of(signal), level_step_m(signal, tanks[0] if tanks else None) or 0.0)
        for signal in instrument.signal
        if signal.name in gauging and level_kind(signal.unit) is not None
    ]
    return tuple((name, step) for name, step, _ in sorted(found, key=lambda item: item[2]))
