"""Static quantity calculation in the form of API MPMS Ch. 12.1.1: a gauge reading -> standard volume, mass, weight.

`quantities` gives the figures, `chain` the same figures with every step: symbol, name, value, unit, rule and quality.
What is missing stays None with all that follows from it; what cannot be (level off the table, water above the level, a
roof in its critical zone, a density or temperature that no table takes) raises `OutOfRange`. No rounding but in the
form "rounded", and then of the temperature of the shell and of the factors only, never of a volume.
Words and order: secondary, a public handbook citing API MPMS 12.1.1 and EI HM 1.
"""

from dataclasses import dataclass
from typing import NamedTuple

from models import rounding, vcf
from models.airweight import air_factor, density_in_air_kgpm3
from models.capacity import CapacityTable
from models.correction import Edition, Form, ctl, ctl_rounded, group_name, round_temperature
from models.errors import OutOfRange
from models.groups import commodity_of
from models.reading import Quality
from models.roof import FloatingRoof


@dataclass(frozen=True, slots=True)
class Shell:
    """Thermal expansion of an upright shell. expansion_per_degC is linear: 1.12e-5 for mild steel (secondary).

    Not for spheres and lying cylinders, whose area factor is another one.
    """

    expansion_per_degC: float
    reference_degC: float = 15.0
    insulated: bool = False

    def temperature_degC(self, liquid_degC: float, ambient_degC: float | None) -> float:
        """TSh = (7 TL + Ta) / 8 for a bare shell; TL where it is insulated or no ambient temperature is known."""
        if self.insulated or ambient_degC is None:
            return liquid_degC
        return (7 * liquid_degC + ambient_degC) / 8

    def factor(self, shell_degC: float) -> float:
        """CTSh = 1 + 2 a dT + a^2 dT^2."""
        d = self.expansion_per_degC * (shell_degC - self.reference_degC)
        return 1 + 2 * d + d * d


@dataclass(frozen=True, slots=True)
class Vessel:
    """A tank as its papers describe it. water_measured False: free water counts 0 and is printed "not measured"."""

    table: CapacityTable
    reference_height_m: float
    shell: Shell | None = None
    roof: FloatingRoof | None = None
    water_measured: bool = True


@dataclass(frozen=True, slots=True)
class Product:
    """A product for the chain: its group word, density at the base, and the edition and form of its correction."""

    group: str
    base_density_kgpm3: float
    base_degC: float = 15.0
    edition: str = Edition.API_2004
    form: str = Form.UNROUNDED
    alpha60_per_degF: float | None = None


class Gauging(NamedTuple):
    """What was measured at one moment. Exactly one of innage and ullage; None elsewhere is "not known".

    water_m: innage of free water. sediment_water_frac: of the gross standard volume. The qualities are of the inputs.
    """

    innage_m: float | None = None
    liquid_degC: float | None = None
    water_m: float | None = None
    ullage_m: float | None = None
    ambient_degC: float | None = None
    pressure_kPa: float = 0.0
    sediment_water_frac: float = 0.0
    level_quality: Quality = Quality.GOOD
    temperature_quality: Quality = Quality.GOOD
    water_quality: Quality = Quality.GOOD
    density_quality: Quality = Quality.GOOD


class Quantities(NamedTuple):
    """All figures of the chain, unrounded; None where an input is missing."""

    innage_m: float
    tov_m3: float
    free_water_m3: float | None
    shell_degC: float | None
    ctsh: float | None
    roof_m3: float | None
    gov_m3: float | None
    ctl: float | None
    cpl: float | None
    ctpl: float | None
    gsv_m3: float | None
    nsv_m3: float | None
    tcv_m3: float | None
    mass_kg: float | None
    weight_in_air_kg: float | None


class Step(NamedTuple):
    """One line of the chain."""

    symbol: str
    name: str
    value: float | None
    unit: str
    rule: str
    quality: str


class Chain(NamedTuple):
    result: Quantities
    steps: tuple[Step, ...]


def innage_m(vessel: Vessel, gauging: Gauging) -> float:
    """Innage, be it measured or reference height less ullage. Source: API MPMS 3.1A form."""
    if (gauging.innage_m is None) == (gauging.ullage_m is None):
        raise OutOfRange("a gauging needs an innage or an ullage, and only one of them")
    if gauging.innage_m is not None:
        innage = gauging.innage_m
    else:
        assert gauging.ullage_m is not None
        innage = vessel.reference_height_m - gauging.ullage_m
    if innage < 0:
        raise OutOfRange(f"innage {innage:.4f} m is below the datum plate; look at the reference height and the dip")
    return innage


def quantities(vessel: Vessel, product: Product, gauging: Gauging) -> Quantities:
    """Every figure from one gauging: GOV = (TOV - FW) x CTSh + FRA, GSV = GOV x CTPL, NSV = GSV x (1 - S&W)."""
    innage = innage_m(vessel, gauging)
    tov = vessel.table.volume_m3(innage)
    water = _free_water_m3(vessel, gauging, innage)
    shell_degC, ctsh = _shell(vessel, product, gauging)
    thermal, cpl, ctpl = _factors(product, gauging)
    density = product.base_density_kgpm3
    roof: float | None = 0.0
    if vessel.roof is not None:
        at_base = density_in_air_kgpm3(density)
        roof = None if thermal is None else vessel.roof.correction_m3(innage, at_base, thermal)
    gov = None if water is None or ctsh is None or roof is None else (tov - water) * ctsh + roof
    if gov is not None and gov < 0 and roof:
        raise OutOfRange(
            f"gross observed volume {gov:.3f} m3: the roof displaces more than the tank holds at this level"
        )
    gsv = None if gov is None or ctpl is None else gov * ctpl
    if gsv is None:
        return Quantities(
            innage, tov, water, shell_degC, ctsh, roof, gov, thermal, cpl, ctpl, None, None, None, None, None
        )
    if not 0 <= gauging.sediment_water_frac < 1:
        raise OutOfRange(f"sediment and water {100 * gauging.sediment_water_frac:g} %; allowed 0 to below 100 %")
    nsv = gsv * (1 - gauging.sediment_water_frac)
    mass = gsv * density
    tcv = None if water is None else gsv + water
    return Quantities(
        innage, tov, water, shell_degC, ctsh, roof, gov, thermal, cpl, ctpl, gsv, nsv, tcv, mass,
        mass * air_factor(density),
    )  # fmt: skip


def _free_water_m3(vessel: Vessel, gauging: Gauging, innage: float) -> float | None:
    if not vessel.water_measured:
        return 0.0
    water = gauging.water_m
    if water is None:
        return None
    if water < 0:
        raise OutOfRange(f"water innage {water:.4f} m is below the datum plate; look at the dip")
    if water > innage:
        raise OutOfRange(f"water innage {water:.4f} m is above the product's innage {innage:.4f} m; look at both")
    return 0.0 if water <= vessel.table.bottom_m else vessel.table.volume_m3(water)


def _shell(vessel: Vessel, product: Product, gauging: Gauging) -> tuple[float | None, float | None]:
    if vessel.shell is None:
        return None, 1.0
    if gauging.liquid_degC is None:
        return None, None
    shell_degC = vessel.shell.temperature_degC(gauging.liquid_degC, gauging.ambient_degC)
    if product.form == Form.ROUNDED:
        shell_degC = rounding.to_increment(shell_degC, 1.0)
        return shell_degC, rounding.to_increment(vessel.shell.factor(shell_degC), rounding.FACTOR)
    return shell_degC, vessel.shell.factor(shell_degC)


def _factors(product: Product, gauging: Gauging) -> tuple[float | None, float | None, float | None]:
    """CTL, CPL, CTPL; CPL is 1 without gauge pressure, and the 1980 tables know no other."""
    t = gauging.liquid_degC
    if t is None:
        return None, None, None
    group, density, base, edition = product.group, product.base_density_kgpm3, product.base_degC, product.edition
    function = ctl_rounded if product.form == Form.ROUNDED else ctl
    thermal = function(group, density, t, base, edition, alpha60_per_degF=product.alpha60_per_degF)
    if gauging.pressure_kPa <= 0:
        return thermal, 1.0, thermal
    if edition != Edition.API_2004:
        raise OutOfRange(f"gauge pressure {gauging.pressure_kPa:g} kPa: only API MPMS 11.1-2004 corrects for pressure")
    pressure = gauging.pressure_kPa
    if product.form == Form.ROUNDED:
        density = rounding.to_increment(density, rounding.DENSITY_KGPM3)
        t, pressure = round_temperature(t, base), rounding.to_increment(pressure, rounding.PRESSURE_KPA)
    line = vcf.line_of(commodity_of(group), density, base, product.alpha60_per_degF)
    factors = vcf.factors(line, t, pressure)
    if product.form == Form.ROUNDED:  # the product of the two is rounded, not each
        return thermal, factors.cpl, rounding.to_increment(factors.ctpl, rounding.FACTOR)
    return thermal, factors.cpl, factors.ctpl


def chain(vessel: Vessel, product: Product, gauging: Gauging) -> Chain:
    """The figures of `quantities` with every step that led to them, in the order of the calculation."""
    q = quantities(vessel, product, gauging)
    g = gauging
    level, temperature = g.level_quality, _known(g.liquid_degC, g.temperature_quality)
    water = _known(q.free_water_m3, g.water_quality if vessel.water_measured else Quality.GOOD)
    shell = Quality.GOOD if vessel.shell is None else temperature
    roof = Quality.GOOD if vessel.roof is None else max(temperature, g.density_quality)
    factor = max(temperature, g.density_quality)
    gov = max(level, water, shell, roof)
    stock = max(gov, factor)
    rho = product.base_density_kgpm3
    base = f"{product.base_degC:g} degC" if product.base_degC in (15.0, 20.0) else "60 degF"
    group = group_name(product.group, rho, product.base_degC, product.edition, product.alpha60_per_degF)
    rows: list[tuple[str, str, float | None, str, str, Quality]] = []
    if g.ullage_m is not None:
        rows.append(("U", "ullage", g.ullage_m, "m", "measured", level))
        rows.append(("Hr", "reference height", vessel.reference_height_m, "m", "capacity table", Quality.GOOD))
    rows += [
        ("h", "innage", q.innage_m, "m", "measured" if g.ullage_m is None else "Hr - U", level),
        ("TOV", "total observed volume", q.tov_m3, "m3", "capacity table, straight line between rows", level),
        ("hw", "innage of free water", g.water_m, "m", _water_rule(vessel), water),
        ("FW", "free water", q.free_water_m3, "m3", _water_rule(vessel), water),
        ("t", "liquid temperature", g.liquid_degC, "degC", "measured", temperature),
    ]
    if vessel.shell is not None:
        rows.append(("TSh", "shell temperature", q.shell_degC, "degC", _shell_rule(vessel.shell, product, g), shell))
    rows.append(("CTSh", "correction for the temperature of the shell", q.ctsh, "", _ctsh_rule(vessel.shell), shell))
    if vessel.roof is not None:
        rows.append((vessel.roof.symbol, "floating roof", q.roof_m3, "m3", _roof_rule(vessel.roof), roof))
    rows += [
        ("GOV", "gross observed volume", q.gov_m3, "m3", _gov_rule(vessel.roof), gov),
        ("rho_b", f"density at {base}", rho, "kg/m3", f"product group {product.group}", g.density_quality),
        ("CTL", "correction for the temperature of the liquid", q.ctl, "", _ctl_rule(product, group, base), factor),
    ]
    if g.pressure_kPa > 0:
        rows.append(("CPL", "correction for the pressure of the liquid", q.cpl, "", product.edition, factor))
        rows.append(("CTPL", "correction for temperature and pressure", q.ctpl, "", "CTL x CPL", factor))
    factor_word = "CTPL" if g.pressure_kPa > 0 else "CTL"
    rows += [
        ("GSV", f"gross standard volume at {base}", q.gsv_m3, "m3", f"GOV x {factor_word}", stock),
        ("S&W", "sediment and water", 100 * g.sediment_water_frac, "%", "entered, else 0", Quality.GOOD),
        ("NSV", f"net standard volume at {base}", q.nsv_m3, "m3", "GSV x (1 - S&W)", stock),
        ("TCV", "total calculated volume", q.tcv_m3, "m3", "GSV + FW", stock),
        ("m", "mass, in vacuo", q.mass_kg, "kg", "GSV x rho_b", stock),
        ("W", "weight in air", q.weight_in_air_kg, "kg", "m x density in air / rho_b, API MPMS 11.5-2009", stock),
    ]
    return Chain(q, tuple(Step(*row[:5], row[5].word) for row in rows))


def _known(value: float | None, quality: Quality) -> Quality:
    return Quality.BAD if value is None else quality


def _water_rule(vessel: Vessel) -> str:
    return "capacity table at the water's innage" if vessel.water_measured else "not measured, counts 0"


def _shell_rule(shell: Shell, product: Product, gauging: Gauging) -> str:
    if shell.insulated:
        rule = "= t, insulated shell"
    else:
        rule = "= t, no ambient temperature" if gauging.ambient_degC is None else "(7 t + ambient) / 8"
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


def _gov_rule(roof: FloatingRoof | None) -> str:
    return "(TOV - FW) x CTSh" + ("" if roof is None else f" + {roof.symbol}") + ", API MPMS 12.1.1"


def _ctl_rule(product: Product, group: str, base: str) -> str:
    return f"{product.edition}, {product.form}, group {group}, base {base}"
