"""Checked tables to the domain objects of a site. Runs only where nothing is wrong; decides nothing new."""

from dataclasses import replace
from pathlib import Path

from alerts.faulttrace import TraceSpec
from alerts.selfwatch import SystemRules
from alerts.spec import TankAlarms
from gaugehouse.sitefile import facts
from gaugehouse.sitefile.alarmsheet import AlarmSheet
from gaugehouse.sitefile.busfacts import bus_of, mqtt_of
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.loopfacts import power_of
from gaugehouse.sitefile.loopspecs import loops_of
from gaugehouse.sitefile.notifyfacts import notify_of
from gaugehouse.sitefile.registersfacts import register_server_of
from gaugehouse.sitefile.schema import ROLES, ProductTable
from gaugehouse.sitefile.serverfacts import server_of
from gaugehouse.sitefile.settings import settings_of
from gaugehouse.sitefile.settlingfacts import settling_of
from gaugehouse.sitefile.signalfacts import linear_of, register_of, signal_of
from gaugehouse.sitefile.stock_accountfacts import account_rules
from gaugehouse.sitefile.stock_dips import dip_rules_of
from gaugehouse.sitefile.stock_documentfacts import documents_of
from gaugehouse.sitefile.stock_waterfacts import forecast_of, water_of
from gaugehouse.sitefile.stockfacts import accuracies, safe_fill_of
from gaugehouse.sitefile.tankfacts import extras_of, level_step_of, limits_of, reach_of, tank_of, watch_of
from gaugehouse.sitefile.watchfacts import watched_of


def build(draft: Draft, path: Path) -> facts.Site:
    """The site of a draft without mistakes, before its alarm sheet: `settled` is what the house is built from."""
    file, folder = draft.file, draft.folder
    buses = tuple(bus_of(bus, [i for i in file.instrument if i.bus == bus.id]) for bus in file.bus)
    tanks = tuple(tank_of(draft, tank) for tank in file.tank)
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
        mqtt=None if file.mqtt is None else mqtt_of(file.mqtt, folder),
        register_server=None
        if file.register_server is None
        else register_server_of(file.register_server, [tank.id for tank in tanks]),
        buses=buses,
        products=tuple(_product(p) for p in file.product),
        tanks=tanks,
        tank_alarms=tuple(
            TankAlarms(t.id, t.level.instrument, limits_of(t.limits, draft.levels[t.id])) for t in file.tank
        ),
        loops=loops_of(draft, tanks),
        meters=tuple(
            facts.MeterSpec(
                m.id,
                m.name or m.id,
                m.kind,
                linear_of(draft, m.signal, "m3" if m.kind == "volume" else "m3/s"),
                m.factor,
                m.compensated,
                m.rolls_over_at,
                m.fills,
                m.draws_from,
                m.uncertainty / 100,
            )
            for m in file.meter
        ),
        points=tuple(
            facts.PointSpec(
                p.id, p.name or p.id, p.role, linear_of(draft, p.signal, ROLES[p.role]), unit, p.tank, p.alarm_when
            )
            for p in file.point
            for unit in (ROLES[p.role] or signal_of(draft, p.signal).unit,)
        ),
        servers=tuple(server_of(table, folder) for table in file.store.server),
        keep_readings_ms=file.store.keep_readings,
        channels=tuple(notify_of(table, file.site.zone, folder) for table in file.notify),
        rate_window_ms=facts.frozen({t.id: t.limits.rate_window for t in file.tank}),
        reach_m=facts.frozen({t.id: reach_of(draft, t) for t in file.tank}),
        period_ms=facts.frozen({i.id: bus.period for bus in file.bus for i in file.instrument if i.bus == bus.id}),
        signals=facts.frozen({(i.id, s.name): register_of(s) for i in file.instrument for s in i.signal}),
        instrument_names=facts.frozen({i.id: i.name or i.id for i in file.instrument}),
        extras=facts.frozen({t.id: extras_of(t, folder, file.site.reference_temperature) for t in file.tank}),
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
    accuracy = facts.frozen({t.id: accuracies(site, t, level_step_of(draft, t)) for t in site.tanks})
    return replace(site, accuracy=accuracy, watches=watches)


def settled(site: facts.Site, sheet: AlarmSheet) -> facts.Site:
    """The site with what its alarm sheet says, and with all that follows from the limits and settings in force."""
    site = replace(site, tank_alarms=sheet.applied(site.tank_alarms), sheet=sheet.texts)
    site = replace(site, watched=sheet.watching(watched_of(site)))
    site = replace(site, safe_fill=facts.frozen({t.id: safe_fill_of(site, t.id) for t in site.tanks}))
    return replace(site, settings=settings_of(site))


def _product(product: ProductTable) -> facts.ProductSpec:
    low_high = product.density_range
    return facts.ProductSpec(
        product.id,
        product.name or product.id,
        product.group,
        product.base_density,
        product.alpha60,
        None if low_high is None else (low_high[0], low_high[1]),
        product.for_issue,
    )
