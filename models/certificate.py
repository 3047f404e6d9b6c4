"""The certificate of a capacity table: who measured the tank, when, how well, and what the table already contains.

Knows the metadata and what follows from it (uncertainty, overdue, the tank's reference height); the rows are of
`models.capacity`. A tank without one is "from drawing dimensions".
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from models.errors import OutOfRange


class TankForm(StrEnum):
    """Classes of tanks by which authorities state the uncertainty of a capacity table."""

    UPRIGHT = "upright"
    LYING = "lying"
    OTHER = "other"


class Stated(NamedTuple):
    """An expanded relative uncertainty of volume, its coverage factor and where it was taken from."""

    expanded_frac: float
    coverage: float
    source: str

    @property
    def standard_frac(self) -> float:
        return self.expanded_frac / self.coverage


FROM_DRAWING: Final = Stated(0.01, 2.0, "from drawing dimensions, no certificate: at least 1 % (common practice)")

_BY_FORM: Final = {
    TankForm.UPRIGHT: Stated(0.002, 2.0, "certificate without a figure: OIML R 71, upright 0.2 % (secondary)"),
    TankForm.LYING: Stated(0.003, 2.0, "certificate without a figure: OIML R 71, lying 0.3 % (from memory)"),
    TankForm.OTHER: Stated(0.005, 2.0, "certificate without a figure: OIML R 71, other 0.5 % (from memory)"),
}


@dataclass(frozen=True, slots=True)
class CapacityCertificate:
    """What a certificate says beside its rows. Dates are "YYYY-MM-DD" so that they compare as text.

    expanded_frac: relative expanded uncertainty of volume at `coverage`; None where the paper gives none.
    head_density_kgpm3: the liquid whose head the table includes; None where it includes none.
    """

    number: str
    laboratory: str
    calibrated_on: str
    form: TankForm
    reference_height_m: float
    datum: str
    reference_degC: float = 15.0
    method: str = ""
    expanded_frac: float | None = None
    coverage: float = 2.0
    head_density_kgpm3: float | None = None
    deadwood_included: bool = True
    bottom_included: bool = True
    next_due: str | None = None

    def __post_init__(self) -> None:
        if not self.reference_height_m > 0:
            raise OutOfRange(f"certificate {self.number}: reference height {self.reference_height_m:g} m")
        if self.expanded_frac is not None and not 0 < self.expanded_frac < 0.1:
            raise OutOfRange(f"certificate {self.number}: uncertainty {100 * self.expanded_frac:g} %; below 10 %")
        if not 1 <= self.coverage <= 4:
            raise OutOfRange(f"certificate {self.number}: coverage factor {self.coverage:g}; allowed 1 to 4")

    def is_overdue(self, today: str) -> bool:
        """True from the day after the next calibration was due."""
        return self.next_due is not None and today > self.next_due

    @property
    def stated(self) -> Stated:
        """The table's uncertainty: the certificate's own figure, else that of its class of tanks."""
        if self.expanded_frac is None:
            return _BY_FORM[self.form]
        return Stated(self.expanded_frac, self.coverage, f"certificate {self.number}, {self.laboratory}")


def signature_objection(certificate: CapacityCertificate | None, accepted_by: str | None = None) -> str | None:
    """Why a month-end stock of this tank may not be signed, or None.

    Without a calibration certificate it may only where the site accepts that by a person's name.
    """
    if certificate is not None or accepted_by:
        return None
    return "no calibration certificate: the table is from drawing dimensions; a named person must accept it to sign"


def stated_of(certificate: CapacityCertificate | None) -> Stated:
    """The uncertainty of a capacity table, with or without a certificate."""
    return FROM_DRAWING if certificate is None else certificate.stated


def reference_height_objection(
    certificate: CapacityCertificate, measured_m: float, limit_m: float = 0.002
) -> str | None:
    """Why a measured reference height speaks against the certificate, or None.

    Default limit: 2 mm, API MPMS 3.1B section 6 (stop and investigate).
    """
    difference = measured_m - certificate.reference_height_m
    if abs(difference) <= limit_m + 1e-9:
        return None
    return (
        f"reference height {measured_m:.4f} m is {1000 * difference:+.1f} mm off certificate {certificate.number} "
        f"({certificate.reference_height_m:.4f} m); find out why before the table is used"
    )
