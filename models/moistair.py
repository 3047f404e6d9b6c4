"""Moist air: vapour pressure, humidity ratio, dew point, density, and the pressure of the air at an altitude.

For the dew point of a sensor's surroundings (condensation), and for the buoyancy in which a weight in air is taken.
Knows no stock and no weather station. Ideal gases, no enhancement factor: humidity ratios come out up to 0.5 % below
ASHRAE's tables. Over ice below the triple point, so that a dew point below zero is a frost point, which lies above
the dew point over supercooled water that weather services report (-6.6 for -7.5 degC).
Source: ASHRAE Handbook Fundamentals 2017, ch. 1 (equations as psychrolib carries them). Magnus form: WMO-No. 8 Annex
4.B, Sonntag 1990 (secondary).
"""

import math
from typing import Final, NamedTuple

from models.errors import OutOfRange

TRIPLE_POINT_DEGC: Final = 0.01
T_LOW_DEGC: Final = -100.0
T_HIGH_DEGC: Final = 200.0

SEA_LEVEL_PA: Final = 101_325.0
MASS_RATIO: Final = 0.621945
"""Molar mass of water by that of dry air."""

_R_DRY: Final = 287.042  # J/(kg K)
_KELVIN: Final = 273.15
_OVER_ICE: Final = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_OVER_WATER: Final = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_LOWEST_ALTITUDE_M: Final = -500.0
_HIGHEST_ALTITUDE_M: Final = 5_000.0


class Magnus(NamedTuple):
    """Constants of e = a exp(b t / (c + t)), with a in Pa and c in degC."""

    a_Pa: float
    b: float
    c_degC: float


WMO: Final = Magnus(611.2, 17.62, 243.12)
"""Over water. WMO-No. 8 Annex 4.B, Sonntag 1990 (secondary)."""

ALDUCHOV: Final = Magnus(610.94, 17.625, 243.04)
"""Over water. Alduchov and Eskridge 1996 (secondary); by their own word within 0.35 degC from -40 to 60 degC."""


def saturation_Pa(temperature_degC: float) -> float:
    """Vapour pressure of saturated air, over ice up to the triple point and over water above, -100 to 200 degC.

    Source: ASHRAE 2017 ch. 1, equations 5 and 6.
    """
    if not T_LOW_DEGC <= temperature_degC <= T_HIGH_DEGC:
        raise OutOfRange(f"air at {temperature_degC:.2f} degC; allowed {T_LOW_DEGC:g} to {T_HIGH_DEGC:g} degC")
    return math.exp(_log_saturation(temperature_degC)[0])


def _log_saturation(temperature_degC: float) -> tuple[float, float]:
    """ln of the saturation pressure, and its slope a degree."""
    t = temperature_degC + _KELVIN
    c0, c1, c2, c3, c4, c5, c6 = _OVER_ICE if temperature_degC <= TRIPLE_POINT_DEGC else _OVER_WATER
    log = c0 / t + c1 + t * (c2 + t * (c3 + t * (c4 + t * c5))) + c6 * math.log(t)
    slope = -c0 / (t * t) + c2 + t * (2 * c3 + t * (3 * c4 + t * 4 * c5)) + c6 / t
    return log, slope


def vapour_Pa(temperature_degC: float, humidity_percent: float) -> float:
    """Partial pressure of the water vapour in air of a relative humidity, in % of saturation."""
    if not 0 <= humidity_percent <= 100:
        raise OutOfRange(f"relative humidity {humidity_percent:g} %; allowed 0 to 100 %")
    return saturation_Pa(temperature_degC) * humidity_percent / 100


def dew_point_degC(temperature_degC: float, humidity_percent: float) -> float:
    """Temperature of a surface on which this air's water begins to settle: as dew above the triple point, as frost
    below. Raises `OutOfRange` for perfectly dry air, which has none, and off -100 to 200 degC.
    """
    vapour = vapour_Pa(temperature_degC, humidity_percent)
    lowest = saturation_Pa(T_LOW_DEGC)
    if vapour < lowest:
        raise OutOfRange(f"air of {humidity_percent:g} % humidity at {temperature_degC:.2f} degC has no dew point")
    wanted = math.log(vapour)
    low, high = T_LOW_DEGC, temperature_degC
    found = min(high, max(low, magnus_dew_point_degC(vapour)))
    for _ in range(60):  # Newton, kept between two bounds; three or four steps from the Magnus form as a start
        log, slope = _log_saturation(found)
        if log > wanted:
            high = found
        else:
            low = found
        step = (wanted - log) / slope
        if abs(step) < 1e-10 or high - low < 1e-10:
            break
        found = found + step if low <= found + step <= high else (low + high) / 2
    return found


def magnus_Pa(temperature_degC: float, constants: Magnus = WMO) -> float:
    """Saturation pressure over water by the Magnus form, within 0.5 % from -40 to 60 degC."""
    if not -45 <= temperature_degC <= 60:
        raise OutOfRange(f"air at {temperature_degC:.2f} degC; the Magnus form holds from -45 to 60 degC")
    return constants.a_Pa * math.exp(constants.b * temperature_degC / (constants.c_degC + temperature_degC))


def magnus_dew_point_degC(vapour_pressure_Pa: float, constants: Magnus = WMO) -> float:
    """Dew point over water, below 0 degC too, of a vapour pressure: the Magnus form solved for temperature."""
    if not vapour_pressure_Pa > 0:
        raise OutOfRange(f"vapour pressure {vapour_pressure_Pa:g} Pa; dry air has no dew point")
    log = math.log(vapour_pressure_Pa / constants.a_Pa)
    return constants.c_degC * log / (constants.b - log)


def humidity_ratio(vapour_pressure_Pa: float, pressure_Pa: float = SEA_LEVEL_PA) -> float:
    """Mass of water vapour by mass of dry air."""
    if not 0 <= vapour_pressure_Pa < pressure_Pa:
        raise OutOfRange(f"vapour pressure {vapour_pressure_Pa:g} Pa in air of {pressure_Pa:g} Pa")
    return MASS_RATIO * vapour_pressure_Pa / (pressure_Pa - vapour_pressure_Pa)


def vapour_density_kgpm3(temperature_degC: float, humidity_percent: float) -> float:
    """Mass of water vapour in a cubic metre of air, as an ideal gas."""
    return vapour_Pa(temperature_degC, humidity_percent) * MASS_RATIO / (_R_DRY * (temperature_degC + _KELVIN))


def air_density_kgpm3(
    temperature_degC: float, humidity_percent: float = 0.0, pressure_Pa: float = SEA_LEVEL_PA
) -> float:
    """Density of moist air: dry air and vapour together, as ideal gases."""
    ratio = humidity_ratio(vapour_Pa(temperature_degC, humidity_percent), pressure_Pa)
    volume = _R_DRY * (temperature_degC + _KELVIN) * (1 + ratio / MASS_RATIO) / pressure_Pa  # m3 a kg of dry air
    return (1 + ratio) / volume


def pressure_at_Pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere. Source: ASHRAE 2017 ch. 1, equation 3."""
    if not _LOWEST_ALTITUDE_M <= altitude_m <= _HIGHEST_ALTITUDE_M:
        raise OutOfRange(
            f"altitude {altitude_m:g} m; allowed {_LOWEST_ALTITUDE_M:g} to {_HIGHEST_ALTITUDE_M:g} m above the sea"
        )
    return SEA_LEVEL_PA * float((1 - 2.25577e-5 * altitude_m) ** 5.2559)


def temperature_at_degC(altitude_m: float) -> float:
    """Temperature of the standard atmosphere. Source: ASHRAE 2017 ch. 1, equation 4."""
    pressure_at_Pa(altitude_m)
    return 15 - 0.0065 * altitude_m
