"""Static quantity calculation in the form of API MPMS Ch. 12.1.1: a gauge reading -> standard volume, mass, weight.

The only place where these figures are made: the daemon, the commands and the pages all ask here, and `models.chain`
explains the same figures step by step. A `Calculation` never fails: what is missing stays None with all that follows
from it, and what cannot be (level off the table, water above the level, a roof in its critical zone, a temperature that
no table takes) is refused with the reason; `quantities` raises that reason instead. No rounding but in the form
"rounded", and then of the temperature of the shell and of the factors only, never of a volume.
Words and order: secondary, a public handbook citing API MPMS 12.1.1 and EI HM 1.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

from models import rounding, vcf
from models.airweight import air_factor, density_in_air_kgpm3
from models.capacity import CapacityTable
from models.correction import Edition, Form, corrector, round_temperature
from models.errors import OutOfRange
from models.groups import commodity_of
from models.liquidhead import LiquidHeadCorrection
from models.reading import Quality
from models.roof import FloatingRoof

SLACK_M: Final = 1e-9
"""Two sums of the same heights differ in their last bit; that is no level off the table."""


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

    def correction(self, liquid_degC: float, ambient_degC: float | None, rounded: bool = False) -> tuple[float, float]:
        """TSh and CTSh; rounded: to a whole degree, and to five decimals."""
        bare = not self.insulated and ambient_degC is not None
        shell_degC = self.temperature_degC(liquid_degC, ambient_degC) if bare else liquid_degC
        if not rounded:
            return shell_degC, self.factor(shell_degC)
        shell_degC = rounding.to_increment(shell_degC, 1.0)
        return shell_degC, rounding.to_increment(self.factor(shell_degC), rounding.FACTOR)


@dataclass(frozen=True, slots=True)
class Vessel:
    """A tank as its papers describe it. water_measured False: free water counts 0 and is printed "not measured".

    slack_m: a level off the table by no more than this counts as the table's end (the tolerance of the gauge: an empty
    tank reads 3.99 mA at times). Hand gauging has none. pressure_kPa: gauge pressure over the liquid, where the tank is
    kept under one. head: for the density in the tank; without it the table's volume is taken as it stands.
    """

    table: CapacityTable
    reference_height_m: float
    shell: Shell | None = None
    roof: FloatingRoof | None = None
    water_measured: bool = True
    slack_m: float = 0.0
    pressure_kPa: float = 0.0
    head: LiquidHeadCorrection | None = None

    @property
    def least_m(self) -> float:
        """The lowest innage that still has a volume."""
        return self.table.bottom_m - self.slack_m - SLACK_M

    @property
    def most_m(self) -> float:
        """The highest innage that still has a volume."""
        return self.table.top_m + self.slack_m + SLACK_M


@dataclass(frozen=True, slots=True)
class Product:
    """A product for the chain: its group word, density at the base, and the edition and form of its correction.

    air_kgpm3: of the air in which it is weighed; None for the conventional air of API MPMS 11.5.
    """

    group: str
    base_density_kgpm3: float
    base_degC: float = 15.0
    edition: str = Edition.API_2004
    form: str = Form.UNROUNDED
    alpha60_per_degF: float | None = None
    air_kgpm3: float | None = None


class Gauging(NamedTuple):
    """What was measured at one moment. Exactly one of innage and ullage; None elsewhere is "not known".

    water_m: innage of free water. pressure_kPa: gauge pressure over the liquid, None for that of the vessel.
    sediment_water_frac: of the gross standard volume. The qualities are of the inputs.
    """

    innage_m: float | None = None
    liquid_degC: float | None = None
    water_m: float | None = None
    ullage_m: float | None = None
    ambient_degC: float | None = None
    pressure_kPa: float | None = None
    sediment_water_frac: float = 0.0
    level_quality: Quality = Quality.GOOD
    temperature_quality: Quality = Quality.GOOD
    water_quality: Quality = Quality.GOOD
    density_quality: Quality = Quality.GOOD


class Refusal(NamedTuple):
    """Why a figure is not given: the symbol of its step, and the reason in words."""

    symbol: str
    reason: str


class Quantities(NamedTuple):
    """All figures of the chain, unrounded; None where an input is missing or refused.

    area_m2, water_area_m2: cubic metres per metre of level at the innage, and at the water's. head_m3: liquid head.
    """

    innage_m: float | None
    tov_m3: float | None
    area_m2: float | None
    free_water_m3: float | None
    shell_degC: float | None
    ctsh: float | None
    roof_m3: float | None
    gov_m3: float | None
    ctl: float | None
    cpl: float | None
    ctpl: float | None
    gsv_m3: float | None = None
    nsv_m3: float | None = None
    tcv_m3: float | None = None
    mass_kg: float | None = None
    weight_in_air_kg: float | None = None
    refusals: tuple[Refusal, ...] = ()
    water_area_m2: float = 0.0
    head_m3: float | None = 0.0

    def observed_only(self) -> "Quantities":
        """Without all that a level which is only a bound does not allow: no GOV, and nothing that follows from it."""
        return self._replace(
            gov_m3=None, gsv_m3=None, nsv_m3=None, tcv_m3=None, mass_kg=None, weight_in_air_kg=None
        )  # fmt: skip


class Calculation:
    """The calculation for one vessel and product. Build once, call for each gauging: a call costs a few microseconds.

    Raises `OutOfRange` when built for a density that the edition does not take.
    """

    __slots__ = (
        "_air", "_bottom", "_bottom_area", "_density", "_head", "_in_air", "_least", "_most", "_pressure", "_reference",
        "_roof", "_rounded", "_shell", "_table", "_thermal", "_top", "_water_measured", "product", "vessel",
    )  # fmt: skip

    def __init__(self, vessel: Vessel, product: Product) -> None:
        self.vessel, self.product = vessel, product
        table = self._table = vessel.table
        self._bottom, self._top = table.bottom_m, table.top_m
        self._bottom_area = table.area_m2(table.bottom_m)
        self._least, self._most = vessel.least_m, vessel.most_m
        self._reference = vessel.reference_height_m
        self._roof, self._shell, self._water_measured = vessel.roof, vessel.shell, vessel.water_measured
        self._head, self._pressure = vessel.head, vessel.pressure_kPa
        density = self._density = product.base_density_kgpm3
        self._air, self._in_air = air_factor(density, product.air_kgpm3), density_in_air_kgpm3(density)
        self._rounded = product.form == Form.ROUNDED
        self._thermal = corrector(
            product.group,
            density,
            product.base_degC,
            product.edition,
            product.form,
            alpha60_per_degF=product.alpha60_per_degF,
        )

    def __call__(self, gauging: Gauging) -> Quantities:
        """Every figure from one gauging: GOV = (TOV + LHC - FW) x CTSh + FRA, GSV = GOV x CTPL, NSV = GSV x (1 -
        S&W)."""
        innage, liquid_degC, water, ullage, ambient_degC, pressure_kPa, sediment_water, _, _, _, _ = gauging
        refused: list[Refusal] = []
        water_area = 0.0
        if pressure_kPa is None:
            pressure_kPa = self._pressure
        if innage is None and ullage is not None:
            innage = self._reference - ullage
        tov = area = fw = None
        if innage is not None:
            if self._least <= innage <= self._most:
                at = self._bottom if innage < self._bottom else self._top if innage > self._top else innage
                tov, area = self._table.at(at)
            else:
                refused.append(Refusal("TOV", self._off(innage)))
        if not self._water_measured:
            fw = 0.0
        elif water is not None:
            fw, water_area = self._free_water(water, innage, refused)
        shell_degC, ctsh = None, 1.0 if self._shell is None else None
        thermal: float | None = None
        cpl: float | None = None
        ctpl: float | None = None
        if liquid_degC is not None:
            if self._shell is not None:
                shell_degC, ctsh = self._shell.correction(liquid_degC, ambient_degC, self._rounded)
            try:
                thermal = self._thermal(liquid_degC)
                cpl, ctpl = (1.0, thermal) if pressure_kPa <= 0 else self._pressed(thermal, liquid_degC, pressure_kPa)
            except OutOfRange as error:
                refused.append(Refusal("CTL", str(error)))
        roof = 0.0 if self._roof is None else self._roof_m3(self._roof, innage, thermal, refused)
        head: float | None = 0.0
        if self._head is not None:
            head = None
            if tov is not None and innage is not None and thermal is not None:
                head = self._head.correction_m3(innage, self._density * thermal)
        gov = None
        if tov is not None and fw is not None and ctsh is not None and roof is not None and head is not None:
            held = tov + head
            gov = (held - fw if held > fw else 0.0) * ctsh + roof
            if gov < 0:
                words = f"gross observed volume {gov:.3f} m3: the roof displaces more than the tank holds at this level"
                refused.append(Refusal("GOV", words))
                gov = None
        if gov is None or ctpl is None:
            return Quantities(
                innage, tov, area, fw, shell_degC, ctsh, roof, gov, thermal, cpl, ctpl, refusals=tuple(refused),
                water_area_m2=water_area, head_m3=head,
            )  # fmt: skip
        sound = 0 <= sediment_water < 1
        if not sound:
            words = f"sediment and water {100 * sediment_water:g} %; allowed 0 to below 100 %"
            refused.append(Refusal("S&W", words))
        gsv = gov * ctpl
        mass = gsv * self._density
        return Quantities(
            innage, tov, area, fw, shell_degC, ctsh, roof, gov, thermal, cpl, ctpl, gsv,
            gsv * (1 - sediment_water) if sound else None, gsv + (fw or 0.0), mass, mass * self._air,
            tuple(refused) if refused else (), water_area, head,
        )  # fmt: skip

    def _off(self, innage: float) -> str:
        if innage < 0 and innage < self._bottom:
            return f"innage {innage:.4f} m is below the datum plate; look at the reference height and the dip"
        try:
            self._table.at(innage)
        except OutOfRange as error:
            return str(error)
        raise AssertionError("unreachable: the level is off the table")

    def _free_water(self, water: float, innage: float | None, refused: list[Refusal]) -> tuple[float | None, float]:
        """Volume of the water, 0 at or below the table's first row, and the area there. Water above the product leaves
        no product, and is a mistake to tell."""
        if water <= self._bottom:
            if water < 0:
                words = f"water innage {water:.4f} m is below the datum plate; look at the dip"
                refused.append(Refusal("FW", words))
            return 0.0, self._bottom_area
        if innage is not None and water > innage:
            words = f"water innage {water:.4f} m is above the product's innage {innage:.4f} m; look at both"
            refused.append(Refusal("FW", words))
        elif water > self._top:
            words = f"water innage {water:.4f} m is above the top of the capacity table ({self._top:g} m); look at it"
            refused.append(Refusal("FW", words))
        return (None, 0.0) if water > self._top else self._table.at(water)

    def _pressed(self, thermal: float, t: float, pressure: float) -> tuple[float, float]:
        """CPL and CTPL under gauge pressure, which the 1980 tables do not know."""
        product = self.product
        if product.edition != Edition.API_2004:
            raise OutOfRange(f"gauge pressure {pressure:g} kPa: only API MPMS 11.1-2004 corrects for pressure")
        density, base = product.base_density_kgpm3, product.base_degC
        if self._rounded:
            density = rounding.to_increment(density, rounding.DENSITY_KGPM3)
            t, pressure = round_temperature(t, base), rounding.to_increment(pressure, rounding.PRESSURE_KPA)
        line = vcf.line_of(commodity_of(product.group), density, base, product.alpha60_per_degF)
        factors = vcf.factors(line, t, pressure)
        if self._rounded:  # the product of the two is rounded, not each
            return factors.cpl, rounding.to_increment(factors.ctpl, rounding.FACTOR)
        return factors.cpl, factors.ctpl

    def _roof_m3(
        self, roof: FloatingRoof, innage: float | None, thermal: float | None, refused: list[Refusal]
    ) -> float | None:
        if innage is None or thermal is None:
            return None
        try:
            return roof.correction_m3(innage, self._in_air, thermal)
        except OutOfRange as error:
            refused.append(Refusal(roof.symbol, str(error)))
            return None


def quantities(vessel: Vessel, product: Product, gauging: Gauging) -> Quantities:
    """Every figure from one gauging that is sound. Raises `OutOfRange` with the first reason that one is refused."""
    if (gauging.innage_m is None) == (gauging.ullage_m is None):
        raise OutOfRange("a gauging needs an innage or an ullage, and only one of them")
    found = Calculation(vessel, product)(gauging)
    if found.refusals:
        raise OutOfRange(found.refusals[0].reason)
    return found


WATER_M: Final = 0.003
"""A water cut is known to that (common practice, no source): within it a tank may hold nothing but water."""


def water_quality(vessel: Vessel, gauging: Gauging, q: Quantities) -> Quality:
    """Uncertain where water stands above the liquid by more than the gauges may be off: one of the two is wrong."""
    if not q.refusals or gauging.water_m is None or q.innage_m is None or not vessel.water_measured:
        return Quality.GOOD
    off = gauging.water_m - q.innage_m > max(vessel.slack_m, WATER_M) + SLACK_M
    return Quality.UNCERTAIN if off else Quality.GOOD
