"""Invented readings for the tests of the stores; no tank of these exists."""

from models.reading import Bound, Quality, Reading, Reason

NOON_MS = 1_767_268_800_000
"""2026-01-01T12:00:00Z, a whole minute."""


def reading(seq: int, time_ms: int, tank: str = "T-1", level_m: float | None = None, **others: object) -> Reading:
    """A reading with the figures that follow from a level; Good unless told otherwise."""
    level = 5.0 + seq / 1000 if level_m is None else level_m
    whole = Reading(
        seq, time_ms, tank, Quality.GOOD, Reason.NONE,
        current_mA=4 + level * 16 / 12, level_m=level, temperature_degC=15.25, water_m=0.012,
        tov_m3=level * 78.54, gov_m3=level * 78.54 - 0.9, gsv_m3=level * 78.3, mass_kg=level * 62_640.0,
        volume_percent=level * 8, level_percent=level * 8.1, ullage_m=12.5 - level, rate_m3_per_h=-1.25,
        stock_quality=Quality.GOOD, bound=Bound.NONE, rate_sd_m3_per_h=0.5, gsv_u95_m3=3.25,
    )  # fmt: skip
    return whole._replace(**others)


def bad(seq: int, time_ms: int, tank: str = "T-1", current_mA: float | None = 3.5) -> Reading:
    """A reading whose loop has failed: no level and nothing that follows from one."""
    return Reading(seq, time_ms, tank, Quality.BAD, Reason.SENSOR_FAILURE, current_mA, temperature_degC=15.5)


def run(
    count: int, *, first_seq: int = 1, start_ms: int = NOON_MS, step_ms: int = 1000, tank: str = "T-1"
) -> list[Reading]:
    """Readings at an even pace."""
    return [reading(first_seq + i, start_ms + i * step_ms, tank) for i in range(count)]
