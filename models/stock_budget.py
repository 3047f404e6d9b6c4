"""The uncertainty of a stock figure: which inputs it has, how each acts on GSV or mass, and sensible defaults.

One budget a reading: level, table, temperature, density, water, shell, roof. Sensitivities are analytic and of the
unrounded chain. Two budgets of one tank make a movement's (`models.uncertainty.difference`): the gauge's zero, the
density and the probe's bias nearly cancel there, the table partly, repeatability and profile not at all. What the
daemon puts beside every reading is the same budget, its terms not written out.
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from operator import mul
from typing import Final, NamedTuple

from models.certificate import CapacityCertificate, stated_of
from models.correction import expansion
from models.errors import OutOfRange
from models.quantity import Gauging, Product, Quantities, Vessel, quantities
from models.uncertainty import COVERAGE, Budget, Known, Term, rectangular

TABLE_FADES: Final = 1.0
"""How the table's local errors become strangers: by the ratio of two innages, 0.61 where one is 2.7 times the other.

Its error up to a height is the mean of what each course got wrong, so that it depends on how much of one stretch lies
in the other. A small movement is then known by its table to about the certificate's own share of what moved, as law
takes it to be: 0.3 % holds for a delivery of 2 m on (French order of 16 April 1999, minimum delivery height of upright
tanks with a fixed roof; secondary). The form is ours.
"""

TABLE_LOCAL_SHARE: Final = 0.5
"""Part of the table's variance that is local; the rest is one scale error of the whole table (our model, no source)."""


class Rest(StrEnum):
    """Whether the liquid has had time to settle into layers: one probe tells more of a tank long at rest."""

    AFTER_RECEIPT = "after receipt"
    AT_REST = "at rest"


AT_REST: Final = Rest.AT_REST
AFTER_RECEIPT: Final = Rest.AFTER_RECEIPT

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
    certificate: CapacityCertificate | None, rest: Rest = Rest.AFTER_RECEIPT, **known: Known | None
) -> Accuracy:
    """What to assume of a tank where the site says nothing better; without a certificate the table is good to 1 %.

    known: the site's own figures by name (dip comparisons, a loop check record, a densitometer's certificate); they
    replace the defaults.
    """
    stated = stated_of(certificate)
    assumed = Accuracy(
        level_zero_m=rectangular(0.004, "API MPMS 3.1B, gauge as installed, custody (from memory)"),
        level_repeat_m=rectangular(0.001, "API MPMS 3.1B.4.3.2, gauge as made, custody"),
        level_span_frac=rectangular(0.0002, "OIML R 85 class 2, 0.02 % of reading (from memory)"),
        table_frac=Known(stated.standard_frac, stated.source),
        temperature_probe_degC=rectangular(0.5, "probe and transmitter (common practice, no source)"),
        temperature_profile_degC=_PROFILE_DEGC[rest],
        density_kgpm3=rectangular(0.5, "hydrometer, read to half a division (common practice)"),
        water_m=rectangular(0.003, "water dip with paste (common practice, no source)"),
        shell_expansion_frac=rectangular(0.05, "steel of unknown grade (common practice, no source)"),
        shell_degC=rectangular(3.0, "shell in sun or wind (common practice, no source)"),
        roof_weight_frac=rectangular(0.01, "roof weight (common practice, no source)"),
    )
    return replace(assumed, **{name: figure for name, figure in known.items() if figure is not None})


class Input(NamedTuple):
    """One input of the budget: its size and unit, what two readings share of it, and the way in which it acts."""

    name: str
    known: Known
    unit: str
    acts: str
    shared: float
    fades: float | None = None


LEVEL, SPAN, TABLE, TEMPERATURE, DENSITY = "level", "span", "table", "temperature", "density"
WATER, SHELL, SHELL_T, ROOF = "water", "shell", "shell temperature", "roof"


def _ways(vessel: Vessel) -> tuple[str, ...]:
    """How inputs act on a vessel's stock, in the order of `StockBudgeter.sensitivities`."""
    ways = [LEVEL, SPAN, TABLE, TEMPERATURE, DENSITY, WATER]
    if vessel.shell is not None:
        ways += [SHELL, SHELL_T]
    return (*ways, ROOF) if vessel.roof is not None else tuple(ways)


def _inputs(vessel: Vessel, accuracy: Accuracy) -> tuple[Input, ...]:
    """The inputs that a vessel has."""
    a, table = accuracy, accuracy.table_frac
    unmeasured = Known(0.0, "not measured: not in this budget")
    inputs = [
        Input("level zero", a.level_zero_m, "m", LEVEL, 1.0),
        Input("level repeatability", a.level_repeat_m, "m", LEVEL, 0.0),
        Input("level span", a.level_span_frac, "1", SPAN, 1.0),
        Input("capacity table, scale", _part(table, 1 - TABLE_LOCAL_SHARE), "1", TABLE, 1.0),
        Input("capacity table, local", _part(table, TABLE_LOCAL_SHARE), "1", TABLE, 0.0, TABLE_FADES),
        Input("temperature probe", a.temperature_probe_degC, "degC", TEMPERATURE, 1.0),
        Input("temperature profile", a.temperature_profile_degC, "degC", TEMPERATURE, 0.0),
        Input("density", a.density_kgpm3, "kg/m3", DENSITY, 1.0),
        Input("free water", a.water_m if vessel.water_measured else unmeasured, "m", WATER, 0.0),
        Input("shell expansion", a.shell_expansion_frac, "1", SHELL, 1.0),
        Input("shell temperature", a.shell_degC, "degC", SHELL_T, 0.0),
        Input("roof weight", a.roof_weight_frac, "1", ROOF, 1.0),
    ]
    ways = _ways(vessel)
    return tuple(one for one in inputs if one.acts in ways)


def _part(known: Known, share: float) -> Known:
    return Known(known.standard * math.sqrt(share), known.source)


class StockBudgeter:
    """The budgets of one vessel, product and accuracy. Build once: what hangs on no reading is worked out once."""

    __slots__ = ("_alpha", "_alpha_slope", "_base", "_density", "_inputs", "_roof", "_shell", "_standards", "_ways")

    def __init__(self, vessel: Vessel, product: Product, accuracy: Accuracy) -> None:
        self._shell, self._roof = vessel.shell, vessel.roof
        self._density, self._base = product.base_density_kgpm3, product.base_degC
        self._alpha, self._alpha_slope = expansion(
            product.group, self._density, self._base, product.edition, product.alpha60_per_degF
        )
        self._inputs, self._ways = _inputs(vessel, accuracy), _ways(vessel)
        self._standards = [
            math.hypot(*(one.known.standard for one in self._inputs if one.acts == way)) for way in self._ways
        ]

    def expanded_m3(self, q: Quantities, gauging: Gauging) -> float | None:
        """Expanded uncertainty of GSV, k = `COVERAGE`; None where there is no GSV.

        The figure of `budget`, quicker: inputs that act in the same way are one.
        """
        if q.gsv_m3 is None:
            return None
        return COVERAGE * math.hypot(*map(mul, self.sensitivities(q, gauging), self._standards))

    def sensitivities(self, q: Quantities, gauging: Gauging) -> list[float]:
        """d GSV / d input for each way of acting, in m3 a unit, of figures that have a GSV. Analytic, of the unrounded
        chain; d ln(CTL) / dT and / d rho to second order in alpha dT."""
        innage, tov, area_m2, fw, shell_degC, ctsh, roof_m3, _, _, _, ctpl, gsv_m3, *_, water_area_m2, head_m3 = q
        liquid_degC = gauging.liquid_degC
        assert innage is not None and tov is not None and area_m2 is not None and fw is not None  # noqa: PT018 one fact
        assert ctsh is not None and ctpl is not None and gsv_m3 is not None and liquid_degC is not None  # noqa: PT018
        factor = ctsh * ctpl
        liquid_m3 = tov + (head_m3 or 0.0) - fw
        by_level = area_m2 * factor
        d_t = liquid_degC - self._base
        bend = -gsv_m3 * (1 + 1.6 * self._alpha * d_t)
        by_degC = self._alpha * bend
        by_density = self._alpha_slope * d_t * bend
        by_water = -water_area_m2 * factor
        shell = self._shell
        if shell is None:
            out = [by_level, by_level * innage, liquid_m3 * factor, by_degC, by_density, by_water]
        else:
            assert shell_degC is not None
            a, by_shell = shell.expansion_per_degC, shell_degC - shell.reference_degC
            shell_by_degC = liquid_m3 * 2 * a * (1 + a * by_shell) * ctpl
            bare = not shell.insulated and gauging.ambient_degC is not None
            by_degC += shell_by_degC * (7 / 8 if bare else 1.0)
            out = [
                by_level, by_level * innage, liquid_m3 * factor, by_degC, by_density, by_water,
                shell_by_degC * by_shell, shell_by_degC,
            ]  # fmt: skip
        if self._roof is not None:
            out.append((roof_m3 or 0.0) * ctpl)
        return out

    def budget(self, q: Quantities, gauging: Gauging, figure: Figure = Figure.GSV) -> Budget:
        """The budget written out. Raises `OutOfRange` where the figure itself is missing."""
        if q.gsv_m3 is None or q.mass_kg is None or gauging.liquid_degC is None:
            raise OutOfRange(f"no budget without a {figure.value}: temperature or water is missing")
        by = dict(zip(self._ways, self.sensitivities(q, gauging), strict=True))
        scale = 1.0
        if figure is Figure.MASS:  # the base density times the terms of GSV, which for the density adds GSV / rho
            scale = self._density
            by[DENSITY] += q.gsv_m3 / self._density
        terms = tuple(
            Term(name, known.standard, unit, scale * by[acts], shared, known.source, fades)
            for name, known, unit, acts, shared, fades in self._inputs
        )
        if figure is Figure.MASS:
            return Budget("mass", q.mass_kg, "kg", terms, q.innage_m)
        return Budget("GSV", q.gsv_m3, "m3", terms, q.innage_m)


def stock_budget(
    vessel: Vessel,
    product: Product,
    gauging: Gauging,
    accuracy: Accuracy,
    figure: Figure = Figure.GSV,
) -> Budget:
    """The budget of one reading's GSV in m3 or mass in kg. Raises `OutOfRange` where the figure itself is missing."""
    return StockBudgeter(vessel, product, accuracy).budget(quantities(vessel, product, gauging), gauging, figure)
