"""The wire as the pages and the API see it: each bus with its instruments, and the signals that belong to no tank.

Reads the collector's counters and the core's newest values; the shapes are those of `console.facts`.
"""

from typing import Any

from collector.health import BusHealth, InstrumentHealth
from collector.spec import BusSpec
from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.site import Site
from models.tank import Linear

Json = dict[str, Any]

MAX_AGE_MS = 600_000
"""A signal without a tank that is older than this has no value any more: as old as a tank's temperature may be."""


def bus(site: Site, spec: BusSpec, seen: BusHealth) -> Json:
    """One bus with what was counted since the start."""
    units = [
        unit(one.id, site.instrument_names[one.id], one.unit, seen.instruments[one.id])
        for one in spec.instruments
        if one.id in seen.instruments
    ]
    return {
        "bus": spec.id,
        "kind": spec.kind.value,
        "where": f"{spec.host}:{spec.port}" if spec.host else spec.device,
        "period_s": spec.period_ms / 1000,
        "connected": seen.connected,
        "fault": seen.fault,
        "connects": seen.connects,
        "refused": seen.refused,
        "requests": seen.requests,
        "utilisation": seen.utilisation,
        "strays": seen.strays,
        "errors": seen.errors,
        "units": units,
    }


def unit(instrument: str, name: str, address: int, seen: InstrumentHealth) -> Json:
    """One instrument's counters. Times of answers are real milliseconds."""
    return {
        "instrument": instrument,
        "name": name,
        "unit": address,
        "polls": seen.polls,
        "ok": seen.ok,
        "no_answer": seen.no_answer,
        "wrong_reply": seen.wrong_reply,
        "exceptions": sum(seen.exceptions.values()),
        "missed_ticks": seen.missed_ticks,
        "spared_ticks": seen.spared_ticks,
        "failures_in_a_row": seen.failures_in_a_row,
        "failure": seen.failure,
        "latency_ms": seen.latency_ms,
        "latency_p50_ms": seen.latency_p50_ms,
        "latency_p95_ms": seen.latency_p95_ms,
        "timeout_ms": seen.timeout_ms,
        "last_good": None if seen.last_good_ms is None else iso_ms(seen.last_good_ms),
    }


def points(core: Core) -> list[Json]:
    """Meters and other signals without a tank: newest value in the declared unit, None when missing or too old."""
    site = core.site
    out = [_point(core, m.id, m.name, f"{m.kind} meter", m.source, _METER_UNITS[m.kind]) for m in site.meters]
    out += [_point(core, p.id, p.name, p.role, p.source, p.unit) for p in site.points]
    return out


_METER_UNITS = {"volume": "m3", "flow": "m3/s"}


def _point(core: Core, id_: str, name: str, what: str, source: Linear, unit_: str) -> Json:
    newest = core.newest(source, MAX_AGE_MS)
    age_s = None if newest.age_ms is None else newest.age_ms / 1000
    return {"id": id_, "name": name, "what": what, "value": newest.value, "unit": unit_, "age_s": age_s}
