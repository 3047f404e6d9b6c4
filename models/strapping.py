"""Strapping measurements of an upright tank -> capacity table: girths, plates, deadwood, liquid head, temperature.

The tape went round each course from outside; the plate is taken off, steel is brought to the table's reference
temperature, the shell's growth under the certified liquid is put in, what stands inside is taken out. Forms: from
memory of ISO 7507-1 / API MPMS 2.2A and derived from thin-wall theory; no published worked example was at hand, so a
strapping by this file is checked against elementary geometry only.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.errors import OutOfRange
from models.geometry_tables import STEP_M
from models.geometry_tilted import MAX_TILT

GRAVITY: Final = 9.80665
STEEL_PA: Final = 2.0e11
STEEL_PER_DEGC: Final = 1.12e-5
"""Linear expansion of mild steel (secondary: handbook citing API MPMS 12.1.1)."""


class Course(NamedTuple):
    """One ring of plates, from the bottom up. circumferences_m: outside, as taped at the heights that are asked for."""

    circumferences_m: tuple[float, ...]
    plate_m: float
    height_m: float
    paint_m: float = 0.0


class Deadwood(NamedTuple):
    """Something that takes up room (volume > 0) or adds it (< 0, a manhole), spread evenly from low to high."""

    low_m: float
    high_m: float
    volume_m3: float


class BottomRow(NamedTuple):
    """Volume under an innage, from filling the bottom with measured liquid or from its survey."""

    level_m: float
    volume_m3: float


class LiquidHead(NamedTuple):
    """The liquid that the table is certified for, and the level that stood in the tank while it was taped."""

    density_kgpm3: float
    level_at_strapping_m: float = 0.0
    density_at_strapping_kgpm3: float = 0.0
    elasticity_Pa: float = STEEL_PA


class Tape(NamedTuple):
    """Temperatures of the strapping: steel of the shell, the tape's own calibration, the table's reference.

    The tape is taken to be as warm as the shell that it lies on.
    """

    shell_degC: float = 15.0
    tape_calibrated_degC: float = 20.0
    reference_degC: float = 15.0
    shell_per_degC: float = STEEL_PER_DEGC
    tape_per_degC: float = STEEL_PER_DEGC


@dataclass(frozen=True, slots=True)
class Strapping:
    """All that was measured. Levels count from the datum plate; bottom gives the volume up to its last row, from where
    the courses go on; without it the bottom is flat and level with the datum. tilt: slope of the tank's axis."""

    courses: tuple[Course, ...]
    bottom: tuple[BottomRow, ...] = ()
    deadwood: tuple[Deadwood, ...] = ()
    head: LiquidHead | None = None
    tape: Tape | None = None
    tilt: float = 0.0

    def __post_init__(self) -> None:
        if not self.courses:
            raise OutOfRange("a strapping needs at least one course")
        for number, course in enumerate(self.courses, 1):
            _check_course(number, course)
        top = sum(course.height_m for course in self.courses)
        if not abs(self.tilt) <= MAX_TILT:
            raise OutOfRange(f"tilt {100 * self.tilt:g} %; the method takes up to {100 * MAX_TILT:g} %")
        for number, wood in enumerate(self.deadwood, 1):
            if not 0 <= wood.low_m < wood.high_m <= top + 1e-9:
                raise OutOfRange(
                    f"deadwood {number}: {wood.low_m:g} to {wood.high_m:g} m is not inside the shell (0 to {top:g} m)"
                )
        for number, (before, row) in enumerate(pairwise(self.bottom), 2):
            if not (row.level_m > before.level_m and row.volume_m3 >= before.volume_m3):
                raise OutOfRange(f"bottom row {number}: level must rise and volume must not fall")
        if self.bottom and not 0 <= self.bottom[0].level_m <= self.bottom[-1].level_m < self.courses[0].height_m:
            raise OutOfRange("the bottom table must begin at or above the datum and end within the first course")


def _check_course(number: int, course: Course) -> None:
    if not course.circumferences_m or not all(1 <= c <= 600 for c in course.circumferences_m):
        raise OutOfRange(f"course {number}: give circumferences of 1 to 600 m, at least one")
    low, high = min(course.circumferences_m), max(course.circumferences_m)
    if high - low > 0.005 * high:
        raise OutOfRange(f"course {number}: circumferences {low:g} and {high:g} m differ by over 0.5 %; tape again")
    if not 0.002 <= course.plate_m <= 0.1:
        raise OutOfRange(f"course {number}: plate {course.plate_m:g} m; allowed 0.002 to 0.1 m")
    if not 0.1 <= course.height_m <= 6:
        raise OutOfRange(f"course {number}: height {course.height_m:g} m; allowed 0.1 to 6 m")
    if not 0 <= course.paint_m <= 0.005:
        raise OutOfRange(f"course {number}: paint {course.paint_m:g} m; allowed 0 to 0.005 m")


class Ring(NamedTuple):
    """A course as the table uses it: inside radius empty and at the reference temperature."""

    low_m: float
    high_m: float
    radius_m: float
    plate_m: float


def rings_of(strapping: Strapping) -> tuple[Ring, ...]:
    """Inside radii: R = C / 2 pi - plate - paint, at the reference temperature, without the head at the strapping."""
    rings = []
    low = 0.0
    for course in strapping.courses:
        taped = math.fsum(course.circumferences_m) / len(course.circumferences_m)
        outside = _at_reference(taped, strapping.tape) / (2 * math.pi)
        radius = outside - course.plate_m - course.paint_m
        high = low + course.height_m
        head = strapping.head
        if head is not None and head.level_at_strapping_m > low:
            wet = min(head.level_at_strapping_m, high)
            mean_depth = head.level_at_strapping_m - (low + wet) / 2
            share = (wet - low) / course.height_m
            pressure = head.density_at_strapping_kgpm3 * GRAVITY * mean_depth * share
            radius -= pressure * radius * radius / (head.elasticity_Pa * course.plate_m)
        rings.append(Ring(low, high, radius, course.plate_m))
        low = high
    return tuple(rings)


def _at_reference(taped_m: float, tape: Tape | None) -> float:
    """What the tape read, made true at the steel's temperature and brought to the table's reference."""
    if tape is None:
        return taped_m
    true = taped_m * (1 + tape.tape_per_degC * (tape.shell_degC - tape.tape_calibrated_degC))
    return true * (1 + tape.shell_per_degC * (tape.reference_degC - tape.shell_degC))


def head_growth_m3(rings: tuple[Ring, ...], level_m: float, density_kgpm3: float, elasticity_Pa: float) -> float:
    """Room that the shell gains under a liquid column: hoop strain dR = p R^2 / (E t), integrated over each course."""
    growth = 0.0
    for ring in rings:
        if level_m <= ring.low_m:
            break
        top = min(level_m, ring.high_m)
        depths = ((level_m - ring.low_m) ** 2 - (level_m - top) ** 2) / 2
        growth += 2 * math.pi * ring.radius_m**3 * density_kgpm3 * GRAVITY * depths / (elasticity_Pa * ring.plate_m)
    return growth


def volume_m3(strapping: Strapping, rings: tuple[Ring, ...], level_m: float) -> float:
    """Volume at an innage of the strapped tank, at the reference temperature. `OutOfRange` outside of the shell."""
    top = rings[-1].high_m
    start = strapping.bottom[0].level_m if strapping.bottom else 0.0
    if not start <= level_m <= top + 1e-9:
        raise OutOfRange(f"level {level_m:.4f} m is outside of the strapped tank ({start:g} to {top:g} m)")
    shell_from, volume = 0.0, 0.0
    if strapping.bottom:
        shell_from, volume = _bottom(strapping.bottom, level_m)
    lean = math.sqrt(1 + strapping.tilt**2)  # a level cut through a leaning cylinder is an ellipse
    for ring in rings:
        low, high = max(ring.low_m, shell_from), min(ring.high_m, level_m)
        if high > low:
            volume += math.pi * ring.radius_m**2 * (high - low) * lean
    if strapping.head is not None:
        head = strapping.head
        volume += head_growth_m3(rings, level_m, head.density_kgpm3, head.elasticity_Pa)
    for wood in strapping.deadwood:
        share = (level_m - wood.low_m) / (wood.high_m - wood.low_m)
        volume -= wood.volume_m3 * min(max(share, 0.0), 1.0)
    return volume


def _bottom(rows: tuple[BottomRow, ...], level_m: float) -> tuple[float, float]:
    """From where the courses count, and the volume of the bottom up to there or up to the level."""
    if level_m >= rows[-1].level_m:
        return rows[-1].level_m, rows[-1].volume_m3
    for before, row in pairwise(rows):
        if level_m < row.level_m:
            share = (level_m - before.level_m) / (row.level_m - before.level_m)
            return level_m, before.volume_m3 + share * (row.volume_m3 - before.volume_m3)
    raise AssertionError("unreachable: the level lies below the last row")


def table_of_strapping(strapping: Strapping) -> CapacityTable:
    """The capacity table, a row each millimetre and at each level where something begins or ends.

    Raises `models.errors.BadTable` where deadwood takes more than the shell gives.
    """
    rings = rings_of(strapping)
    top = rings[-1].high_m
    start = strapping.bottom[0].level_m if strapping.bottom else 0.0
    marks = {ring.high_m for ring in rings} | {row.level_m for row in strapping.bottom}
    marks |= {edge for wood in strapping.deadwood for edge in (wood.low_m, wood.high_m)}
    levels = {k * STEP_M for k in range(round(top / STEP_M) + 1)} | marks | {start, top}
    ordered = _spaced(sorted(level for level in levels if start <= level <= top))
    return CapacityTable(ordered, [volume_m3(strapping, rings, level) for level in ordered])


def _spaced(levels: list[float]) -> list[float]:
    """Without rows closer than a micrometre: two sums of the same heights differ in their last bit. Both ends stay."""
    kept = [levels[0]]
    for level in levels[1:-1]:
        if level - kept[-1] > 1e-6 and levels[-1] - level > 1e-6:
            kept.append(level)
    return [*kept, levels[-1]]
