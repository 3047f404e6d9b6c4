"""The chain: every step from a gauging to the stock, with symbol, value, unit, the rule it follows, and its quality.

Explains the figures of `models.quantity`, and makes none of its own but percentages. A figure that is refused says why
in the place of its rule.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from models.airweight import WEIGHTS_KGPM3
from models.correction import Edition, Form, group_name
from models.errors import OutOfRange
from models.liquidhead import LiquidHeadCorrection
from models.quantity import Calculation, Gauging, Product, Quantities, Shell, Vessel, water_quality
from models.reading import Quality
from models.roof import FloatingRoof
from models.uncertainty import Budget, leading


class Step(NamedTuple):
    """One line of the chain: what, how much, by which rule, how far to be trusted."""

    symbol: str
    name: str
    value: float | str | None
    unit: str
    rule: str
    quality: str


class Chain(NamedTuple):
    result: Quantities
    steps: tuple[Step, ...]


def chain(vessel: Vessel, product: Product, gauging: Gauging) -> Chain:
    """The figures of one sound gauging with their steps. Raises `OutOfRange` as `models.quantity.quantities` does."""
    if (gauging.innage_m is None) == (gauging.ullage_m is None):
        raise OutOfRange("a gauging needs an innage or an ullage, and only one of them")
    q = Calculation(vessel, product)(gauging)
    if q.refusals:
        raise OutOfRange(q.refusals[0].reason)
    return Chain(q, steps_of(vessel, product, gauging, q))


_UNKNOWN: Final = "not known: what follows from it stays empty"

Row = tuple[str, str, float | None, str, str, Quality]


def steps_of(vessel: Vessel, product: Product, gauging: Gauging, q: Quantities) -> tuple[Step, ...]:
    """The steps behind figures that were made from this gauging, in the order of the calculation."""
    g = gauging
    level = _known(q.innage_m, g.level_quality)
    temperature = _known(g.liquid_degC, g.temperature_quality)
    water = _known(q.free_water_m3, g.water_quality if vessel.water_measured else Quality.GOOD)
    water = max(water, water_quality(vessel, g, q))
    shell = Quality.GOOD if vessel.shell is None else temperature
    factor = max(_known(q.ctl, temperature), g.density_quality)
    by_density = vessel.roof is not None or vessel.head is not None
    gov = max(level, water, shell, factor if by_density else Quality.GOOD)
    rows = [
        *_level_rows(vessel, g, q, level),
        *_observed_rows(vessel, product, g, q, (temperature, water, shell)),
        ("GOV", "gross observed volume", q.gov_m3, "m3", _gov_rule(vessel), _known(q.gov_m3, gov)),
        *_standard_rows(vessel, product, g, q, factor, max(gov, factor)),
    ]
    refused = {refusal.symbol: refusal.reason for refusal in q.refusals}
    return tuple(
        Step(symbol, name, value, unit, refused.get(symbol, rule), quality.word)
        for symbol, name, value, unit, rule, quality in rows
    )


def _known(value: float | None, quality: Quality) -> Quality:
    return Quality.BAD if value is None else quality


def _level_rows(vessel: Vessel, g: Gauging, q: Quantities, level: Quality) -> Iterable[Row]:
    table, reference = vessel.table, vessel.reference_height_m
    by_ullage = g.ullage_m is not None
    if by_ullage:
        yield "U", "ullage", g.ullage_m, "m", "measured", level
        yield "Hr", "reference height", reference, "m", "capacity table", Quality.GOOD
    yield "h", "innage", q.innage_m, "m", "Hr - U" if by_ullage else "measured", level
    h = q.innage_m
    yield "%L", "percent of level", None if h is None else 100 * h / table.top_m, "%", "100 h / top of table", level
    if not by_ullage:
        yield "U", "ullage", None if h is None else reference - h, "m", "reference height - h", level
    rule = "capacity table, straight line between rows"
    if h is not None and q.tov_m3 is not None and not table.bottom_m <= h <= table.top_m:
        rule = "capacity table, its end: the level is off it by less than the gauge's tolerance"
    tov = q.tov_m3
    yield "TOV", "total observed volume", tov, "m3", rule, _known(tov, level)
    percent = None if tov is None else 100 * tov / table.capacity_m3
    yield "%V", "percent of volume", percent, "%", "100 TOV / capacity", _known(tov, level)


def _observed_rows(
    vessel: Vessel, product: Product, g: Gauging, q: Quantities, trust: tuple[Quality, Quality, Quality]
) -> Iterable[Row]:
    temperature, water, shell = trust
    measured = vessel.water_measured
    hw_rule, fw_rule = ("measured", "capacity table at hw") if measured else ("not measured", "not measured, counts 0")
    if measured and g.water_m is None:
        hw_rule = _UNKNOWN
    yield "hw", "innage of free water", g.water_m, "m", hw_rule, water
    yield "FW", "free water", q.free_water_m3, "m3", fw_rule, water
    t_rule = _UNKNOWN if g.liquid_degC is None else "measured"
    yield "t", "liquid temperature", g.liquid_degC, "degC", t_rule, temperature
    if vessel.shell is not None:
        if g.ambient_degC is not None and not vessel.shell.insulated:
            yield "Ta", "ambient temperature", g.ambient_degC, "degC", "measured", Quality.GOOD
        yield "TSh", "shell temperature", q.shell_degC, "degC", _shell_rule(vessel.shell, product, g), shell
    if vessel.head is not None:
        quality = max(_known(q.head_m3, temperature), g.density_quality)
        yield "LHC", "liquid head", q.head_m3, "m3", _head_rule(vessel.head), quality
    rule = _ctsh_rule(vessel.shell)
    yield "CTSh", "correction for the temperature of the shell", q.ctsh, "", rule, _known(q.ctsh, shell)
    roof = vessel.roof
    if roof is not None:
        quality = max(_known(q.roof_m3, temperature), g.density_quality)
        yield roof.symbol, "floating roof", q.roof_m3, "m3", _roof_rule(roof), quality


def _standard_rows(
    vessel: Vessel, product: Product, g: Gauging, q: Quantities, factor: Quality, stock: Quality
) -> Iterable[Row]:
    rho = product.base_density_kgpm3
    base = base_word(product.base_degC)
    rho_rule = f"product group {product.group}"
    yield "rho_b", f"density at {base}", rho, "kg/m3", rho_rule, g.density_quality
    yield "CTL", "correction for the temperature of the liquid", q.ctl, "", _ctl_rule(product, base), factor
    pressure_kPa = vessel.pressure_kPa if g.pressure_kPa is None else g.pressure_kPa
    pressed = pressure_kPa > 0
    if pressure_kPa != 0:
        by = "the vessel's" if g.pressure_kPa is None else "entered"
        by += "" if pressed else f"; below 0 it counts as 0, {Edition.API_2004.value}"
        yield "P", "gauge pressure over the liquid", pressure_kPa, "kPa", by, Quality.GOOD
    if pressed:
        yield "CPL", "correction for the pressure of the liquid", q.cpl, "", product.edition, factor
        yield "CTPL", "correction for temperature and pressure", q.ctpl, "", "CTL x CPL", factor
    stock = _known(q.gsv_m3, stock)
    gsv_rule = f"GOV x {'CTPL' if pressed else 'CTL'}, API MPMS 12.1.1"
    yield "GSV", f"gross standard volume at {base}", q.gsv_m3, "m3", gsv_rule, stock
    yield "S&W", "sediment and water", 100 * g.sediment_water_frac, "%", "entered, else 0", Quality.GOOD
    yield "NSV", f"net standard volume at {base}", q.nsv_m3, "m3", "GSV x (1 - S&W)", stock
    yield "TCV", "total calculated volume", q.tcv_m3, "m3", "GSV + FW", stock
    yield "m", "mass, in vacuo", q.mass_kg, "kg", "GSV x rho_b", stock
    yield "W", "weight in air", q.weight_in_air_kg, "kg", _air_rule(product), stock


def _air_rule(product: Product) -> str:
    if product.air_kgpm3 is None:
        return "m x density in air / rho_b, API MPMS 11.5-2009"
    air, weights = product.air_kgpm3, WEIGHTS_KGPM3
    return f"m x (1 - air / rho_b) / (1 - air / {weights:g}), air {air:.4f} kg/m3 of the site's altitude"


def base_word(base_degC: float) -> str:
    """How the reference temperature is written."""
    return f"{base_degC:g} degC" if base_degC in (15.0, 20.0) else "60 degF"


def _shell_rule(shell: Shell, product: Product, gauging: Gauging) -> str:
    if shell.insulated:
        rule = "= t, insulated shell"
    else:
        rule = "= t, no ambient temperature" if gauging.ambient_degC is None else "(7 t + Ta) / 8"
    return rule + (", to a whole degree" if product.form == Form.ROUNDED else "")


def _ctsh_rule(shell: Shell | None) -> str:
    if shell is None:
        return "no expansion given: 1"
    a, reference = shell.expansion_per_degC, shell.reference_degC
    return f"1 + 2 a dT + (a dT)^2, a = {a:g} /degC from {reference:g} degC, API MPMS 12.1.1"


def _roof_rule(roof: FloatingRoof) -> str:
    if roof.deducted_at_kgpm3 is None:
        return "not in the table: - weight / (density in air x CTL)"
    return f"in the table at {roof.deducted_at_kgpm3:g} kg/m3: weight / that - weight / (density in air x CTL)"


def _head_rule(head: LiquidHeadCorrection) -> str:
    included = head.included_kgpm3
    table = "table without liquid head" if included is None else f"table for {included:g} kg/m3"
    return f"growth of the shell under rho_b x CTL, {table}; thin wall, E = {head.elasticity_Pa / 1e9:g} GPa"


def _gov_rule(vessel: Vessel) -> str:
    held = "TOV - FW" if vessel.head is None else "TOV + LHC - FW"
    return f"({held}) x CTSh" + ("" if vessel.roof is None else f" + {vessel.roof.symbol}") + ", API MPMS 12.1.1"


def _ctl_rule(product: Product, base: str) -> str:
    p = product
    group = group_name(p.group, p.base_density_kgpm3, p.base_degC, p.edition, p.alpha60_per_degF)
    return f"{p.edition}, {p.form}, group {group}, base {base}"


def budget_step(budget: Budget) -> Step:
    """The uncertainty of the stock as the chain's last line, with the input that weighs most."""
    most = leading(budget)
    rule = f"JCGM 100, k = {budget.coverage:g}; largest: {most.name} ({most.source})"
    return Step("U95", f"expanded uncertainty of {budget.quantity}", budget.expanded, budget.unit, rule, "")
