"""Figures of a receipt as people read them, with their units."""

from console.figures import with_unit


def litres(value: float | None, *, signed: bool = False) -> str:
    return with_unit("volume_m3", value, signed=signed)


def sure(value: float | None, u95: float | None) -> str:
    """A volume with its expanded uncertainty."""
    return litres(value) if value is None or u95 is None else f"{litres(value)} ± {litres(u95)}"


def rate(value: float | None) -> str:
    return with_unit("agreed_m3_per_h", value)


def degrees(value: float | None) -> str:
    return with_unit("temperature_degC", value)


def density(value: float | None) -> str:
    return with_unit("density_kgpm3", value)
