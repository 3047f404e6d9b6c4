"""Checked tables to the domain objects of a site. Runs only where nothing is wrong; decides nothing new."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from alerts.faulttrace import TraceSpec
from alerts.selfwatch import SystemRules
from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS, RATE_CONDITIONS, Limit, LoopFacts, TankAlarms
from collector.spec import BusSpec, InstrumentSpec
from gaugehouse.sitefile import facts
from gaugehouse.sitefile.alarmsheet import AlarmSheet
from gaugehouse.sitefile.concerns import on_delay_ms, response_of
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.filterfacts import filter_of
from gaugehouse.sitefile.loopfacts import power_of
from gaugehouse.sitefile.notifyfacts import notify_of
from gaugehouse.sitefile.quantities import linear
from gaugehouse.sitefile.registersfacts import register_server_of
from gaugehouse.sitefile.schema import (
    ROLES,
    BusTable,
    InstrumentTable,
    LimitsTable,
    MqttTable,
    ProductTable,
    SignalTable,
    TankTable,
)
from gaugehouse.sitefile.serverfacts import server_of
from gaugehouse.sitefile.settings import settings_of
from gaugehouse.sitefile.settlingfacts import settling_of
from gaugehouse.sitefile.stock_accountfacts import account_rules
from gaugehouse.sitefile.stock_dips import dip_rules_of
from gaugehouse.sitefile.stock_documentfacts import documents_of
from gaugehouse.sitefile.stock_waterfacts import forecast_of, water_of
from gaugehouse.sitefile.stockfacts import (
    accuracies,
    certificate_of,
    given_accuracy,
    head_of,
    roof_of,
    safe_fill_of,
    shell_of,
)
from gaugehouse.sitefile.tankchecks import level_kind, reach_m
from gaugehouse.sitefile.watchfacts import watch_limits, watched_of
from modbus.signals import RegisterSignal, RegisterType
from models.signal import NE43_2003, Ne43
from models.tank import LevelKind, Linear, Measures, Tank

PRIORITIES: Final = {"critical_high": 1, "high_high": 1, "low": 3}
OTHER_PRIORITY: Final = 2
RATE_DEADBAND: Final = 0.1
"""A rate alarm's deadband where none is given, as a part of its limit: our own choice."""

NOISY_PART: Final = 0.003
WAVES_PART: Final = 0.025
FASTEST_S: Final = 180.0
"""Parts of the gauge's range: noise and waves that are never a fault where the site says nothing, and the time in which
no tank of a fuel farm is filled or emptied. Common practice, no source; meant to be too wide rather than too narrow."""

FAR: Final = 1e12
"""Beyond every register: an open end, and a number that JSON can hold."""

_SI: Final = {LevelKind.CURRENT: "mA", LevelKind.LENGTH: "m", LevelKind.PERCENT: "%"}
_FLOATS: Final = frozenset({RegisterType.FLOAT32, RegisterType.FLOAT64})


def build(draft: Draft, path: Path) -> facts.Site:
    """The site of a draft without mistakes, before its alarm sheet: `settled` is what the house is built from."""
    file, folder = draft.file, draft.folder
    buses = tuple(bus_of(bus, [i for i in file.instrument if i.bus == bus.id]) for bus in file.bus)
    tanks = tuple(_tank(draft, tank) for tank in file.tank)
    site = facts.Site(
        path=path,
        id=file.site.id,
        name=file.site.name or file.site.id,
        zone=file.site.zone,
        day_starts_min=file.site.day_starts,
        reference_degC=file.site.reference_temperature,
        volume_correction=file.site.volume_correction.value,
        factors=file.site.factors.value,
        altitude_m=file.site.altitude,
        store_path=folder / file.store.path,
        console_host=file.console.host,
        console_port=file.console.port,
        session_ms=file.console.session,
        console_names=tuple(file.console.names),
        console_proxies=tuple(file.console.proxies),
        console_certificate=None if file.console.certificate is None else folder / file.console.certificate,
        console_key=None if file.console.private_key is None else folder / file.console.private_key,
        alarm_sheet=None if file.alarms.sheet is None else folder / file.alarms.sheet,
        accounts=account_rules(file.stock.accounts),
        loop_check=facts.LoopCheckRules(
            file.loop_check.limit,
            file.loop_check.longest,
            file.loop_check.samples,
            file.loop_check.steady,
            file.loop_check.every,
        ),
        dip_rules=dip_rules_of(file.stock.dips),
        settling=settling_of(draft),
        alarm_rules=facts.AlarmRules(file.alarms.longest_shelf, tuple(file.alarms.acknowledged_by_return)),
        operator_positions=file.alarms.operator_positions,
        fault_trace=TraceSpec(file.faults.trace_before, file.faults.trace_after, file.faults.trace_sparse),
        system=SystemRules(
            file.system.store_late / 1000,
            file.system.publisher_late / 1000,
            file.system.disk_filling,
            file.system.clock_step,
            file.system.failed_check,
        ),
        receipts=file.stock.receipts.rules(),
        leak=file.stock.leak.rules(),
        shift_ms=file.stock.reports.shift,
        paper_size=file.stock.reports.paper,
        mqtt=None if file.mqtt is None else _mqtt(file.mqtt, folder),
        register_server=None
        if file.register_server is None
        else register_server_of(file.register_server, [tank.id for tank in tanks]),
        buses=buses,
        products=tuple(_product(p) for p in file.product),
        tanks=tanks,
        tank_alarms=tuple(
            TankAlarms(t.id, t.level.instrument, _limits(t.limits, draft.levels[t.id])) for t in file.tank
        ),
        loops=_loops(draft, tanks),
        meters=tuple(
            facts.MeterSpec(
                m.id,
                m.name or m.id,
                m.kind,
                _linear(draft, m.signal, "m3" if m.kind == "volume" else "m3/s"),
                m.factor,
                m.compensated,
                m.rolls_over_at,
                m.fills,
                m.draws_from,
            )
            for m in file.meter
        ),
        points=tuple(
            facts.PointSpec(
                p.id, p.name or p.id, p.role, _linear(draft, p.signal, ROLES[p.role]), unit, p.tank, p.alarm_when
            )
            for p in file.point
            for unit in (ROLES[p.role] or _signal(draft, p.signal).unit,)
        ),
        servers=tuple(server_of(table, folder) for table in file.store.server),
        keep_readings_ms=file.store.keep_readings,
        channels=tuple(notify_of(table, file.site.zone, folder) for table in file.notify),
        rate_window_ms=facts.frozen({t.id: t.limits.rate_window for t in file.tank}),
        reach_m=facts.frozen({t.id: _reach_m(draft, t) for t in file.tank}),
        period_ms=facts.frozen({i.id: bus.period for bus in file.bus for i in file.instrument if i.bus == bus.id}),
        signals=facts.frozen({(i.id, s.name): _register(s) for i in file.instrument for s in i.signal}),
        instrument_names=facts.frozen({i.id: i.name or i.id for i in file.instrument}),
        extras=facts.frozen({t.id: _extras(t, folder, file.site.reference_temperature) for t in file.tank}),
        accuracy={},
        safe_fill={},
        settings={},
        source_files=(path, *dict.fromkeys(draft.files)),
        loop_powered=frozenset(i.id for i in file.instrument if i.powered_by == "loop"),
        power=power_of(file.supply, file.instrument),
        water=water_of(file),
        forecast=forecast_of(file),
        documents=documents_of(file),
    )
    watches = facts.frozen({t.id: watch_of(draft, t, tank) for t, tank in zip(file.tank, tanks, strict=True)})
    accuracy = facts.frozen({t.id: accuracies(site, t, _level_step(draft, t)) for t in site.tanks})
    return replace(site, accuracy=accuracy, watches=watches)


def settled(site: facts.Site, sheet: AlarmSheet) -> facts.Site:
    """The site with what its alarm sheet says, and with all that follows from the limits and settings in force."""
    site = replace(site, tank_alarms=sheet.applied(site.tank_alarms), sheet=sheet.texts)
    site = replace(site, watched=sheet.watching(watched_of(site)))
    site = replace(site, safe_fill=facts.frozen({t.id: safe_fill_of(site, t.id) for t in site.tanks}))
    return replace(site, settings=settings_of(site))


def bus_of(bus: BusTable, instruments: Sequence[InstrumentTable]) -> BusSpec:
    parity = bus.parity or "E"
    return BusSpec(
        id=bus.id,
        kind=bus.kind,
        instruments=tuple(
            InstrumentSpec(i.id, i.unit, tuple(_register(s) for s in i.signal), i.bridge, i.longest)
            for i in instruments
        ),
        host=bus.host or "",
        port=bus.port or 502,
        device=bus.device or "",
        baud=bus.baud or 9600,
        parity=parity,
        # Source: MODBUS over Serial Line V1.02 2.5.1: a character has 11 bits, so no parity goes with two stop bits.
        stop_bits=bus.stop_bits or (2 if parity == "N" else 1),
        period_ms=bus.period,
        timeout_ms=bus.timeout,
    )


def _register(signal: SignalTable) -> RegisterSignal:
    low, high = signal.valid or (None, None)
    return RegisterSignal(
        name=signal.name,
        function=signal.function,
        address=signal.address - (signal.counted_from or 0),
        type=signal.type,
        word_order=signal.word_order,
        byte_order=signal.byte_order,
        scale=signal.scale,
        offset=signal.offset,
        unit=signal.unit,
        bit=signal.bit or 0,
        invalid=tuple(signal.invalid),
        valid_min=low,
        valid_max=high,
    )


def _mqtt(mqtt: MqttTable, folder: Path) -> facts.MqttSpec:
    return facts.MqttSpec(
        host=mqtt.host,
        port=mqtt.port or (8883 if mqtt.tls else 1883),
        tls=mqtt.tls,
        ca=None if mqtt.ca is None else folder / mqtt.ca,
        certificate=None if mqtt.certificate is None else folder / mqtt.certificate,
        private_key=None if mqtt.private_key is None else folder / mqtt.private_key,
        username=mqtt.username,
        password_file=None if mqtt.password_file is None else folder / mqtt.password_file,
        password_env=mqtt.password_env,
        client_id=mqtt.client_id,
        protocol=mqtt.protocol,
        keepalive_ms=mqtt.keepalive,
        interval_ms=mqtt.interval,
    )


def _signal(draft: Draft, ref: SignalRef) -> SignalTable:
    signal = draft.signal(ref)
    assert signal is not None, f"{ref} was checked"
    return signal


def _product(product: ProductTable) -> facts.ProductSpec:
    low_high = product.density_range
    return facts.ProductSpec(
        product.id,
        product.name or product.id,
        product.group,
        product.base_density,
        product.alpha60,
        None if low_high is None else (low_high[0], low_high[1]),
    )


def _linear(draft: Draft, ref: SignalRef | str, si: str | None) -> Linear:
    """A signal with what turns its declared unit into ours; untouched where there is no unit of ours."""
    assert isinstance(ref, SignalRef)
    unit = _signal(draft, ref).unit
    factor, constant = linear(unit, si) if si else (1.0, 0.0)
    return Linear(ref.instrument, ref.signal, factor, constant)


def _tank(draft: Draft, tank: TankTable) -> Tank:
    kind = level_kind(_signal(draft, tank.level).unit)
    assert kind is not None, "the level's unit was checked"
    level = _linear(draft, tank.level, _SI[kind])
    by_name = SignalRef(tank.level.instrument, "current")
    if kind is LevelKind.CURRENT:
        current: Linear | None = level
    else:
        current = _linear(draft, by_name, "mA") if draft.signal(by_name) is not None else None
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
        temperature=None if tank.temperature == "none" else _linear(draft, tank.temperature, "degC"),
        water=None if tank.water in ("none", "dips") else _linear(draft, tank.water, "m"),
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
    kind = level_kind(_signal(draft, second.level).unit)
    assert kind is not None, "the level's unit was checked"
    level = _linear(draft, second.level, _SI[kind])
    return replace(
        tank,
        level=level,
        kind=kind,
        measures=second.measures or Measures.INNAGE,
        at_4mA_m=second.at_4mA,
        at_20mA_m=second.at_20mA,
        current_signal=level if kind is LevelKind.CURRENT else None,
    )


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


def _ambient(draft: Draft, tank_id: str) -> Linear | None:
    """The air temperature of a tank: that of a point which speaks of it, else that of one which speaks of no tank."""
    points = [point for point in draft.file.point if point.role == "ambient_temperature"]
    for wanted in (tank_id, None):
        for point in points:
            if point.tank == wanted:
                return _linear(draft, point.signal, ROLES[point.role])
    return None


def _level_step(draft: Draft, tank: Tank) -> float | None:
    """The smallest step of a tank's level in m."""
    return level_step_m(_signal(draft, SignalRef(tank.level.instrument, tank.level.signal)), tank)


def _reach_m(draft: Draft, tank: TankTable) -> float:
    known = reach_m(tank)
    return draft.capacities[tank.id].top_m if known is None else known[0]


def _extras(tank: TankTable, folder: Path, reference_degC: float) -> facts.TankExtras:
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


def _limits(limits: LimitsTable, levels: Mapping[str, float]) -> tuple[Limit, ...]:
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


def _loops(draft: Draft, tanks: Sequence[Tank]) -> tuple[LoopFacts, ...]:
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


def step_of(signal: SignalTable) -> float | None:
    """The smallest step of a signal in its declared unit: as told, or one count of a whole-number register."""
    if signal.resolution is not None:
        return signal.resolution
    return None if signal.type in _FLOATS else abs(signal.scale)


def level_step_m(signal: SignalTable, tank: Tank | None) -> float | None:
    """The step of level that one step of a signal is, for a tank (10 m of range where there is none)."""
    step = step_of(signal)
    return None if step is None or level_kind(signal.unit) is None else abs(step * m_per_unit(signal, tank))


def m_per_unit(signal: SignalTable, tank: Tank | None) -> float:
    """The metres of level that one declared unit of a signal of the level is."""
    kind = level_kind(signal.unit)
    assert kind is not None, "only signals that follow the level"
    factor = linear(signal.unit, _SI[kind])[0]
    part = {LevelKind.LENGTH: 1.0, LevelKind.CURRENT: span_m(tank) / 16, LevelKind.PERCENT: span_m(tank) / 100}
    return factor * part[kind]


def span_m(tank: Tank | None) -> float:
    """The range of a tank's gauge, its table's height where none is given; 10 m where there is no tank."""
    ends = tank.range_m if tank else None
    return abs(ends[1] - ends[0]) if ends else tank.table.top_m if tank else 10.0
