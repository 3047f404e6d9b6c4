"""Why a loop fault came: a fault's row, its trace and what was kept around it made into a question, and the answer.

The judging is done in `alerts.diagnosis`; here only what the house keeps is turned into its terms.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any, Final
from zoneinfo import ZoneInfo

from alerts.diagnosis import (
    AROUND,
    CAUTION,
    WORDS,
    Diagnosis,
    DipRow,
    Earlier,
    Question,
    Seen,
    Slow,
    Span,
    Surroundings,
    TraceRow,
    diagnose,
)
from alerts.noise import LoopNoise
from alerts.shown import current_of
from gaugehouse.days import parse_ms
from gaugehouse.dipgauge import gauge_at
from gaugehouse.diprecords import dips_of
from gaugehouse.faultrecords import fault_rows
from gaugehouse.site import MeterSpec, Site
from history.book import BookReader
from history.store import Store
from history.traces import Traced, TraceReader
from models.tank import LevelKind, Tank

Json = dict[str, Any]

SLOT_MS: Final = 300_000
SLOTS: Final = 576
"""Two days of five minutes each before the fault."""

LOOK_BACK_MS: Final = 30 * 86_400_000
DIPS_BEFORE_MS: Final = 92 * 86_400_000
LEAST_DIPS: Final = 3
"""Dips are as rare as once a month; from three on they tell zero from span (`alerts.diagnosis.dips`)."""

TOGETHER_MS: Final = 10_000
OTHERS_MS: Final = 240_000
MOST_OTHERS: Final = 20

WORD_OF: Final = {0: "unknown", 1: "told"}


def why(site: Site, book: BookReader, traces: TraceReader, store: Store, instrument: str, number: int) -> Json | None:
    """The causes of a fault, ranked, for programs; None for a fault that the book does not hold."""
    rows = fault_rows(book)
    row = next((r for r in rows if r["instrument"] == instrument and r["number"] == number), None)
    if row is None:
        return None
    asked = question(
        site, store, row, rows, traces.trace(instrument, number),
        floor_m=floor_m(site, book.state(), instrument), dips=dips_around(site, book, store, instrument, row),
    )  # fmt: skip
    return answer_json(diagnose(asked))


def floor_m(site: Site, state: Mapping[str, str], instrument: str) -> float | None:
    """The lowest noise that a loop has learned, in m of its tank's level; None before it is known."""
    text = state.get(f"fault/{instrument}")
    saved = None if text is None else json.loads(text).get("noise")
    if saved is None:
        return None
    noise = LoopNoise()
    noise.restore(saved)
    known = noise.known()
    facts = next(loop for loop in site.loops if loop.instrument == instrument)
    return None if known.floor is None else facts.noise_m(known.signal, known.floor)


def dips_around(site: Site, book: BookReader, store: Store, instrument: str, row: Json) -> list[DipRow]:
    """Dips of the loop's tank with what the gauge told then: those since the fault began where there are enough, else
    those of a quarter before it too. None from before the gauge was last set."""
    tank = next((t for t in site.tanks if t.instrument == instrument), None)
    if tank is None:
        return []
    start = parse_ms(row["start"])
    dips = [dip for dip in dips_of(book, tank.id) if start - DIPS_BEFORE_MS <= dip.time_ms < start + LOOK_BACK_MS]
    begun = max((k for k, dip in enumerate(dips) if dip.after_setting and dip.time_ms <= start), default=0)
    later = next((k for k, dip in enumerate(dips) if dip.after_setting and dip.time_ms > start), len(dips))
    rows = [
        DipRow(dip.time_ms, dip.level_m, gauge)
        for dip in dips[begun:later]
        if dip.level_m is not None and (gauge := gauge_at(store, dip)) is not None
    ]
    since = [one for one in rows if one.time_ms >= start]
    return since if len(since) >= LEAST_DIPS else rows


def answer_json(found: Diagnosis) -> Json:
    """``{verdict, causes, caution}``. verdict: "told", "cannot tell apart" or "unknown"; a cause: ``{cause, name, best,
    evidence_for, evidence_against, refuted_by}``, best first. No probability is told."""
    return {
        "verdict": WORD_OF.get(len(found.best), "cannot tell apart"),
        "causes": [
            {
                "cause": str(finding.cause),
                "name": WORDS[finding.cause].name,
                "best": finding.cause in found.best,
                "evidence_for": list(finding.evidence_for),
                "evidence_against": list(finding.evidence_against),
                "refuted_by": WORDS[finding.cause].refuted_by,
            }
            for finding in found.findings
        ],
        "caution": CAUTION,
    }


Around = Sequence[tuple[int, Mapping[str, float]]]
"""What points and meters said, by time."""


def question(
    site: Site,
    store: Store,
    row: Json,
    rows: Sequence[Json],
    kept: Sequence[Traced],
    *,
    floor_m: float | None = None,
    dips: Sequence[DipRow] = (),
) -> Question:
    """Everything that the house keeps about a fault. rows: every fault of the site; floor_m: the loop's lowest noise;
    dips: those that speak of the gauge then."""
    instrument = row["instrument"]
    facts = next(loop for loop in site.loops if loop.instrument == instrument)
    tank = next((t for t in site.tanks if t.instrument == instrument), None)
    start = parse_ms(row["start"])
    end = None if row["end"] is None else parse_ms(row["end"])
    zone = ZoneInfo(site.zone)
    trace = [
        TraceRow(one.time_ms, one.time_ms, current_of(facts, one), None, one.outcome)
        for one in (k.sample for k in kept)
    ]
    around: Around = [(k.sample.time_ms, k.around) for k in kept]
    span = None if tank is None or tank.range_m is None else Span(*tank.range_m)
    same_time = [r for r in rows if r["instrument"] != instrument and _together(r, start)]
    supplied = _shares_supply(site, instrument)
    failing = {r["instrument"] for r in same_time}
    return Question(
        trace, start, end, row["class"],
        Surroundings(
            loop_powered=instrument in site.loop_powered,
            span=span,
            step_mA=_step_mA(site, facts.current_signal, instrument),
            noise_mA=None if span is None or row["noise_before_m"] is None
            else abs(row["noise_before_m"] * span.mA_per_m),
            floor_mA=None if span is None or floor_m is None else abs(floor_m * span.mA_per_m),
            blocking_mA=_blocking_mA(site, tank, span),
            metered_mA_per_min=_metered(site, tank, span, around),
            around=_points(site, tank, [*around, *_snapshots(rows, instrument, start)]),
            others=_others(site, store, instrument, start),
            failing_together=sorted(supplied & failing),
            healthy_together=sorted(supplied - failing),
            silent_together=sorted(
                r["instrument"] for r in same_time
                if r["class"] == "no_answer" and _bus(site, r["instrument"]) == _bus(site, instrument)
            ),
            slow=_slow(store, tank, start, zone),
            earlier=[
                _earlier(r, zone) for r in rows
                if r["instrument"] == instrument and r["number"] != row["number"]
                and abs(parse_ms(r["start"]) - start) < LOOK_BACK_MS
            ],
            dips=dips,
            hour=_hour(start, zone),
        ),
    )  # fmt: skip


def _together(row: Json, start_ms: int) -> bool:
    """True for a fault that began with another one, or stood when that one began."""
    begun = parse_ms(row["start"])
    ended = None if row["end"] is None else parse_ms(row["end"])
    return begun <= start_ms + TOGETHER_MS and (ended is None or ended >= start_ms)


def _shares_supply(site: Site, instrument: str) -> set[str]:
    supplies = {fed.supply for fed in site.power.fed if fed.instrument == instrument}
    return {fed.instrument for fed in site.power.fed if fed.supply in supplies} - {instrument}


def _bus(site: Site, instrument: str) -> str:
    return next(bus.id for bus in site.buses if any(spec.id == instrument for spec in bus.instruments))


def _hour(time_ms: int, zone: ZoneInfo) -> float:
    local = datetime.fromtimestamp(time_ms / 1000, zone)
    return local.hour + local.minute / 60


def _earlier(row: Json, zone: ZoneInfo) -> Earlier:
    start = parse_ms(row["start"])
    return Earlier(start, None if row["end"] is None else parse_ms(row["end"]), row["class"], _hour(start, zone))


def _step_mA(site: Site, signal: str | None, instrument: str) -> float | None:
    """One count of a whole-number register; None for a float."""
    if signal is None:
        return None
    watched = next(loop.watched for loop in site.loops if loop.instrument == instrument)
    return dict(watched).get(signal)


def _blocking_mA(site: Site, tank: Tank | None, span: Span | None) -> float | None:
    blocking = None if tank is None else site.extras[tank.id].blocking_m
    return None if blocking is None or span is None else span.mA_of(blocking)


def _points(site: Site, tank: Tank | None, around: Around) -> Mapping[str, list[Seen]]:
    """Signals by role, from the points that speak of the tank, else from those that speak of none."""
    found: dict[str, list[Seen]] = {}
    for role in AROUND:
        points = [p for p in site.points if p.role == role and p.tank in (None, tank.id if tank else None)]
        points.sort(key=lambda p: p.tank is None)
        for point in points[:1]:
            seen = [Seen(time_ms, told[point.id]) for time_ms, told in around if point.id in told]
            if seen:
                found[role] = sorted(seen)
    return found


def _snapshots(rows: Sequence[Json], instrument: str, start_ms: int) -> Around:
    """What the points said when the loop's faults were declared."""
    return [
        (parse_ms(r["start"]), r["around"])
        for r in rows
        if r["instrument"] == instrument and abs(parse_ms(r["start"]) - start_ms) < LOOK_BACK_MS
    ]


def _metered(site: Site, tank: Tank | None, span: Span | None, around: Around) -> list[Seen] | None:
    """How fast the current should rise by the meters that speak of the tank; None where none does or none was read."""
    if tank is None or span is None:
        return None
    sums: dict[int, float] = {}
    for meter in site.meters:
        sign = (meter.fills == tank.id) - (meter.draws_from == tank.id)
        if sign:
            for time_ms, flow in _flows(meter, around):
                sums[time_ms] = sums.get(time_ms, 0.0) + sign * flow
    middle = sum(tank.range_m or (0.0, 0.0)) / 2
    per_min = 60 * span.mA_per_m / tank.table.area_m2(middle)
    return [Seen(time_ms, flow * per_min) for time_ms, flow in sorted(sums.items())] or None


def _flows(meter: MeterSpec, around: Around) -> list[tuple[int, float]]:
    """m3/s at each moment; a totaliser's from one value to the next."""
    told = [(time_ms, values[meter.id]) for time_ms, values in around if meter.id in values]
    if meter.kind == "flow":
        return [(time_ms, meter.factor * value) for time_ms, value in told]
    return [(t, meter.factor * (b - a) * 1000 / (t - s)) for (s, a), (t, b) in pairwise(told) if t > s and b >= a]


def _others(site: Site, store: Store, instrument: str, start_ms: int) -> dict[str, list[Seen]]:
    """Currents of the other gauges of the same bus around the start, as their tanks' readings have them."""
    bus = _bus(site, instrument)
    found: dict[str, list[Seen]] = {}
    for tank in site.tanks:
        other = tank.instrument
        if other != instrument and other not in found and _bus(site, other) == bus and len(found) < MOST_OTHERS:
            readings = store.read(tank.id, start_ms - OTHERS_MS, start_ms + OTHERS_MS)
            seen = [Seen(r.time_ms, r.current_mA) for r in readings if r.current_mA is not None]
            if seen:
                found[other] = seen
    return found


def _slow(store: Store, tank: Tank | None, start_ms: int, zone: ZoneInfo) -> list[Slow]:
    """The two days before, five minutes at a time, of the current while it measured."""
    if tank is None or tank.kind is not LevelKind.CURRENT:
        return []
    first = (start_ms - SLOTS * SLOT_MS) // SLOT_MS * SLOT_MS
    trend = store.trend(tank.id, "current_mA", first, SLOTS * SLOT_MS, SLOTS)
    slots = []
    for time_ms, low, mean, high in zip(trend.t, trend.min, trend.mean, trend.max, strict=True):
        if low is not None and mean is not None and high is not None and low >= 3.8 and high <= 20.5:
            slots.append(Slow(time_ms, _hour(time_ms, zone), low, mean, high))
    return slots
