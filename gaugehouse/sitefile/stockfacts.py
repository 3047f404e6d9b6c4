"""From the keys that say how a level becomes stock to the values of `models`: certificate, shell, roof, accuracy, safe
fill. Runs only where nothing is wrong; decides nothing new but the defaults of what the site leaves out.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from gaugehouse.sitefile.budget import budget_of
from gaugehouse.sitefile.facts import SafeFillSpec, Site, TankExtras, frozen
from gaugehouse.sitefile.schema import TankTable
from gaugehouse.sitefile.stockschema import AccuracyTable, KnownTable, RoofTable
from models.certificate import CapacityCertificate, TankForm
from models.liquidhead import LiquidHeadCorrection, Plates
from models.quantity import Shell
from models.roof import FloatingRoof
from models.stock_budget import Accuracy, Rest, accuracy_of
from models.tank import DEFAULT_TOLERANCE_FRAC, LevelKind, Tank
from models.uncertainty import Known, expanded, rectangular
from models.working import PercentRule, ResponseTimeRule, SafeFillRule, StopTimeRule

SITE_FILE: Final = "site file"

_FIELDS: Final = {
    "level_zero": "level_zero_m",
    "level_repeat": "level_repeat_m",
    "level_span": "level_span_frac",
    "temperature_probe": "temperature_probe_degC",
    "temperature_profile": "temperature_profile_degC",
    "temperature_profile_at_rest": "temperature_profile_at_rest_degC",
    "density": "density_kgpm3",
    "water": "water_m",
    "shell_expansion": "shell_expansion_frac",
    "shell_temperature": "shell_degC",
    "roof_weight": "roof_weight_frac",
}
"""Key of the site file to the name in `models.stock_budget.Accuracy`."""

_AT_REST: Final = "temperature_profile_at_rest_degC"


def certificate_of(tank: TankTable, reference_degC: float) -> CapacityCertificate | None:
    given = tank.certificate
    if given is None:
        return None
    return CapacityCertificate(
        number=given.number,
        laboratory=given.laboratory,
        calibrated_on=given.date,
        form=given.form or TankForm.OTHER,
        reference_height_m=given.reference_height or tank.reference_height,
        datum=given.datum,
        reference_degC=reference_degC if given.reference_temperature is None else given.reference_temperature,
        method=given.method,
        expanded_frac=None if given.uncertainty is None else given.uncertainty / 100,
        coverage=given.coverage,
        head_density_kgpm3=given.head_density,
        deadwood_included=given.deadwood_included,
        bottom_included=given.bottom_included,
        next_due=given.next_due,
    )


def shell_of(tank: TankTable, reference_degC: float) -> Shell | None:
    """The table holds at the certificate's reference temperature, without one at the site's."""
    if tank.shell_expansion is None:
        return None
    certificate = certificate_of(tank, reference_degC)
    at = reference_degC if certificate is None else certificate.reference_degC
    return Shell(tank.shell_expansion, at, tank.shell_insulated)


def roof_of(roof: RoofTable | None) -> FloatingRoof | None:
    if roof is None:
        return None
    return FloatingRoof(roof.weight, roof.critical_low, roof.critical_high, roof.deducted_at)


def head_of(tank: TankTable) -> LiquidHeadCorrection | None:
    """The certificate says which density's head the table includes; a table without one is taken to include none."""
    given = tank.liquid_head
    if given is None:
        return None
    included = None if tank.certificate is None else tank.certificate.head_density
    courses = tuple(Plates(course.plate, course.height) for course in given.course)
    return LiquidHeadCorrection(given.diameter, courses, included, given.elasticity)


def given_accuracy(table: AccuracyTable) -> Mapping[str, Known]:
    """The site's own figures, by the names of `Accuracy`."""
    found = {}
    for key, name in _FIELDS.items():
        known: KnownTable[float] | None = getattr(table, key)
        if known is not None:
            found[name] = _known(known, 100.0 if name.endswith("_frac") else 1.0)
    return frozen(found)


def _known(table: KnownTable[float], per: float) -> Known:
    source = table.source or SITE_FILE
    if table.standard is not None:
        return Known(table.standard / per, source)
    if table.expanded is not None:
        return expanded(table.expanded / per, table.coverage, source)
    return rectangular((table.limits or 0.0) / per, source)


def accuracies(site: Site, tank: Tank, step_m: float | None) -> Mapping[Rest, Accuracy]:
    """What is assumed of a tank, just after a receipt and at rest. `step_m`: the smallest step of its level signal.

    A level that comes as a current or a percentage is as good as its loop; a digital one as a gauge of custody.
    """
    extras = site.extras[tank.id]
    given: dict[str, Known | None] = dict(extras.given_accuracy)
    at_rest = given.pop(_AT_REST, None)
    if tank.kind is not LevelKind.LENGTH:
        given.setdefault("level_zero_m", _loop(tank))
    settled = given | {"temperature_profile_degC": at_rest}  # a figure for just after a receipt says nothing of rest
    return frozen(
        {
            Rest.AFTER_RECEIPT: _with_step(accuracy_of(extras.certificate, Rest.AFTER_RECEIPT, **given), step_m),
            Rest.AT_REST: _with_step(accuracy_of(extras.certificate, Rest.AT_REST, **settled), step_m),
        }
    )


def _loop(tank: Tank) -> Known | None:
    ends = tank.range_m
    if ends is None:
        return None
    own = tank.tolerance_frac != DEFAULT_TOLERANCE_FRAC
    by = SITE_FILE if own else "default (common practice, no source)"
    word = f"loop tolerance {100 * tank.tolerance_frac:g} % of span, {by}"
    return rectangular(tank.tolerance_frac * abs(ends[1] - ends[0]), word)


def _with_step(known: Accuracy, step_m: float | None) -> Accuracy:
    """A level cannot repeat better than its register's step (half a step either way, rectangular)."""
    if not step_m:
        return known
    repeat = known.level_repeat_m
    both = math.hypot(repeat.standard, step_m / math.sqrt(12))
    return replace(known, level_repeat_m=Known(both, f"{repeat.source}; steps of {1000 * step_m:.2g} mm"))


def safe_fill_of(site: Site, tank_id: str) -> SafeFillRule | None:
    """The rule that the site names for a tank's safe fill; what it leaves out follows from [tank.response]."""
    extras = site.extras[tank_id]
    spec = extras.safe_fill
    if spec is None:
        return None
    if spec.rule == "percent":
        return PercentRule(spec.percent or 0.0, spec.source)
    rate, seconds = _rate(spec, extras), _seconds(site, tank_id, spec)
    if spec.rule == "stop time":
        return StopTimeRule(rate, seconds)
    critical = next(limit.at for limit in site.alarms_of(tank_id).limits if limit.condition == "critical_high")
    return ResponseTimeRule(critical, rate, seconds)


def _rate(spec: SafeFillSpec, extras: TankExtras) -> float:
    if spec.rate_m3_per_s is not None:
        return spec.rate_m3_per_s
    assert extras.response is not None, "the rate was checked"
    return extras.response.max_fill_m3_per_s


def _seconds(site: Site, tank_id: str, spec: SafeFillSpec) -> float:
    if spec.time_ms is not None:
        return spec.time_ms / 1000
    if spec.rule == "stop time":
        response = site.extras[tank_id].response
        assert response is not None, "the time was checked"
        return (response.reaction_ms + response.valve_closing_ms + response.run_on_ms) / 1000
    budget = budget_of(site, tank_id)
    assert budget is not None, "the time was checked"
    return budget.total_s
