"""What a floating roof displaces, as a correction of the observed volume (FRA or FRC of API MPMS Ch. 12.1.1).

Two conventions of capacity tables: the roof is already deducted at a reference density (FRA, of either sign), or not
at all (FRC, always a deduction). In the critical zone, where the roof is neither afloat nor on its legs, no correction
holds and the volume is refused. Secondary: a public petroleum-measurement handbook, ch. 12.1, quoting API MPMS 12.1.1.
"""

from dataclasses import dataclass

from models.errors import OutOfRange


@dataclass(frozen=True, slots=True)
class FloatingRoof:
    """A roof as its tank's certificate gives it.

    weight_kg: weight in air, everything that floats included. deducted_at_kgpm3: density in air that the table deducts
    the roof at; None where the table deducts nothing. The critical zone runs from legs touching to roof afloat.
    """

    weight_kg: float
    critical_low_m: float
    critical_high_m: float
    deducted_at_kgpm3: float | None = None

    def __post_init__(self) -> None:
        if not self.weight_kg > 0:
            raise OutOfRange(f"floating roof weight {self.weight_kg:g} kg; give the weight of roof and appurtenances")
        if not 0 <= self.critical_low_m <= self.critical_high_m:
            raise OutOfRange(
                f"critical zone {self.critical_low_m:g} to {self.critical_high_m:g} m; the lower end comes first"
            )
        if self.deducted_at_kgpm3 is not None and not 400 <= self.deducted_at_kgpm3 <= 1200:
            raise OutOfRange(f"roof deducted at {self.deducted_at_kgpm3:g} kg/m3; no density of a product in air")

    @property
    def symbol(self) -> str:
        return "FRC" if self.deducted_at_kgpm3 is None else "FRA"

    def correction_m3(self, innage_m: float, base_density_in_air_kgpm3: float, ctl: float) -> float:
        """Volume to add (negative: to take off) at an innage. Raises `OutOfRange` inside the critical zone.

        Afloat, the roof displaces weight / (density in air at the base x CTL). At or below the zone it stands.
        """
        if innage_m <= self.critical_low_m:
            return 0.0
        if innage_m < self.critical_high_m:
            raise OutOfRange(
                f"level {innage_m:.4f} m is in the roof's critical zone ({self.critical_low_m:g} to "
                f"{self.critical_high_m:g} m): no volume is valid there; move the level out of it"
            )
        displaced = self.weight_kg / (base_density_in_air_kgpm3 * ctl)
        if self.deducted_at_kgpm3 is None:
            return -displaced
        return self.weight_kg / self.deducted_at_kgpm3 - displaced
