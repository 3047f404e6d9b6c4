"""Whether a dip or a density sample may be written down as it is: the wait after flow, repeat readings, sense.

The same judgement answers the entry form while it is filled in and decides when it is sent. Reads the core; changes
nothing. No clock, no I/O.
"""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.keeper import EMPTYING, FILLING
from inventory.dips import (
    REFERENCE_OFF_M,
    Compared,
    DensitySample,
    Dip,
    Method,
    compared,
    dip_standard_m,
    innage_m,
    repeated,
    tape_factor,
)
from inventory.diptrend import CHECK
from models.density import DensityMeter, base_density_of_sample, certificate_objection, rebased_kgpm3
from models.errors import OutOfRange
from models.reading import BAD, EXACT, GOOD, Instant
from models.stock_budget import AFTER_RECEIPT, Accuracy

if TYPE_CHECKING:
    from gaugehouse.core import Core

FUTURE_MS: Final = 60_000
OLDEST_MS: Final = 31 * 86_400_000
"""What is written down later than this is no news of the tank any more."""

GAUGE_NEAR_MS: Final = 120_000
"""How far in time a reading may be from a dip to be held against it."""

TYPING_M: Final = 0.1
"""A dip so far from a trusted gauge is more often a slip of the pen than a fault of the gauge (ours)."""


class Wait(NamedTuple):
    """The relaxation time at one moment. left_ms: of it; flows: the tank was moving then; known: the gauge was
    trusted all the time before it."""

    left_ms: int
    flows: bool
    known: bool


class Judged(NamedTuple):
    """A dip with what follows from it. refused: why it cannot be written down so, "" where it can. repeated: how its
    readings agree, in words. notes: what the person must know."""

    refused: str
    dip: Dip
    repeated: str
    compared: Compared | None
    wait: Wait
    notes: tuple[str, ...]


class SampleJudged(NamedTuple):
    """A sample with its base density; see `Judged`."""

    refused: str
    sample: DensitySample
    notes: tuple[str, ...]


def waited_for(core: "Core", tank: str, time_ms: int) -> Wait:
    """What is left of the relaxation time of a tank at a moment, by all that the gauge has shown since."""
    keeper, relaxation = core.keepers[tank], core.dips.rules.relaxation_ms
    stretches: list[tuple[int, int | None]] = list(core.movements.stretches(tank))
    if keeper.flowed is not None:
        since, last = keeper.flowed
        stretches.append((since, None if keeper.flow in (FILLING, EMPTYING) else last))
    left, flows = 0, False
    for start, end in stretches:
        if start <= time_ms:
            moving = end is None or time_ms < end
            flows = flows or moving
            left = max(left, relaxation if end is None or moving else end + relaxation - time_ms)
    latest, begun = keeper.latest, keeper.seen_since_ms
    seen = begun is not None and time_ms - begun >= relaxation
    return Wait(left, flows, seen and latest is not None and latest.quality is not BAD)


def gauge_standard_m(accuracy: Accuracy, level_m: float) -> float:
    """Standard uncertainty of a gauge's level: zero, repeatability and span together."""
    return math.hypot(
        accuracy.level_zero_m.standard, accuracy.level_repeat_m.standard, accuracy.level_span_frac.standard * level_m
    )


def judge_dip(core: "Core", at: Instant, dip: Dip, *, sure: bool = False) -> Judged:
    """A dip of a known tank, its times filled in: everything that can be said of it now."""
    site, rules = core.site, core.dips.rules
    wait = waited_for(core, dip.tank, dip.time_ms)
    rule = rules.repeats(dip.purpose)
    agreed = repeated(dip.readings_m, rule)
    words = agreed.words if dip.readings_m else ""
    tank = site.tank(dip.tank)
    if agreed.value_m is not None:
        factor = tape_factor(dip.tape_degC, rules.tape_degC)
        level = innage_m(agreed.value_m, dip.method, tank.reference_height_m, factor)
        standard = dip_standard_m(rules.doubt_m, agreed.spread_m)
        dip = replace(dip, level_m=level, standard_m=standard)
    gauge = _gauge_m(core, dip)
    told = None
    if gauge is not None and dip.level_m is not None and dip.standard_m is not None:
        accuracy = site.accuracy[dip.tank][AFTER_RECEIPT]
        told = compared(gauge, gauge_standard_m(accuracy, gauge), dip.level_m, dip.standard_m, rules.limit_m)
        dip = replace(dip, gauge_m=gauge)
    refused = (
        _untimely(at, dip.time_ms)
        or _too_early(wait, dip.waited, rules.waited_by_name)
        or _nothing(dip)
        or ("" if agreed.value_m is not None or not dip.readings_m else agreed.words)
        or _senseless(core, dip)
        or _slip(dip, told, sure=sure)
    )
    return Judged(refused, dip, words, told, wait, tuple(_notes(core, dip, told, wait)))


def judge_sample(core: "Core", at: Instant, sample: DensitySample, rejected: str = "") -> SampleJudged:
    """A sample of a known tank: its density at the base, and whether it can stand for the tank's product."""
    site, rules = core.site, core.dips.rules
    wait = waited_for(core, sample.tank, sample.time_ms)
    refused = _untimely(at, sample.time_ms) or _too_early(wait, sample.waited, rules.waited_by_name)
    spec = site.product_of(sample.tank)
    try:
        base = base_density_of_sample(
            spec.group, sample.observed_kgpm3, sample.observed_degC, DensityMeter(sample.meter),
            base_degC=site.reference_degC, edition=site.volume_correction, alpha60_per_degF=spec.alpha60_per_degF,
        )  # fmt: skip
        at_15 = rebased_kgpm3(spec.group, base, site.reference_degC, 15.0, spec.alpha60_per_degF)
        core.stock_at(sample.tank, base)
    except OutOfRange as error:
        return SampleJudged(refused or f"the sample has no base density: {error}", sample, ())
    objections = [rejected, spec.objection(site.reference_degC, base) or ""]
    if sample.certificate_kgpm3 is not None:
        objections.append(certificate_objection(at_15, sample.certificate_kgpm3, rules.certificate_kgpm3) or "")
    why = "; ".join(one for one in objections if one)
    sample = replace(sample, base_kgpm3=base, base_degC=site.reference_degC, accepted=not why, why=why)
    notes = [] if wait.known else [_unwatched(core)]
    if why and why != rejected:
        notes.append(f"written down, but not accepted: {why}")
    return SampleJudged(refused, sample, tuple(notes))


def _gauge_m(core: "Core", dip: Dip) -> float | None:
    """What the gauge told at the time of a dip, where the core still knows it."""
    reading = core.keepers[dip.tank].latest
    if reading is None or reading.quality is not GOOD or reading.bound is not EXACT:
        return None
    return reading.level_m if abs(reading.time_ms - dip.time_ms) <= GAUGE_NEAR_MS else None


def _untimely(at: Instant, time_ms: int) -> str:
    if time_ms > at.time_ms + FUTURE_MS:
        return "the time lies in the future; write when it was done"
    if time_ms < at.time_ms - OLDEST_MS:
        return "it is older than 31 days; write it beside the entry that it concerns, by `gaugehouse correct`"
    return ""


def _too_early(wait: Wait, waited: str, by_name: bool) -> str:
    if not wait.left_ms or (waited and by_name):
        return ""
    minutes = -(-wait.left_ms // 60_000)
    begun = "fuel still flows" if wait.flows else "the liquid may still be charged"
    after = " after it has stopped" if wait.flows else ""
    text = f"{begun}: wait {minutes} min more{after} before a tape or a sampler goes in (static electricity)"
    if waited:
        return f"{text}; this site lets nobody vouch for the wait by name"
    return f"{text}; or say who vouches that it was kept" if by_name else text


def _nothing(dip: Dip) -> str:
    if not dip.readings_m and dip.water_m is None and dip.temperature_degC is None:
        return "nothing was measured; write readings of the level, the water or the temperature"
    if dip.temperature_degC is not None and not dip.temperature_kind:
        return "say whether the temperature is one spot reading or an average of several"
    if dip.temperature_degC is None and dip.temperature_kind:
        return "there is no temperature of that kind; write it, or leave its kind away"
    return ""


def _senseless(core: "Core", dip: Dip) -> str:
    """Why a height cannot be. A dip below the datum plate, or off the table, is refused with the reason."""
    tank = core.site.tank(dip.tank)
    table, height = tank.table, tank.reference_height_m
    level = dip.level_m
    if level is not None:
        read = f"{dip.method} comes to an innage of {1000 * level:.1f} mm"
        if dip.method is Method.ULLAGE and level < 0:
            return f"{read}: the ullage is more than the reference height {1000 * height:.0f} mm; read the tape again"
        if level < 0:
            return f"{read}: below the datum plate there is nothing to dip; read the tape again"
        if level < table.bottom_m:
            return f"{read}: below the first row of the capacity table ({1000 * table.bottom_m:.0f} mm)"
        if level > table.top_m:
            return (
                f"{read}: above the top of the capacity table ({1000 * table.top_m:.0f} mm); look whether it is an "
                f"{'ullage' if dip.method is Method.INNAGE else 'innage'}"
            )
    top = table.top_m if level is None else level
    if dip.water_m is not None and dip.water_m > top:
        over = "the dip" if level is not None else "the top of the capacity table"
        return f"water {1000 * dip.water_m:.1f} mm is above {over} ({1000 * top:.1f} mm)"
    return ""


def _slip(dip: Dip, told: Compared | None, *, sure: bool) -> str:
    if told is None or sure or abs(told.difference_m) <= TYPING_M:
        return ""
    assert dip.level_m is not None and dip.gauge_m is not None  # noqa: PT018 they were compared
    return (
        f"the dip comes to {1000 * dip.level_m:.1f} mm, the gauge tells {1000 * dip.gauge_m:.1f} mm; look at the "
        "figures again, and say that you are sure if they are right"
    )


def _unwatched(core: "Core") -> str:
    minutes = core.dips.rules.relaxation_ms / 60_000
    return (
        f"Whether the tank has stood still for {minutes:g} min is not known here: ask who moves fuel before a tape or "
        "a sampler goes in."
    )


def _notes(core: "Core", dip: Dip, told: Compared | None, wait: Wait) -> list[str]:
    notes = [] if wait.known or wait.left_ms else [_unwatched(core)]
    height = core.site.tank(dip.tank).reference_height_m
    if dip.reference_m is not None and abs(dip.reference_m - height) > REFERENCE_OFF_M:
        off = 1000 * (dip.reference_m - height)
        notes.append(f"The reference height reads {off:+.1f} mm off. {CHECK['reference']}")
    if told is not None and not told.within:
        limit = f"{1000 * core.dips.rules.limit_m:g} mm, {core.dips.rules.limit_source}"
        notes.append(f"Gauge less dip is {1000 * told.difference_m:+.1f} mm (limit {limit}). {CHECK['limit']}")
    return notes
