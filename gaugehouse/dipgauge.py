"""Gauge against dip: what the gauge told at each dip, by the stored readings, and what a row of dips says of it.

Reads the store and the record book; decides nothing. What the store no longer holds is taken from the dip's own entry.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from gaugehouse.days import iso_ms
from gaugehouse.dipjudge import gauge_standard_m
from gaugehouse.diprecords import dips_of
from gaugehouse.site import Site
from history.book import BookReader
from history.store import Store
from inventory.dips import Compared, DensitySample, Dip, compared, dip_json, next_due, sample_json
from inventory.diptrend import CHECK, Drift, Point, Split, drift, split, to_check, verified
from models.reading import EXACT, GOOD
from models.stock_budget import AFTER_RECEIPT

MEAN_MS: Final = 60_000
"""The gauge's level at a dip is the mean of its Good readings over the minute before (ours)."""

Json = dict[str, Any]

DECIMALS: Final = {
    "level_m": 5, "standard_m": 5, "gauge_m": 5, "difference_m": 5, "difference_u95_m": 5, "base_kgpm3": 3,
}  # fmt: skip


class Held(NamedTuple):
    """A dip with what the gauge told then; None where nobody knows it."""

    dip: Dip
    gauge_m: float | None
    compared: Compared | None


def gauge_at(store: Store, dip: Dip) -> float | None:
    """What the gauge told at the time of a dip; None where no Good reading is kept and the entry holds none."""
    readings = store.read(dip.tank, dip.time_ms - MEAN_MS, dip.time_ms + 1)
    levels = [r.level_m for r in readings if r.quality is GOOD and r.bound is EXACT and r.level_m is not None]
    return math.fsum(levels) / len(levels) if levels else dip.gauge_m


def held(site: Site, store: Store, dips: Sequence[Dip]) -> list[Held]:
    """Each dip against the gauge, in their order. Dips of tanks that the site no longer has are left out."""
    known = {tank.id for tank in site.tanks}
    return [_held(site, store, dip) for dip in dips if dip.tank in known]


def _held(site: Site, store: Store, dip: Dip) -> Held:
    if dip.level_m is None or dip.standard_m is None:
        return Held(dip, None, None)
    gauge = gauge_at(store, dip)
    if gauge is None:
        return Held(dip, None, None)
    accuracy = site.accuracy[dip.tank][AFTER_RECEIPT]
    told = compared(gauge, gauge_standard_m(accuracy, gauge), dip.level_m, dip.standard_m, site.dip_rules.limit_m)
    return Held(dip, gauge, told)


def held_json(one: Held) -> Json:
    """A dip for programs, with the gauge beside it."""
    told = one.compared
    row = dip_json(one.dip)
    row |= {"time": iso_ms(one.dip.time_ms), "entered": iso_ms(one.dip.entered_ms), "gauge_m": one.gauge_m}
    del row["time_ms"], row["entered_ms"]
    return row | {
        "difference_m": None if told is None else told.difference_m,
        "difference_u95_m": None if told is None else told.u95_m,
        "within": None if told is None else told.within,
        "explained": None if told is None else told.explained,
    }


def sample_row(one: DensitySample) -> Json:
    """A density sample for programs."""
    row = sample_json(one)
    row |= {"time": iso_ms(one.time_ms), "entered": iso_ms(one.entered_ms)}
    del row["time_ms"], row["entered_ms"]
    return rounded(row)


def rounded(row: Mapping[str, Any]) -> Json:
    """A row's figures with their fixed decimals."""
    return {
        name: round(value, DECIMALS[name]) + 0.0 if name in DECIMALS and value is not None else value
        for name, value in row.items()
    }


class Trend(NamedTuple):
    """What the dips of one tank since its gauge was last set say of it."""

    rows: list[Held]
    told: Split | str
    moved: Drift | None
    thirds: dict[str, float | None]
    check: list[str]


def ends_m(site: Site, tank: str) -> tuple[float, float]:
    """Innages at which a gauge's zero and full range are told: 4 and 20 mA, without a range the table's ends."""
    model = site.tank(tank)
    return model.range_m or (model.table.bottom_m, model.table.top_m)


def trend_of(site: Site, store: Store, dips: Sequence[Dip], tank: str) -> Trend:
    """dips: all of the tank that count, oldest first."""
    rows = [one for one in held(site, store, dips) if one.compared is not None]
    begun = max((k for k, one in enumerate(rows) if one.dip.after_setting), default=0)
    rows = rows[begun:]
    accuracy = site.accuracy[tank][AFTER_RECEIPT]
    points = []
    for dip, _, told in rows:
        assert dip.level_m is not None and dip.standard_m is not None and told is not None  # noqa: PT018 compared
        spread = math.hypot(dip.standard_m, accuracy.level_repeat_m.standard)
        points.append(Point(dip.time_ms, dip.level_m, told.difference_m, spread, dip.purpose == "verify"))
    zero_at, full_at = ends_m(site, tank)
    told_split = split(points, zero_at, full_at)
    zero, span = accuracy.level_zero_m.standard, accuracy.level_span_frac.standard
    moved = drift(points, zero, max(span, zero / abs(full_at - zero_at)), zero_at) if points else None
    newest = rows[-1].compared if rows else None
    check = to_check(None if newest is None else newest.within, told_split, moved)
    return Trend(rows, told_split, moved, dict(verified(points, zero_at, full_at)), check)


def trend_json(site: Site, tank: str, trend: Trend, dips: Sequence[Dip]) -> Json:
    """A trend for programs. due: when the next dip is, None where the tank was never dipped."""
    moved, rows = trend.moved, trend.rows
    levels = [dip.time_ms for dip in dips if dip.level_m is not None]
    waters = [dip.time_ms for dip in dips if dip.water_m is not None]
    due = next_due(
        max(levels, default=None), max(waters, default=None), site.dip_rules,
        water_from_dips=site.tank(tank).water_from_dips,
    )  # fmt: skip
    rules = site.dip_rules
    return {
        "tank": tank,
        "dips": [held_json(one) for one in rows],
        "limit_m": rules.limit_m,
        "limit_source": rules.limit_source,
        "split": trend.told._asdict() if isinstance(trend.told, Split) else None,
        "split_refused": trend.told if isinstance(trend.told, str) else "",
        "drift": None if moved is None else {
            "way": moved.way,
            "since": None if moved.since is None else iso_ms(rows[moved.since].dip.time_ms),
            "told": None if moved.told_at is None else iso_ms(rows[moved.told_at].dip.time_ms),
            "sums": [list(step) for step in moved.steps],
            "interval": moved.interval,
            "run_length": moved.run_length,
            "found_after": moved.found_after,
        },
        "verified": trend.thirds,
        "check": [{"what": name, "words": CHECK[name]} for name in trend.check],
        "due": None if due.time_ms is None else iso_ms(due.time_ms),
        "due_for": due.why,
    }  # fmt: skip


def trend(site: Site, book: BookReader, store: Store, tank: str) -> Json:
    """A known tank's gauge against its dips."""
    dips = dips_of(book, tank)
    return trend_json(site, tank, trend_of(site, store, dips, tank), dips)
