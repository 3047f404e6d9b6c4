"""Deadbands that would keep an alarm for ever, or that are of another kind than their limit.

A level is no lower than the table's first row and no higher than its last or what the gauge reaches; free water, a
rise, a difference of two gauges, an age and a flow into a tank are never below nothing. What can never be "back by the
deadband" never returns.
"""

from collections.abc import Iterator
from typing import Final

from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS, RATE_CONDITIONS, Limit
from gaugehouse.sitefile.alarmsheet import NEVER_BELOW_NOTHING, AlarmSheet
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report

_TABLES: Final = {"water_high": "watch", "water_rising": "watch"}


def check_deadbands(site: Site, sheet: AlarmSheet, report: Report) -> Site:
    """Tell each of them, with its key or, where the sheet has changed it, its row."""
    for source, limit, *ends in _limits(site):
        text = _kind(sheet, source, limit) or _never_back(limit, *ends)
        if text:
            row = sheet.row_of(source, limit.condition)
            where = "" if row is None else f"row {row}: deadband: {limit.condition} of {source}: "
            key = _key(source, limit.condition) if row is None else ""
            report.error(key, where + text, file="" if row is None else str(site.alarm_sheet))
    return site


def _limits(site: Site) -> Iterator[tuple[str, Limit, float | None, float | None]]:
    """Every limit with the lowest and the highest level that its tank can tell."""
    for tank in site.tank_alarms:
        table = site.tank(tank.tank).table
        for limit in tank.limits:
            yield tank.tank, limit, table.bottom_m, min(table.top_m, site.reach_m[tank.tank])
    for watched in site.watched:
        for limit in watched.limits:
            yield watched.source, limit, None, None


def _kind(sheet: AlarmSheet, source: str, limit: Limit) -> str:
    per = sheet.deadband_per(source, limit.condition)
    if limit.condition in RATE_CONDITIONS and per not in ("", limit.per):
        words = {"m/s": "a length per time", "m3/s": "a volume per time"}
        return f"it is {words[per]}, the limit {words[limit.per]}; write both of one kind"
    return ""


def _never_back(limit: Limit, bottom_m: float | None, top_m: float | None) -> str:
    at, deadband, name = limit.at, limit.deadband, limit.condition
    mend = "so this alarm could never return; write a smaller deadband"
    if name in RATE_CONDITIONS and deadband >= at:
        return "it is not below the limit itself; write a smaller rate"
    if name in LEVEL_HIGH_CONDITIONS and bottom_m is not None and at - deadband <= bottom_m:
        return f"{at:g} m less {deadband:g} m is not above the first row of the capacity table, {mend}"
    if name in LEVEL_LOW_CONDITIONS and top_m is not None and at + deadband >= top_m:
        return f"{at:g} m and {deadband:g} m are not below {top_m:g} m, the highest level that can be told, {mend}"
    if name in NEVER_BELOW_NOTHING and deadband > 0 and deadband >= at:
        return f"the limit less its deadband is not above nothing, {mend}"
    return ""


def _key(source: str, condition: str) -> str:
    if condition in ("store_late", "publisher_late", "disk_filling"):
        return f"system.{condition}"
    if condition == "level_deviation":
        return f"tank[{source}].second_level.deadband"
    return f"tank[{source}].{_TABLES.get(condition, 'limits')}.{condition}.deadband"
