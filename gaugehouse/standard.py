"""Standard volume and mass of a tank's readings, by the edition of the volume correction that the site names."""

from models.correction import ctl
from models.errors import OutOfRange
from models.gauging import NO_STOCK, Step, Stock
from models.reading import Reading


class StandardVolume:
    """GSV = GOV x CTL and mass = GSV x base density, in vacuo, CTL unrounded. Source: API MPMS 12.1.1.

    A temperature or density outside of what the edition covers leaves both empty.
    """

    __slots__ = ("_alpha60", "base_degC", "density_kgpm3", "edition", "group")

    def __init__(
        self, group: str, density_kgpm3: float, base_degC: float, edition: str, alpha60_per_degF: float | None = None
    ) -> None:
        self.group, self.density_kgpm3 = group, density_kgpm3
        self.base_degC, self.edition, self._alpha60 = base_degC, edition, alpha60_per_degF

    def ctl(self, temperature_degC: float) -> float:
        """Raises `OutOfRange` with the reason."""
        return ctl(
            self.group,
            self.density_kgpm3,
            temperature_degC,
            self.base_degC,
            self.edition,
            alpha60_per_degF=self._alpha60,
        )

    def __call__(self, gov_m3: float | None, temperature_degC: float | None) -> Stock:
        """GSV and mass; neither where an input is missing or outside of the edition."""
        if gov_m3 is None or temperature_degC is None:
            return NO_STOCK
        try:
            gsv = gov_m3 * self.ctl(temperature_degC)
        except OutOfRange:
            return NO_STOCK
        return Stock(gsv, gsv * self.density_kgpm3)

    def steps(self, reading: Reading) -> list[Step]:
        """The last steps of the chain: density, CTL, GSV, mass."""
        quality = reading.stock_quality.word
        base = f"at {self.base_degC:g} degC"
        factor: float | None = None
        rule = f"{self.edition}, {self.group}"
        if reading.temperature_degC is not None:
            try:
                factor = self.ctl(reading.temperature_degC)
            except OutOfRange as error:
                rule = str(error)
        return [
            Step("RHOb", f"base density {base}", self.density_kgpm3, "kg/m3", "product of the site file", quality),
            Step("CTL", "correction for the temperature of the liquid", factor, "", rule, quality),
            Step("GSV", f"gross standard volume {base}", reading.gsv_m3, "m3", "GOV x CTL, API MPMS 12.1.1", quality),
            Step("m", "mass in vacuo", reading.mass_kg, "kg", "GSV x base density", quality),
        ]
