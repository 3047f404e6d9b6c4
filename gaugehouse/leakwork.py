"""The leak test of a site's tank from what is kept: finds the quiet hours, reads them, has them judged.

Reads the kept readings and the record book; the arithmetic is of `inventory.leak`, the words of `console.leak_words`.
"""

import math
from collections.abc import Sequence
from typing import Any, Final, NamedTuple, Protocol

from gaugehouse.days import Days, iso_ms, parse_ms
from gaugehouse.documentrecords import documents_between
from gaugehouse.movementrecords import movement_rows
from gaugehouse.site import Site
from gaugehouse.wiring import stock_of
from history.book import BookReader
from history.store import Trend
from inventory.documents import DocumentKind
from inventory.leak import LeakTest, Refusal, Said, Standing, Verdict, judged, smallest_claim, standing_refusals
from inventory.leakfit import fitted
from inventory.leakrules import HOUR_MS
from inventory.quiet import DAY_MS, Disturbance, Stretch, newest_window, quiet_stretches, touching
from modbus.signals import RegisterType
from models.errors import OutOfRange
from models.groups import GASOLINE
from models.quantity import Gauging
from models.tank import LevelKind, Linear

Json = dict[str, Any]

LOOK_BACK_MS: Final = 14 * DAY_MS
BUCKET_MS: Final = 600_000
LEAST_SHARE: Final = 0.9
LONGEST_HOLE: Final = 6
"""Of ten minutes each: a longer hole may hide a movement."""

_INTO: Final = ("receipt", "transfer_in", "unknown")
_FLOATS: Final = (RegisterType.FLOAT32, RegisterType.FLOAT64)


class Readings(Protocol):
    """Where kept readings are asked for; see `history.store.Store.trend`."""

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend: ...


class Point(NamedTuple):
    """A mean of ten minutes. water_m: None where it is not measured."""

    time_ms: int
    gsv_m3: float
    tov_m3: float
    level_m: float
    temperature_degC: float
    water_m: float | None


class Outcome(NamedTuple):
    """A test, or why there is none. smallest_m3_per_h: what this tank could claim at its best, None for nothing."""

    tank: str
    window: Stretch | None
    test: LeakTest | None
    said: tuple[Said, ...]
    smallest_m3_per_h: float | None

    @property
    def verdict(self) -> Verdict:
        return Verdict.REFUSED if self.test is None else self.test.verdict


def leak(
    site: Site,
    store: Readings,
    book: BookReader,
    tank: str,
    now_ms: int,
    start_ms: int | None = None,
    end_ms: int | None = None,
) -> Outcome:
    """The test over a stretch, or over the newest quiet hours of two weeks. Known tanks only."""
    said = standing_of(site, tank)
    if said:
        return Outcome(tank, None, None, tuple(said), None)
    rules = site.leak
    to_ms = now_ms if end_ms is None else end_ms
    from_ms = to_ms - LOOK_BACK_MS if start_ms is None else start_ms
    stirred = disturbances(site, book, tank, from_ms - rules.wait_after_receipt_ms, to_ms)
    if start_ms is not None and end_ms is not None:
        window: Stretch | None = Stretch(start_ms, end_ms)
        found = touching(Stretch(start_ms, end_ms), stirred)
        if found:
            said.append(Said(Refusal.DISTURBED, f"{found[0].what} {iso_ms(found[0].start_ms)}", _until(found)))
        if end_ms - start_ms < rules.shortest_ms:
            said.append(Said(Refusal.SHORT, (end_ms - start_ms) / HOUR_MS, rules.shortest_ms / HOUR_MS))
    else:
        levels = store.trend(tank, "gsv_m3", from_ms, to_ms - from_ms, max(10, (to_ms - from_ms) // HOUR_MS))
        stretches = quiet_stretches(from_ms, to_ms, stirred, _holes(levels, to_ms))
        window = newest_window(stretches, rules.shortest_ms, rules.longest_ms)
        if window is None:
            longest = max((one.hours for one in stretches), default=0.0)
            said.append(Said(Refusal.NO_QUIET_HOURS, longest, rules.shortest_ms / HOUR_MS))
    if window is None:
        return Outcome(tank, None, None, tuple(said), _smallest_now(site, store, tank, to_ms))
    points, share, hole_h = points_of(store, tank, window)
    if share < LEAST_SHARE or hole_h > LONGEST_HOLE * BUCKET_MS / HOUR_MS:
        said.append(Said(Refusal.HOLES, 100 * share, 100 * LEAST_SHARE))
    smallest = smallest_claim(standing_in(site, tank, points, window), rules) if points else None
    if said:
        return Outcome(tank, window, None, tuple(said), smallest)
    return tested(site, tank, points, window)


def _smallest_now(site: Site, store: Readings, tank: str, to_ms: int) -> float | None:
    """What the tank could claim at its best as it stands, by its newest two hours of readings; None without any."""
    newest = Stretch(to_ms - 2 * HOUR_MS, to_ms)
    points, _, _ = points_of(store, tank, newest)
    return smallest_claim(standing_in(site, tank, points, newest), site.leak) if points else None


def tested(site: Site, tank: str, points: Sequence[Point], window: Stretch) -> Outcome:
    """The test of a window from its points, at least one."""
    stand = standing_in(site, tank, points, window)
    held = _with_water_held(site, tank, points)
    hours = [(point.time_ms - window.start_ms) / HOUR_MS for point in points]
    fit = fitted(hours, held, window.hours)
    if fit is None:
        smallest = smallest_claim(stand, site.leak)
        return Outcome(tank, window, None, (Said(Refusal.WANDERS, window.hours),), smallest)
    test = judged(fit, stand, window.hours, site.leak)
    return Outcome(tank, window, test, test.said, test.smallest_m3_per_h)


def standing_of(site: Site, tank: str) -> list[Said]:
    """What speaks against any test of a tank."""
    model, product = site.tank(tank), site.product_of(tank)
    digital = model.kind is LevelKind.LENGTH and tank in site.leak.tanks
    gasoline = product.base_density_kgpm3 < GASOLINE.high or product.group == GASOLINE.name
    volatile = product.name if gasoline or product.id in site.leak.volatile else ""
    thermometer = model.temperature is not None
    return standing_refusals(
        digital=digital, level_step_m=register_step(site, model.level), thermometer=thermometer, volatile=volatile
    )


def register_step(site: Site, source: Linear | None) -> float:
    """The step of a register in SI units, 0 for floating point."""
    if source is None:
        return 0.0
    signal = site.signals[source.instrument, source.signal]
    return 0.0 if signal.type in _FLOATS else abs(signal.scale * source.factor)


def disturbances(site: Site, book: BookReader, tank: str, from_ms: int, to_ms: int) -> list[Disturbance]:
    """Movements found from the readings, and papers of water drawn (their day, up to when they were entered)."""
    rules, found = site.leak, []
    for row in movement_rows(book, {tank}, from_ms, to_ms):
        wait = rules.wait_after_receipt_ms if row["kind"] in _INTO else rules.wait_after_issue_ms
        end = None if row["end"] is None else parse_ms(row["end"])
        found.append(Disturbance(parse_ms(row["start"]), end, wait, row["kind"]))
    days = Days(site.zone, site.day_starts_min)
    for kept in documents_between(book, days.at(max(0, from_ms)).date, days.at(to_ms).date):
        document = kept.document
        if kept.undone is None and document.kind is DocumentKind.WATER_DRAW and document.tank == tank:
            day = days.on(document.day)
            end = document.time_ms if day.start_ms < document.time_ms < day.end_ms else day.end_ms
            found.append(Disturbance(day.start_ms, end, rules.wait_after_issue_ms, document.kind.value))
    return found


def points_of(store: Readings, tank: str, window: Stretch) -> tuple[list[Point], float, float]:
    """(points, share of the window that they cover, the longest hole between them in h)."""
    span = window.end_ms - window.start_ms
    count = min(2000, max(10, span // BUCKET_MS))
    names = ("gsv_m3", "tov_m3", "level_m", "temperature_degC", "water_m")
    columns = {name: store.trend(tank, name, window.start_ms, span, count) for name in names}
    first, points, hole, longest = columns["gsv_m3"], [], 0, 0
    for k, start in enumerate(first.t):
        gsv, tov, level, warm = (columns[name].mean[k] for name in names[:4])
        if gsv is None or tov is None or level is None or warm is None or (first.good[k] or 0.0) < 0.5:
            hole += 1
            longest = max(longest, hole)
            continue
        hole = 0
        points.append(Point(start + span // count // 2, gsv, tov, level, warm, columns["water_m"].mean[k]))
    buckets = max(1, len(first.t))
    return points, len(points) / buckets, longest * span / buckets / HOUR_MS


def standing_in(site: Site, tank: str, points: Sequence[Point], window: Stretch) -> Standing:
    """How the tank stood, by the means of the window's points."""
    model, rules = site.tank(tank), site.leak
    level = _mean([p.level_m for p in points])
    warm = _mean([p.temperature_degC for p in points])
    tov, gsv = _mean([p.tov_m3 for p in points]), _mean([p.gsv_m3 for p in points])
    step = register_step(site, model.temperature)
    size = max(1, len(points) // max(2, round(window.hours)))  # about an hour at either end
    warming = _mean([p.temperature_degC for p in points[-size:]]) - _mean([p.temperature_degC for p in points[:size]])
    reach = max(p.temperature_degC for p in points) - min(p.temperature_degC for p in points)
    return Standing(
        area_m2=model.table.area_m2(model.table.nearest_m(level)),
        level_m=level,
        gsv_m3=gsv,
        expansion_per_degC=_expansion(site, tank, level, warm),
        dry_m=0.0 if tank in rules.standing else max(0.0, model.reference_height_m - level),
        averaging=tank in rules.averaging,
        level_step_m=register_step(site, model.level),
        temperature_step_degC=step,
        warming_degC=warming,
        distinct=1 + round(reach / step) if step else 1,
        vapour_m3=max(0.0, model.table.capacity_m3 - tov),
        density_kgpm3=site.product_of(tank).base_density_kgpm3,
        temperature_degC=warm,
    )


def _expansion(site: Site, tank: str, level_m: float, warm_degC: float) -> float:
    """Of the liquid, in 1/degC, by the tank's own volume correction."""
    calculate = stock_of(site, tank).calculate
    cold, hot = (calculate(Gauging(level_m, warm_degC + step)).ctl for step in (-0.5, 0.5))
    if not cold or not hot:
        return 1e-3
    return math.log(cold / hot)


def _with_water_held(site: Site, tank: str, points: Sequence[Point]) -> list[float]:
    """Standard volumes with the free water of the window's mean: an interface probe's steps are no fuel."""
    table = site.tank(tank).table
    water: list[float | None] = []
    for point in points:
        try:
            water.append(None if point.water_m is None else table.volume_m3(point.water_m))
        except OutOfRange:
            water.append(None)
    known = [one for one in water if one is not None]
    if len(known) < len(points):
        return [point.gsv_m3 for point in points]
    mean = _mean(known)
    return [
        point.gsv_m3 + (one - mean) * point.gsv_m3 / (point.tov_m3 - one)
        for point, one in zip(points, known, strict=True)
    ]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _holes(levels: Trend, to_ms: int) -> list[Stretch]:
    """Hours in which there is no standard volume to trust."""
    ends = [*levels.t[1:], to_ms]
    return [
        Stretch(start, end)
        for start, end, mean, good in zip(levels.t, ends, levels.mean, levels.good, strict=True)
        if mean is None or (good or 0.0) < 0.5
    ]


def _until(found: Sequence[Disturbance]) -> str | None:
    """When the last of them lets the tank be quiet again."""
    ends = [one.until_ms for one in found]
    last = max((end for end in ends if end is not None), default=None)
    return None if last is None or None in ends else iso_ms(last)


def outcome_json(site: Site, outcome: Outcome) -> Json:
    """A test as the record book and the API have it; rates in m3/h, `loss` positive for a fall."""
    test, window = outcome.test, outcome.window
    body: Json = {
        "tank": outcome.tank,
        "product": site.product_of(outcome.tank).name,
        "verdict": outcome.verdict.value,
        "from": None if window is None else iso_ms(window.start_ms),
        "to": None if window is None else iso_ms(window.end_ms),
        "hours": None if window is None else round(window.hours, 3),
        "smallest_m3_per_h": outcome.smallest_m3_per_h,
        "claim_at_most_m3_per_h": site.leak.claim_at_most_m3_per_h,
        "refusals": [one._asdict() | {"why": one.why.value} for one in outcome.said],
        "averaging": outcome.tank in site.leak.averaging,
    }
    names = ("loss", "u", "threshold", "detectable")
    body |= {f"{name}_m3_per_h": None if test is None else getattr(test, f"{name}_m3_per_h") for name in names}
    body["free"] = None if test is None else min(test.free, 1e6)
    body["terms"] = [] if test is None else [{"name": t.name, "m3_per_h": t.m3_per_h} for t in test.terms]
    body["fit"] = None
    if test is not None:
        fit = test.fit
        body["fit"] = {
            "correlation": fit.r,
            "free": fit.free,
            "residual_m3": fit.residual_m3,
            "hours": list(fit.hours),
            "gsv_m3": list(fit.m3),
            "line_m3": list(fit.line_m3),
            "wave_m3": list(fit.wave_m3),
        }
    return body
