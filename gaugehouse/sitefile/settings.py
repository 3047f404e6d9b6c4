"""All settings of a site as one flat mapping of plain values: what is compared, hashed and journaled.

Normalised: SI values, defaults filled in, paths as seen from the site file's folder. Comments, order of keys and choice
of units leave no trace.
"""

from collections.abc import Iterator, Mapping
from dataclasses import Field, fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, Final

from gaugehouse.sitefile.facts import Site, digest, frozen
from gaugehouse.sitefile.notifyfacts import settings_of_channel
from gaugehouse.sitefile.registersfacts import settings_of_registers
from gaugehouse.sitefile.serverfacts import settings_of_server
from gaugehouse.sitefile.sheetlines import lines, own_words
from models.capacity import CapacityTable


def settings_of(site: Site) -> Mapping[str, Any]:
    """Key path to value: numbers, texts, true or false, or None."""
    pairs: dict[str, Any] = {}

    def put(prefix: str, value: object) -> None:
        pairs.update(_flat(prefix, value, site.path.parent))

    for name in ("id", "name", "zone", "day_starts_min", "reference_degC", "volume_correction", "factors"):
        put(f"site.{name}", getattr(site, name))
    put("site.altitude_m", site.altitude_m)
    put("store.path", site.store_path)
    put("store.keep_readings_ms", site.keep_readings_ms)
    for server in site.servers:
        put(f"store.server[{server.id}]", settings_of_server(server))
    put("console.host", site.console_host)
    put("console.port", site.console_port)
    put("console.session_ms", site.session_ms)
    put("console.names", list(site.console_names))
    put("console.proxies", list(site.console_proxies))
    put("console.certificate", site.console_certificate)
    put("console.private_key", site.console_key)
    put("alarms.sheet", site.alarm_sheet)
    put("loop_check", site.loop_check)
    put("stock.dips", site.dip_rules)
    put("stock.accounts", site.accounts)
    put("alarms", site.alarm_rules)
    put("alarms.operator_positions", site.operator_positions)
    for line in lines(site):
        put(f"alarm[{line.source}.{line.condition}]", own_words(line))
    for watched in site.watched:
        for limit in watched.limits:
            put(f"alarm[{watched.source}.{limit.condition}]", limit)
    put("faults", site.fault_trace)
    put("system", site.system)
    put("mqtt", site.mqtt)
    put("stock.receipts", site.receipts)
    put("register_server", None if site.register_server is None else settings_of_registers(site.register_server))
    if site.settling is not None:
        put("stock.settling", site.settling)
    put("stock.water", site.water)
    put("stock.forecast", site.forecast)
    put("stock.documents", site.documents)
    put("stock.leak", site.leak._asdict())
    for bus in site.buses:
        put(
            f"bus[{bus.id}]", {f.name: getattr(bus, f.name) for f in fields(bus) if f.name not in ("id", "instruments")}
        )
        for instrument in bus.instruments:
            here = f"instrument[{instrument.id}]"
            put(here, {"bus": bus.id, "name": site.instrument_names[instrument.id], "unit": instrument.unit})
            put(here, {"bridge": instrument.bridge, "longest": instrument.longest})
            for signal in instrument.signals:
                put(f"{here}.signal[{signal.name}]", signal)
    for loop in site.loops:
        put(f"instrument[{loop.instrument}].loop", {f.name: getattr(loop, f.name) for f in fields(loop) if _told(f)})
    for product in site.products:
        put(f"product[{product.id}].name", product.name)
        put(f"product[{product.id}].model", {f.name: getattr(product, f.name) for f in fields(product)[2:5]})
        put(f"product[{product.id}].density_range", product.density_range)
        put(f"product[{product.id}].for_issue", product.for_issue)
    for tank, alarms in zip(site.tanks, site.tank_alarms, strict=True):
        here = f"tank[{tank.id}]"
        put(f"{here}.name", tank.name)
        put(f"{here}.model", {f.name: getattr(tank, f.name) for f in fields(tank)[2:] if f.init})
        put(f"{here}.limits.rate_window_ms", site.rate_window_ms[tank.id])
        for limit in alarms.limits:
            put(f"{here}.limits.{limit.condition}", limit)
        put(here, site.extras[tank.id])
    for meter in site.meters:
        put(f"meter[{meter.id}]", meter)
    for instrument_id in sorted(site.loop_powered):
        put(f"instrument[{instrument_id}]", {"powered_by": "loop"})
    for supply in site.power.supplies:
        put(f"supply[{supply.supply.id}]", supply)
    for fed in site.power.fed:
        put(f"loop[{fed.circuit.name}]", fed)
    for channel in site.channels:
        put(f"notify[{channel.id}]", settings_of_channel(channel))
    for point in site.points:
        put(f"point[{point.id}]", point)
    return frozen(pairs)


DERIVED: Final = ("m_per_unit", "noisy_above_m", "fastest_m_per_s", "waves_m")
"""Facts of a loop that follow from its tank: what the file says of them stands there."""


def _told(field: Field[Any]) -> bool:
    return field.name not in DERIVED


def _flat(prefix: str, value: object, folder: Path) -> Iterator[tuple[str, Any]]:
    if isinstance(value, CapacityTable):
        yield prefix, digest([value.levels_m, value.volumes_m3])
    elif isinstance(value, Enum):
        yield prefix, value.value
    elif isinstance(value, Path):
        yield prefix, value.relative_to(folder).as_posix() if value.is_relative_to(folder) else value.as_posix()
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _flat(f"{prefix}.{field.name}", getattr(value, field.name), folder)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _flat(f"{prefix}.{key}", item, folder)
    elif isinstance(value, tuple):
        if hasattr(value, "_asdict"):
            yield from _flat(prefix, value._asdict(), folder)
        else:
            for index, item in enumerate(value):
                yield from _flat(f"{prefix}[{index + 1}]", item, folder)
    else:
        yield prefix, value
