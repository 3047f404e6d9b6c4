"""What `[tank.watch]` and `[tank.second_level]` need of the rest of the site: signals that measure the right thing."""

from collections.abc import Callable
from typing import Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.schema import TankTable
from gaugehouse.sitefile.watchschema import SecondLevelTable

SURFACES: Final = ("window_temperature", "shell_temperature")
"""Roles of points on which water can settle."""

_NEEDS: Final = {
    "water_high": "water",
    "water_rising": "water",
    "temperature_high": "temperature",
    "temperature_low": "temperature",
}


def check_watch(draft: Draft, key: str, tank: TankTable) -> None:
    """Tell every condition that nothing could ever judge."""
    watch = tank.watch
    if watch is None:
        return
    for name, signal in _NEEDS.items():
        if getattr(watch, name) is not None and getattr(tank, signal) in ("none", "dips"):
            text = f"nothing measures the {signal} of this tank; name a signal with `{signal}`, or remove this"
            draft.report.error(f"{key}.watch.{name}", text, found=getattr(tank, signal))
    low, high = (getattr(given, "at", None) for given in (watch.temperature_low, watch.temperature_high))
    if low is not None and high is not None and low >= high:
        text = f"{low:g} degC is not below temperature_high ({high:g} degC); lower it"
        draft.report.error(f"{key}.watch.temperature_low", text, found=f"{low:g} degC", allowed=f"below {high:g} degC")
    if watch.condensation_risk is not None:
        _condensation(draft, f"{key}.watch.condensation_risk", tank.id)


def _condensation(draft: Draft, here: str, tank: str) -> None:
    roles = {point.role for point in draft.file.point or () if point.tank in (None, tank)}
    if not roles & set(SURFACES):
        text = f'no [[point]] tells how cold the surface is; add one with role = "{SURFACES[0]}" or "{SURFACES[1]}"'
        draft.report.error(here, text)
    elif "dew_point" not in roles and not roles >= {"ambient_temperature", "humidity"}:
        text = 'no dew point is known; add a [[point]] with role = "dew_point", or "ambient_temperature" and "humidity"'
        draft.report.error(here, text)


def check_second(draft: Draft, key: str, tank: TankTable, level_unit: Callable[[str], str]) -> None:
    """The second gauge's signal and range. level_unit: our unit for a declared one, empty for no level."""
    second = tank.second_level
    if second is None:
        return
    draft.expect_signal(f"{key}.level", second.level)
    signal = draft.signal(second.level)
    if signal is None or signal.unit is None:
        return
    if isinstance(tank.level, SignalRef) and second.level == tank.level:
        text = "this is the tank's own level; name the signal of the other gauge"
        draft.report.error(f"{key}.level", text, found=str(second.level))
        return
    kind = level_unit(signal.unit)
    if not kind:
        text = f'the unit of signal {second.level} is "{signal.unit}", which is no level; declare mA, a length or %'
        draft.report.error(f"{key}.level", text, found=signal.unit, allowed='"mA", a length or "%"')
    elif kind != "m":
        _range(draft, key, second, kind)


def _range(draft: Draft, key: str, second: SecondLevelTable, kind: str) -> None:
    for name, like in (("at_4mA", "0 m"), ("at_20mA", "12 m")):
        if getattr(second, name) is None and draft.report_is_clean(f"{key}.{name}"):
            text = f'missing; a level in {kind} needs it, add a line such as {name} = "{like}"'
            draft.report.error(f"{key}.{name}", text, allowed="a length")
    if second.at_4mA is not None and second.at_4mA == second.at_20mA:
        text = f"{second.at_20mA:g} m is the level at 4 mA too: the range is empty; write the level at 20 mA"
        draft.report.error(f"{key}.at_20mA", text)
