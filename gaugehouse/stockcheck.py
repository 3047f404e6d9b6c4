"""What `gaugehouse check` says of a tank's stock: its certificate, how well it is known half full, what of it can be
used, and how high it may be filled.
"""

from collections.abc import Iterator
from typing import NamedTuple

from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Problem, Severity
from gaugehouse.wiring import stock_of
from models.certificate import CapacityCertificate, signature_objection
from models.errors import OutOfRange
from models.liquidhead import LiquidHeadCorrection
from models.quantity import Gauging
from models.stock_budget import Rest
from models.tank import Tank
from models.uncertainty import Budget, leading
from models.working import SafeFill, Working, working


class StockFacts(NamedTuple):
    """Figures of one tank. half: the budget of a tank half full, by rest. at_fill: usable and dead stock when filled to
    the safe fill, or to the top of the table without one; None where no suction is given."""

    drawn: bool
    certificate: CapacityCertificate | None
    accepted_by: str | None
    overdue: bool
    half: dict[Rest, Budget]
    half_level_m: float
    suction_m: float | None
    at_fill: Working | None
    safe_fill: SafeFill | None
    head: LiquidHeadCorrection | None = None
    pressure_kPa: float = 0.0


def stock_facts(site: Site, tank: Tank, today: str) -> StockFacts:
    extras, table = site.extras[tank.id], tank.table
    certificate, fill = extras.certificate, site.safe_fill_of(tank.id)
    level_m = table.levels_of((table.volumes_m3[0] + table.capacity_m3) / 2).low_m
    full_m = table.top_m if fill is None else fill.level_m
    at_fill = None
    if extras.suction_m is not None:
        at_fill = working(table, full_m, extras.suction_m)
    return StockFacts(
        extras.capacity_source is None,
        certificate,
        extras.accepted_by,
        certificate is not None and certificate.is_overdue(today),
        _half(site, tank, level_m),
        level_m,
        extras.suction_m,
        at_fill,
        fill,
        tank.head,
        tank.pressure_kPa,
    )


def _half(site: Site, tank: Tank, level_m: float) -> dict[Rest, Budget]:
    """Empty where no stock can be told at that level (a roof in its critical zone)."""
    try:
        model = stock_of(site, tank.id)
    except OutOfRange:
        return {}
    gauging = Gauging(level_m, site.reference_degC, max(0.0, tank.table.bottom_m))
    q = model.calculate(gauging)
    found = {rest: model.budget(q, gauging, rest) for rest in Rest}
    return {rest: budget for rest, budget in found.items() if budget is not None}


def overdue_warning(path: str, tank: str, facts: StockFacts) -> Problem | None:
    """That a calibration is overdue: a warning of the day, so none that the site file's own checks can give."""
    certificate = facts.certificate
    if certificate is None or not facts.overdue:
        return None
    key = f"tank[{tank}].certificate.next_due"
    text = (
        f"certificate {certificate.number} was due for a new calibration on {certificate.next_due}; have the tank "
        "calibrated, or enter the new certificate"
    )
    return Problem(path, key, str(certificate.next_due), "", Severity.WARNING, f"{path}: {key}: {text}")


def stock_lines(facts: StockFacts) -> Iterator[str]:
    """For people, a line each."""
    yield from _certificate_lines(facts)
    if facts.head is not None:
        included = facts.head.included_kgpm3
        table = "without liquid head" if included is None else f"for {included:g} kg/m3"
        yield f"  the table, made {table}, is brought to the density in the tank by {len(facts.head.courses)} courses"
    if facts.pressure_kPa:
        yield f"  kept under {facts.pressure_kPa:g} kPa of gauge pressure: CPL is applied"
    for rest, budget in facts.half.items():
        percent, most = 100 * budget.expanded / budget.value, leading(budget)
        yield (
            f"  half full ({facts.half_level_m:.3f} m), {rest}: GSV {budget.value:.3f} m3 +- {budget.expanded:.3f} m3 "
            f"({percent:.2f} %, k = {budget.coverage:g}); largest: {most.name}, {most.source}"
        )
    if facts.at_fill is None or facts.suction_m is None:
        yield "  no suction is given: usable and dead stock are not known"
    else:
        yield (
            f"  lowest suction {facts.suction_m:g} m: {facts.at_fill.dead_m3:.3f} m3 dead below it, "
            f"{facts.at_fill.usable_m3:.3f} m3 usable when filled"
        )
    if facts.safe_fill is None:
        yield "  no rule of safe fill is named"
    else:
        fill = facts.safe_fill
        yield f"  safe fill {fill.level_m:.3f} m, {fill.volume_m3:.3f} m3: {fill.rule}"


def _certificate_lines(facts: StockFacts) -> Iterator[str]:
    certificate = facts.certificate
    if certificate is None:
        why = "nobody measured this shell" if facts.drawn else "no certificate is named for this table"
        yield f"  {why}: doubt of volume at least 1 % (k = 2) until [tank.certificate] is filled in"
        objection = signature_objection(None, facts.accepted_by)
        yield f"  {objection}" if objection else f"  accepted without a certificate by {facts.accepted_by}"
        return
    stated = certificate.stated
    due = "no next calibration is set" if certificate.next_due is None else f"next due {certificate.next_due}"
    head = certificate.head_density_kgpm3
    yield (
        f"  certificate {certificate.number} of {certificate.calibrated_on}, {certificate.laboratory}"
        f"{f', {certificate.method}' if certificate.method else ''}: "
        f"{100 * stated.expanded_frac:g} % (k = {stated.coverage:g}), at {certificate.reference_degC:g} degC, "
        f"{due}{', OVERDUE' if facts.overdue else ''}"
    )
    yield (
        f"  its reference height {certificate.reference_height_m:g} m from {certificate.datum}; liquid head "
        f"{'not included' if head is None else f'of {head:g} kg/m3 included'}; deadwood "
        f"{'included' if certificate.deadwood_included else 'not included'}; bottom "
        f"{'included' if certificate.bottom_included else 'not included'}"
    )
    if certificate.expanded_frac is None:
        yield f"  {stated.source}"
