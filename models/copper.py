"""Resistance of copper wire: published rows by size, and what temperature makes of them.

Knows annealed copper only; a size without a published row is refused, not worked out.
"""

from typing import Final, NamedTuple

from models.errors import OutOfRange

AWG_OHM_PER_KFT: Final = {14: 2.525, 16: 4.016, 18: 6.385, 20: 10.15, 22: 16.14, 24: 25.67}
"""Ohm per 1000 ft at 20 degC, solid copper. Source: HyperPhysics AWG table (after Floyd, Electric Circuit
Fundamentals)."""

AREA_OHM_PER_KM: Final = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08}
"""Largest ohm per km at 20 degC by mm2, plain copper. Source: IEC 60228, tables 1 and 2 (classes 1 and 2), as two
cable makers' tables print them alike."""

KFT_M: Final = 304.8
_ZERO_DEGC: Final = 234.5
"""So far below 0 degC the straight line of annealed copper reaches no resistance. Source: IEC 60228 annex A as a cable
handbook quotes it: R20 = Rt x 254.5 / (234.5 + t)."""


def awg_ohm_per_km(awg: int) -> float:
    """Ohm per km of one wire at 20 degC. Raises `OutOfRange` for a size without a row."""
    if awg not in AWG_OHM_PER_KFT:
        raise OutOfRange(f"AWG {awg} has no row here; there are {', '.join(map(str, AWG_OHM_PER_KFT))}")
    return AWG_OHM_PER_KFT[awg] / KFT_M * 1000


def area_ohm_per_km(area_mm2: float) -> float:
    """Ohm per km of one wire at 20 degC at the most. Raises `OutOfRange` for a size without a row."""
    if area_mm2 not in AREA_OHM_PER_KM:
        known = ", ".join(f"{area:g}" for area in AREA_OHM_PER_KM)
        raise OutOfRange(f"a wire of {area_mm2:g} mm2 has no row here; there are {known} mm2")
    return AREA_OHM_PER_KM[area_mm2]


def at_temperature(ohm_at_20: float, temperature_degC: float) -> float:
    """A resistance at 20 degC, at another temperature (-50 to 150 degC make sense)."""
    return ohm_at_20 * (_ZERO_DEGC + temperature_degC) / (_ZERO_DEGC + 20)


class Cable(NamedTuple):
    """Two wires side by side. ohm_per_km: of one wire at 20 degC; length_m: one way; size: for people."""

    ohm_per_km: float
    length_m: float
    temperature_degC: float = 20.0
    size: str = ""

    @property
    def ohm(self) -> float:
        """Both wires, at their temperature."""
        return at_temperature(2 * self.length_m / 1000 * self.ohm_per_km, self.temperature_degC)


def thicker(cable: Cable) -> list[Cable]:
    """The same cable in each thicker size of its kind (AWG or mm2), thinnest first."""
    if cable.size.startswith("AWG"):
        sizes = [(f"AWG {awg}", awg_ohm_per_km(awg)) for awg in AWG_OHM_PER_KFT]
    else:
        sizes = [(f"{area:g} mm2", ohm) for area, ohm in AREA_OHM_PER_KM.items()]
    thick = sorted((ohm, size) for size, ohm in sizes if ohm < cable.ohm_per_km)
    return [cable._replace(ohm_per_km=ohm, size=size) for ohm, size in reversed(thick)]
