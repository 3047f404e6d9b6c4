"""The uncertainty of a stock figure: which inputs it has, how each acts on GSV or mass, and sensible defaults.

One budget a reading: level, table, temperature, density, water, shell, roof. Sensitivities are analytic and of the
unrounded chain. Two budgets of one tank make a movement's (`models.uncertainty.difference`): the gauge's zero, the
density and the probe's bias nearly cancel there, the table partly, repeatability and profile not at all.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from models.certificate import CapacityCertificate, stated_of
from models.correction import expansion
from models.errors import OutOfRange
from models.quantity import Gauging, Product, Quantities, Vessel, quantities
from models.uncertainty import Budget, Known, Term, rectangular

TABLE_DECAY_M: Final = 2.0
"""How far apart two levels are when the table's local errors are strangers: about a course of plates (our model)."""

TABLE_LOCAL_SHARE: Final = 0.5
"""Part of the table's variance that is local; the rest is one scale error of the whole table (our model, no source)."""


class Rest(StrEnum):
    """Whether the liquid has had time to settle into layers: one probe tells more of a tank long at rest."""

    AFTER_RECEIPT = "after receipt"
    AT_REST = "at rest"


_PROFILE_DEGC: Final = {
    Rest.AFTER_RECEIPT: Known(1.5, "one spot probe just after a receipt, 1 to 2 degC (common practice, no source)"),
    Rest.AT_REST: Known(0.5, "one spot probe, tank long at rest (common practice, no source)"),
}


class Figure(StrEnum):
    """What the budget is of."""

    GSV = "GSV"
    MASS = "mass"


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Standard uncertainties of a tank's measurements, each with its source; fractions are of the quantity named.

    level_span is of the innage; shell_expansion of the coefficient; roof_weight of the weight.
    """

    level_zero_m: Known
    level_repeat_m: Known
    level_span_frac: Known
    table_frac: Known
    temperature_probe_degC: Known
    temperature_profile_degC: Known
    density_kgpm3: Known
    water_m: Known
    shell_expansion_frac: Known
    shell_degC: Known
    roof_weight_frac: Known


def accuracy_of(
    certificate: CapacityCertificate | None,
    rest: Rest = Rest.AFTER_RECEIPT,
    *,
    level_zero_m: Known | None = None,
    level_repeat_m: Known | None = None,
    level_span_frac: Known | None = None,
    density_kgpm3: Known | None = None,
) -> Accuracy:
    """What to assume of a tank where the site says nothing better; without a certificate the table is good to 1 %.

    The site's own figures (dip comparisons, a loop check record, a densitometer's certificate) replace the defaults.
    """
    stated = stated_of(certificate)
    return Accuracy(
        level_zero_m=level_zero_m or rectangular(0.004, "API MPMS 3.1B, gauge as installed, custody (from memory)"),
        level_repeat_m=level_repeat_m or rectangular(0.001, "API MPMS 3.1B.4.3.2, gauge as made, custody"),
        level_span_frac=level_span_frac or rectangular(0.0002, "OIML R 85 class 2, 0.02 % of reading (from memory)"),
        table_frac=Known(stated.standard_frac, stated.source),
        temperature_probe_degC=rectangular(0.5, "probe and transmitter (common practice, no source)"),
        temperature_profile_degC=_PROFILE_DEGC[rest],
        density_kgpm3=density_kgpm3 or rectangular(0.5, "hydrometer, read to half a division (common practice)"),
        water_m=rectangular(0.003, "water dip with paste (common practice, no source)"),
        shell_expansion_frac=rectangular(0.05, "steel of unknown grade (common practice, no source)"),
        shell_degC=rectangular(3.0, "shell in sun or wind (common practice, no source)"),
        roof_weight_frac=rectangular(0.01, "roof weight (common practice, no source)"),
    )


def stock_budget(
    vessel: Vessel,
    product: Product,
    gauging: Gauging,
    accuracy: Accuracy,
    figure: Figure = Figure.GSV,
) -> Budget:
    """The budget of one reading's GSV in m3 or mass in kg. Raises `OutOfRange` where the figure itself is missing."""
    q = quantities(vessel, product, gauging)
    if q.gsv_m3 is None or q.mass_kg is None or gauging.liquid_degC is None:
        raise OutOfRange(f"no budget without a {figure.value}: temperature or water is missing")
    scale = product.base_density_kgpm3 if figure is Figure.MASS else 1.0
    terms = _terms(vessel, product, gauging, accuracy, q, q.gsv_m3, gauging.liquid_degC, figure)
    scaled = tuple(term._replace(sensitivity=term.sensitivity * scale) for term in terms)
    if figure is Figure.MASS:
        return Budget("mass", q.mass_kg, "kg", scaled, q.innage_m)
    return Budget("GSV", q.gsv_m3, "m3", scaled, q.innage_m)


def _terms(
    vessel: Vessel,
    product: Product,
    gauging: Gauging,
    accuracy: Accuracy,
    q: Quantities,
    gsv: float,
    liquid_degC: float,
    figure: Figure,
) -> list[Term]:
    """Terms in m3 of GSV; a mass is the base density times these, which for the density adds GSV / rho."""
    ctsh, ctpl = q.ctsh or 1.0, q.ctpl or 1.0
    liquid_m3 = q.tov_m3 - (q.free_water_m3 or 0.0)
    area = vessel.table.area_m2(q.innage_m) * ctsh * ctpl
    by_degC, by_density = _thermal(product, liquid_degC)
    density = gsv * by_density + (gsv / product.base_density_kgpm3 if figure is Figure.MASS else 0.0)
    table = accuracy.table_frac
    corrected = liquid_m3 * ctsh * ctpl
    shell_by_degC = 0.0
    if vessel.shell is not None and q.shell_degC is not None:
        a, d_t = vessel.shell.expansion_per_degC, q.shell_degC - vessel.shell.reference_degC
        shell_by_degC = liquid_m3 * 2 * a * (1 + a * d_t) * ctpl
    bare = vessel.shell is not None and not vessel.shell.insulated and gauging.ambient_degC is not None
    temperature = gsv * by_degC + shell_by_degC * (7 / 8 if bare else 1.0)
    rows = [
        ("level zero", accuracy.level_zero_m, "m", area, 1.0, None),
        ("level repeatability", accuracy.level_repeat_m, "m", area, 0.0, None),
        ("level span", accuracy.level_span_frac, "1", area * q.innage_m, 1.0, None),
        ("capacity table, scale", _part(table, 1 - TABLE_LOCAL_SHARE), "1", corrected, 1.0, None),
        ("capacity table, local", _part(table, TABLE_LOCAL_SHARE), "1", corrected, 0.0, TABLE_DECAY_M),
        ("temperature probe", accuracy.temperature_probe_degC, "degC", temperature, 1.0, None),
        ("temperature profile", accuracy.temperature_profile_degC, "degC", temperature, 0.0, None),
        ("density", accuracy.density_kgpm3, "kg/m3", density, 1.0, None),
    ]
    if vessel.water_measured:
        water_m = gauging.water_m or 0.0
        by_water = -vessel.table.area_m2(max(water_m, vessel.table.bottom_m)) * ctsh * ctpl
        rows.append(("free water", accuracy.water_m, "m", by_water, 0.0, None))
    else:
        rows.append(("free water", Known(0.0, "not measured: not in this budget"), "m", 0.0, 0.0, None))
    if vessel.shell is not None and q.shell_degC is not None:
        by_coefficient = shell_by_degC * (q.shell_degC - vessel.shell.reference_degC)
        rows.append(("shell expansion", accuracy.shell_expansion_frac, "1", by_coefficient, 1.0, None))
        rows.append(("shell temperature", accuracy.shell_degC, "degC", shell_by_degC, 0.0, None))
    if vessel.roof is not None:
        rows.append(("roof weight", accuracy.roof_weight_frac, "1", (q.roof_m3 or 0.0) * ctpl, 1.0, None))
    return [
        Term(name, known.standard, unit, sensitivity, shared, known.source, decay)
        for name, known, unit, sensitivity, shared, decay in rows
    ]


def _thermal(product: Product, liquid_degC: float) -> tuple[float, float]:
    """d ln(CTL) / dT in 1/degC and d ln(CTL) / d rho in m3/kg, to second order in alpha dT."""
    alpha, slope = expansion(
        product.group, product.base_density_kgpm3, product.base_degC, product.edition, product.alpha60_per_degF
    )
    d_t = liquid_degC - product.base_degC
    bend = 1 + 1.6 * alpha * d_t
    return -alpha * bend, -slope * d_t * bend


def _part(known: Known, share: float) -> Known:
    return Known(known.standard * math.sqrt(share), known.source)
