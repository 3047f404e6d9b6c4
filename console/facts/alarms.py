"""The alarms: all there can be, their past, their tests and how they perform."""

from typing import Protocol

from console.facts.answers import Json


class AlarmFacts(Protocol):
    """Alarms."""

    def every_alarm(self) -> list[Json]:
        """Every alarm that the site can have, in the order of the site file: the keys of `live`'s alarms and `respond`.

        One that is normal has `state` "normal"; `raised` is None where it never came. `test`: how it was last proved,
        ``{method, last, due, overdue, newest, under_way}``: `last` and `due` are days (`due` None without a rule),
        `newest` ``{time, by, means, passed, raised_s, how, comment}`` or None, `under_way` ``{by, means, begun,
        until}`` or None.
        """
        ...

    async def alarm_rows(
        self, source: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        """Alarm transitions, newest first: alarms.csv columns and `entry` (its number in the record book), `id`,
        `name`, `occurrence`, `by`, `comment`. before: only those with a lower number."""
        ...

    async def alarm_tests(self) -> list[Json]:
        """Every test of an alarm that has ended, newest first.

        ``{alarm, by, means, passed, raised_s, notified_s, how, comment, begun, ended}``; `notified_s` None where no
        channel told of it.
        """
        ...

    async def performance(self, from_ms: int, to_ms: int) -> Json:
        """How the alarms of from <= t < to perform beside the aims of ISA-18.2 / IEC 62682.

        ``{from, to, operator_positions, convention, enough, enough_days, aims, now, whole, months, days}``. `from` is
        not before the record book began. `enough`: whether the stretch is long enough to judge by. `aims`: each
        ``{figure, words, unit, acceptable, manageable, below, kpi}`` (`below`: the bound itself misses it). `now`:
        ``{time, flood_since | None, chattering: [ids], stale: [ids]}``. `whole`, and each of `months` and `days`:
        ``{name, from, to, annunciations, average_10min, average_hour, average_day, peak_10min, peak_hour,
        over_10_percent, hours_over_30_percent, floods, flood_s, flood_percent, largest_flood, chattering, fleeting,
        top: [{id, times}], stale: [ids], top_percent | None, by_priority: [3], priority_percent: [3] | None, judged}``,
        `judged` being ``{figure, value | None, verdict}`` in the order of `aims`, verdict one of "met", "manageable",
        "missed", "nothing counted", "not judged" (too short a time). Averages are None for shorter periods than they.
        """
        ...
