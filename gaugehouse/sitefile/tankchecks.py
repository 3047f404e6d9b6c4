"""What keys of products, tanks, meters and points mean together: signals that exist and measure the right thing, ranges
and limits that the tank and its instrument can reach.

Limits out of order or beyond an instrument's reach are errors of the site file, not warnings: such an alarm could never
come.
"""

from typing import Final

from gaugehouse.sitefile.capacity import read_capacity
from gaugehouse.sitefile.concerns import concern_levels, level_mistakes
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.drawing import drawn
from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.filterfacts import check_filter
from gaugehouse.sitefile.parts import read_parts
from gaugehouse.sitefile.quantities import converts, kind_of
from gaugehouse.sitefile.schema import ROLES, Ne43Table, ProductTable, TankTable
from gaugehouse.sitefile.stockchecks import check_stock
from gaugehouse.sitefile.watchchecks import check_second, check_watch
from models.capacity import CapacityTable
from models.correction import Edition, ctl
from models.errors import OutOfRange
from models.geometry_tables import table_of
from models.tank import LevelKind, Measures

_EPSILON_M: Final = 1e-9
_SIXTY_DEGF: Final = 15.5555555556
_BASES_DEGC: Final = {Edition.API_2004: (15.0, 20.0, _SIXTY_DEGF), Edition.TABLES_1980: (15.0,)}


def check_tanks(draft: Draft) -> None:
    _reference_temperature(draft)
    for key, product in draft.items("product"):
        _product(draft, key, product)
    for key, tank in draft.items("tank"):
        draft.expect_id(f"{key}.product", tank.product, "product")
        _signals(draft, key, tank)
        table = _capacity(draft, key, tank)
        _range(draft, key, tank)
        _ne43(draft, f"{key}.ne43", tank.ne43)
        _limits(draft, key, tank, table)
        _independent(draft, key, tank)
        check_watch(draft, key, tank)
        check_second(draft, f"{key}.second_level", tank, _level_word)
        check_filter(draft, f"{key}.filter", tank.filter)
        check_stock(draft, key, tank, table)
    for key, meter in draft.items("meter"):
        draft.expect_signal(f"{key}.signal", meter.signal)
        _measures(draft, f"{key}.signal", meter.signal, {"volume": "m3", "flow": "m3/s"}.get(meter.kind))
        for name in ("fills", "draws_from"):
            if (tank := getattr(meter, name)) is not None:
                draft.expect_id(f"{key}.{name}", tank, "tank")
        if meter.rolls_over_at is not None and meter.kind == "flow":
            text = 'this key goes with kind = "volume": a flow does not roll over; remove it'
            draft.report.error(f"{key}.rolls_over_at", text)
    for key, point in draft.items("point"):
        draft.expect_signal(f"{key}.signal", point.signal)
        _measures(draft, f"{key}.signal", point.signal, ROLES.get(point.role))
        draft.expect_id(f"{key}.tank", point.tank, "tank")


def _reference_temperature(draft: Draft) -> None:
    site = draft.file.site
    if site is None or site.reference_temperature is None or site.volume_correction is None:
        return
    if not any(abs(site.reference_temperature - base) < 1e-6 for base in _BASES_DEGC[site.volume_correction]):
        allowed = '"15 degC"' if site.volume_correction is Edition.TABLES_1980 else '"15 degC", "20 degC" or "60 degF"'
        text = f"{site.reference_temperature:g} degC is no base of {site.volume_correction}; write {allowed}"
        draft.report.error("site.reference_temperature", text, found=site.reference_temperature, allowed=allowed)


def _product(draft: Draft, key: str, product: ProductTable) -> None:
    limits = product.density_range
    if limits and draft.report_is_clean(f"{key}.density_range") and not limits[0] < limits[1]:
        text = f"{limits[1]:g} kg/m3 is not above {limits[0]:g} kg/m3; the lower bound comes first, swap the two"
        draft.report.error(f"{key}.density_range", text, found=limits)
    special = product.group == "special"
    clean = draft.report_is_clean(f"{key}.alpha60")
    if product.group is not None and clean and special != (product.alpha60 is not None):
        text = 'missing; group "special" needs it, add a line such as alpha60 = "5e-4 / degF"'
        if not special:
            text = 'this key goes with group = "special", other groups expand by their density; remove it'
        draft.report.error(f"{key}.alpha60", text)
        return
    site = draft.file.site
    if product.group is None or product.base_density is None or not clean or site is None:
        return
    base, edition = site.reference_temperature, site.volume_correction
    if base is None or edition is None or not draft.report_is_clean("site.reference_temperature"):
        return
    try:
        ctl(product.group, product.base_density, base, base, edition.value, alpha60_per_degF=product.alpha60)
    except OutOfRange as exc:
        draft.report.error(f"{key}.base_density", f"{exc}; mend the density or the group", found=product.base_density)


def level_kind(unit: str) -> LevelKind | None:
    """What a level signal carries, by its unit; None where that is no level."""
    for kind, si in ((LevelKind.CURRENT, "mA"), (LevelKind.LENGTH, "m"), (LevelKind.PERCENT, "%")):
        if unit and converts(unit, si):
            return kind
    return None


def _level_word(unit: str) -> str:
    """The unit of ours that a level signal is turned into, empty for no level."""
    kind = level_kind(unit)
    return "" if kind is None else _SI[kind]


def _signals(draft: Draft, key: str, tank: TankTable) -> None:
    for name in ("level", "temperature", "water"):
        draft.expect_signal(f"{key}.{name}", getattr(tank, name))
    level = draft.signal(tank.level)
    if (
        level is not None
        and level.unit is not None
        and level_kind(level.unit) is None
        and _unit_sound(draft, tank.level)
    ):
        text = (
            f'the unit of signal {tank.level} is "{level.unit}", which is no level; declare it as a current ("mA"), '
            'a length ("mm") or a percentage ("%")'
        )
        draft.report.error(f"{key}.level", text, found=level.unit, allowed='"mA", a length or "%"')
    _measures(draft, f"{key}.temperature", tank.temperature, "degC")
    _measures(draft, f"{key}.water", tank.water, "m")


def _unit_sound(draft: Draft, ref: object) -> bool:
    """False where the signal's own unit has been told as a mistake already."""
    where = f"instrument[{ref.instrument}].signal[{ref.signal}].unit" if isinstance(ref, SignalRef) else ""
    return draft.report_is_clean(where)


def _measures(draft: Draft, key: str, ref: object, si: str | None) -> None:
    """Tell a signal whose declared unit measures something else than what it is used for."""
    signal = draft.signal(ref)
    if signal is None or signal.unit is None or not si or not _unit_sound(draft, ref):
        return
    if not signal.unit or not converts(signal.unit, si):
        wanted = f'{kind_of(si)} belongs; declare unit = "{si}" or the like'
        text = f'the unit of signal {ref} is "{signal.unit}", where {wanted}'
        draft.report.error(key, text, found=signal.unit, allowed=kind_of(si))


def _capacity(draft: Draft, key: str, tank: TankTable) -> CapacityTable | None:
    sound = draft.report_is_clean(f"{key}.capacity") and draft.report_is_clean(f"{key}.shape")
    table: CapacityTable | None = None
    if tank.capacity is not None and tank.shape is not None:
        draft.report.error(f"{key}.shape", "this tank has a capacity table already; keep one of `capacity` and `shape`")
    elif tank.capacity is None and tank.shape is None:
        if sound:
            text = (
                "missing; give `capacity` (the certificate's table), or a shape such as "
                'shape = {kind = "upright", diameter = "10 m", height = "14 m"}'
            )
            draft.report.error(f"{key}.capacity", text, allowed="capacity or shape")
    elif tank.capacity is not None:
        table = _certified(draft, key, tank, tank.capacity)
    elif tank.shape is not None and sound:
        shape = drawn(draft.report, f"{key}.shape", tank.shape)
        table = None if shape is None else table_of(shape)
    if table is not None and tank.id is not None:
        draft.capacities[tank.id] = table
    return table


def _certified(draft: Draft, key: str, tank: TankTable, capacity: str) -> CapacityTable | None:
    """The table of the tank's CSV files."""
    path = draft.folder / capacity
    draft.files.append(path)
    table = read_capacity(path, capacity, f"{key}.capacity", draft.report)
    if tank.proportional_parts is None:
        return table
    path = draft.folder / tank.proportional_parts
    draft.files.append(path)
    if table is None:
        return None
    return read_parts(path, tank.proportional_parts, f"{key}.proportional_parts", table, draft.report)


def _range(draft: Draft, key: str, tank: TankTable) -> None:
    level = draft.signal(tank.level)
    kind = None if level is None or level.unit is None else level_kind(level.unit)
    for name, other, like in (("at_4mA", "at_20mA", "0 m"), ("at_20mA", "at_4mA", "12 m")):
        here = f"{key}.{name}"
        value = getattr(tank, name)
        if value is None and draft.report_is_clean(here):
            by_other = getattr(tank, other) is not None and kind is LevelKind.LENGTH
            if kind is not None and (by_other or kind is not LevelKind.LENGTH):
                what = f"{other} has no meaning without it" if by_other else f"a level in {_SI[kind]} needs it"
                draft.report.error(here, f'missing; {what}, add a line such as {name} = "{like}"', allowed="a length")
        elif value is not None and tank.reference_height is not None and value > tank.reference_height + _EPSILON_M:
            text = f"{value:g} m is above the reference height of {tank.reference_height:g} m; mend one of the two"
            draft.report.error(here, text, found=f"{value:g} m", allowed=f"up to {tank.reference_height:g} m")
        elif value is not None and value < 0 and tank.measures is Measures.DISTANCE:
            text = f"{value:g} m is no distance down to a surface; write it from 0 up"
            draft.report.error(here, text, found=f"{value:g} m", allowed="0 m and more")
    if tank.at_4mA is not None and tank.at_4mA == tank.at_20mA:
        text = f"{tank.at_20mA:g} m is the level at 4 mA too: the range is empty; write the level at 20 mA"
        draft.report.error(f"{key}.at_20mA", text, found=f"{tank.at_20mA:g} m")


_SI: Final = {LevelKind.CURRENT: "mA", LevelKind.LENGTH: "m", LevelKind.PERCENT: "%"}


def range_m(tank: TankTable) -> tuple[float, float] | None:
    """Innages at the lower and the upper end of the range, whichever way the loop works."""
    if tank.at_4mA is None or tank.at_20mA is None or tank.at_4mA == tank.at_20mA:
        return None
    ends = [tank.at_4mA, tank.at_20mA]
    if tank.measures is Measures.DISTANCE:
        if tank.reference_height is None:
            return None
        ends = [tank.reference_height - end for end in ends]
    return min(ends), max(ends)


def reach_m(tank: TankTable) -> tuple[float, str] | None:
    """The highest innage that the instrument can tell, and what sets it; None where nothing of it is given."""
    ends = range_m(tank)
    known = [(ends[1], "the upper end of its range")] if ends else []
    if tank.blocking_level is not None:
        known.append((tank.blocking_level, "its blocking limit"))
    if tank.sensor_flange is not None:
        known.append((tank.sensor_flange, "its flange"))
    return min(known) if known else None


def _ne43(draft: Draft, key: str, limits: Ne43Table | None) -> None:
    if limits is None:
        return
    order = ("fail_low", "low", "high", "fail_high")
    values = [getattr(limits, name) for name in order]
    if None not in values and not values[0] < values[1] <= 4 < 20 <= values[2] < values[3]:
        shown = ", ".join(f"{value:g}" for value in values)
        text = f"{shown} mA are out of order; keep fail_low < low <= 4 and 20 <= high < fail_high"
        draft.report.error(key, text, found=values, allowed="fail_low < low <= 4, 20 <= high < fail_high")


def _limits(draft: Draft, key: str, tank: TankTable, table: CapacityTable | None) -> None:
    limits = tank.limits
    if limits is None:
        return
    reach = reach_m(tank)
    levels = concern_levels(draft, key, tank, table, None if reach is None else reach[0])
    if tank.id is not None:
        draft.levels[tank.id] = levels
    words = None if reach is None else (reach[0], f"the reach of {tank.level}: {reach[1]} is at")
    for mistake in level_mistakes(levels, table, words):
        draft.report.error(
            f"{key}.limits.{mistake.condition}", mistake.text, found=mistake.found, allowed=mistake.allowed
        )
    for name in ("rise_fast", "fall_fast"):
        rate = getattr(limits, name)
        if rate is not None and rate.at is not None and rate.deadband is not None:
            if rate.deadband.per != rate.at.per or not rate.deadband.value < rate.at.value:
                text = "the deadband must be of the same kind as the limit and below it; write a smaller rate"
                draft.report.error(f"{key}.limits.{name}.deadband", text)


def _independent(draft: Draft, key: str, tank: TankTable) -> None:
    wanted, here = tank.independent_high_high, f"{key}.independent_high_high"
    draft.expect_id(here, wanted, "point")
    point = next((p for p in draft.file.point or () if p.id == wanted and wanted is not None), None)
    if point is None:
        return
    if point.role is not None and point.role != "high_level_switch":
        text = f'point "{wanted}" is a {point.role}; name a point with role = "high_level_switch"'
        draft.report.error(here, text, found=wanted, allowed='role = "high_level_switch"')
    elif point.signal is not None and tank.level is not None and point.signal.instrument == tank.level.instrument:
        text = (
            f'point "{wanted}" comes from {tank.level.instrument}, the instrument that gauges this tank, so it is not '
            "independent; name a switch with a sensor of its own"
        )
        draft.report.error(here, text, found=wanted)
