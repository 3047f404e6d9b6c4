"""Tanks of the site file: as the models take them, with their limits, what is watched beside those, and the rest."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS, RATE_CONDITIONS, Limit
from gaugehouse.sitefile import facts
from gaugehouse.sitefile.concerns import on_delay_ms, response_of
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.filterfacts import filter_of
from gaugehouse.sitefile.schema import ROLES, LimitsTable, TankTable
from gaugehouse.sitefile.signalfacts import SI, level_step_m, linear_of, signal_of
from gaugehouse.sitefile.stockfacts import certificate_of, given_accuracy, head_of, roof_of, shell_of
from gaugehouse.sitefile.tankchecks import level_kind, reach_m
from gaugehouse.sitefile.watchfacts import watch_limits
from models.signal import NE43_2003, Ne43
from models.tank import LevelKind, Linear, Measures, Tank

PRIORITIES: Final = {"critical_high": 1, "high_high": 1, "low": 3}
OTHER_PRIORITY: Final = 2
RATE_DEADBAND: Final = 0.1
"""A rate alarm's deadband where none is given, as a part of its limit: our own choice."""


def tank_of(draft: Draft, tank: TankTable) -> Tank:
    kind = level_kind(signal_of(draft, tank.level).unit)
    assert kind is not None, "the level's unit was checked"
    level = linear_of(draft, tank.level, SI[kind])
    by_name = SignalRef(tank.level.instrument, "current")
    if kind is LevelKind.CURRENT:
        current: Linear | None = level
    else:
        current = linear_of(draft, by_name, "mA") if draft.signal(by_name) is not None else None
    return Tank(
        id=tank.id,
        name=tank.name or tank.id,
        product=tank.product,
        level=level,
        kind=kind,
        measures=tank.measures or Measures.INNAGE,
        table=draft.capacities[tank.id],
        reference_height_m=tank.reference_height,
        at_4mA_m=tank.at_4mA,
        at_20mA_m=tank.at_20mA,
        current_signal=current,
        temperature=None if tank.temperature == "none" else linear_of(draft, tank.temperature, "degC"),
        water=None if tank.water in ("none", "dips") else linear_of(draft, tank.water, "m"),
        ambient=_ambient(draft, tank.id),
        water_from_dips=tank.water == "dips",
        max_age_ms=tank.max_age,
        tolerance_frac=tank.tolerance / 100,
        ne43=NE43_2003
        if tank.ne43 is None
        else Ne43(tank.ne43.fail_low, tank.ne43.low, tank.ne43.high, tank.ne43.fail_high),
        shell=shell_of(tank, draft.file.site.reference_temperature),
        roof=roof_of(tank.roof),
        pressure_kPa=tank.pressure,
        head=head_of(tank),
    )


def _second(draft: Draft, table: TankTable, tank: Tank) -> Tank | None:
    """The tank as its second gauge sees it."""
    second = table.second_level
    if second is None:
        return None
    kind = level_kind(signal_of(draft, second.level).unit)
    assert kind is not None, "the level's unit was checked"
    level = linear_of(draft, second.level, SI[kind])
    return replace(
        tank,
        level=level,
        kind=kind,
        measures=second.measures or Measures.INNAGE,
        at_4mA_m=second.at_4mA,
        at_20mA_m=second.at_20mA,
        current_signal=level if kind is LevelKind.CURRENT else None,
    )


def _ambient(draft: Draft, tank_id: str) -> Linear | None:
    """The air temperature of a tank: that of a point which speaks of it, else that of one which speaks of no tank."""
    points = [point for point in draft.file.point if point.role == "ambient_temperature"]
    for wanted in (tank_id, None):
        for point in points:
            if point.tank == wanted:
                return linear_of(draft, point.signal, ROLES[point.role])
    return None


def watch_of(draft: Draft, table: TankTable, tank: Tank) -> facts.TankWatch:
    """What the site file has watched at a tank beside its limits."""
    limits, second = tuple(watch_limits(table)), _second(draft, table, tank)
    rise = None if table.watch is None else table.watch.water_rising
    moved = None if table.watch is None else table.watch.unordered_movement
    watch = facts.TankWatch(limits, second=second)
    if rise is not None:
        watch = replace(watch, water_over_ms=rise.over)
    if moved is not None:
        hours = None if moved.hours is None else facts.Hours(*moved.hours)
        watch = replace(watch, movement_over_ms=moved.over, settle_ms=moved.settle, still_hours=hours)
    return watch


def level_step_of(draft: Draft, tank: Tank) -> float | None:
    """The smallest step of a tank's level in m."""
    return level_step_m(signal_of(draft, SignalRef(tank.level.instrument, tank.level.signal)), tank)


def reach_of(draft: Draft, tank: TankTable) -> float:
    known = reach_m(tank)
    return draft.capacities[tank.id].top_m if known is None else known[0]


def extras_of(tank: TankTable, folder: Path, reference_degC: float) -> facts.TankExtras:
    fill = tank.safe_fill
    return facts.TankExtras(
        capacity_source=None if tank.capacity is None else folder / tank.capacity,
        blocking_m=tank.blocking_level,
        independent_high_high=tank.independent_high_high,
        overfill_category=tank.overfill_category,
        response=None if tank.response is None else response_of(tank.response),
        certificate=certificate_of(tank, reference_degC),
        accepted_by=tank.accepted_by,
        given_accuracy=given_accuracy(tank.accuracy),
        at_rest_after_ms=tank.accuracy.at_rest_after,
        suction_m=tank.suction,
        fastest_m_per_s=tank.fastest_change,
        waves_m=tank.surface_waves,
        noisy_above_m=tank.noisy_above,
        safe_fill=None
        if fill is None
        else facts.SafeFillSpec(fill.rule, fill.rate, fill.time, fill.percent, fill.source),
        filter=filter_of(tank.filter),
    )


def limits_of(limits: LimitsTable, levels: Mapping[str, float]) -> tuple[Limit, ...]:
    """Highest level first, then the rates, with the defaults of each."""
    made = []
    for name in (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS):
        level = getattr(limits, name)
        if level is not None:
            delay = on_delay_ms(name, level.on_delay)
            priority = level.priority or PRIORITIES.get(name, OTHER_PRIORITY)
            made.append(Limit(name, levels[name], level.deadband, delay, level.off_delay, priority))
    for name in RATE_CONDITIONS:
        rate = getattr(limits, name)
        if rate is not None:
            deadband = rate.deadband.value if rate.deadband else float(f"{RATE_DEADBAND * rate.at.value:.12g}")
            priority = rate.priority or PRIORITIES.get(name, OTHER_PRIORITY)
            made.append(Limit(name, rate.at.value, deadband, rate.on_delay, rate.off_delay, priority, rate.at.per))
    return tuple(made)
