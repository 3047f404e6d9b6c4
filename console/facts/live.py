"""The newest state of everything, which pages follow."""

from typing import Protocol

from console.facts.answers import Json


class LiveFacts(Protocol):
    """What is so now."""

    def live(self) -> Json:
        """The newest state: ``{time, seq, build, tanks, alarms, tests, loops, buses, points}``.

        `time` is the data's clock.

        `tanks`: every tank, always, in the site file's order (before its first reading: Bad, BadNoCommunication,
        figures None). Each: all readings.csv columns (`time` None before the first reading) and `name`, `product`,
        `age_s` (None before the first reading), `last_good_level_m`, `last_good_tov_m3`, `last_good_time`, `flow`
        ("filling" | "emptying" | "still" | "" = not known), `next_limit` ``{condition, at_m, seconds, volume_m3}`` or
        None, `time_to` ``{high_high, critical_high}``, each ``{at_m, seconds, earliest_s, latest_s}`` (at the rate as
        it is and at its two sides, 95 %; latest None = perhaps never) or None, `plan` ``{tank, kind, product,
        quantity_m3, rate_m3_per_h, by, made, begun, moved_m3, receipt}`` (a movement that was ordered) or
        None, `usable_m3` and `dead_m3` (above and under the lowest suction, None without one), `room_m3` (volume up
        to the limit `high`,
        negative above it), `water_age_s`, `water_source` ("signal" | "dips" | "none"), `dip`
        (`console.facts.dips.DipFacts.state` without what moves), `day_low_m`, `day_high_m`,
        `since_reset_low_m`, `since_reset_high_m`, `since_reset_time`, `alarms` (ids of the standing alarms of the tank
        and of its instrument), `torn` ``{status, word}`` with status "F", "C", "S" or "M", or None, `status` as
        `tank_status` tells it, or None.

        `alarms`: every alarm whose state is not normal. Each: `id` (``<source>.<condition>``), `source`, `tank` (the
        tank it concerns, None for none), `condition`, `name` (words), `priority` 1-3, `state`, `occurrence` (int, one
        more each time it is raised anew), `raised`, `returned` (None while the cause stands), `acknowledged_by`,
        `acknowledged`, `comment`, `action`, `respond`, `cause`, `consequence` (words), `not_independent` (bool),
        `active` (its condition is on), `one_shot` (its shelf ends with its condition), `hides` (what hides it, the
        one that is shown first: ``{state, by, reason, since, until}``, `until` of a shelf only).

        `tests`: ids of the alarms whose end-to-end test is under way.

        `loops`: every instrument, in the site file's order. Each: `instrument`, `name`, `tanks` (ids), `outcome` ("ok"
        or how the last poll failed; None before the first), `current_mA`, `band` (`models.signal.Band` or None),
        `fault` (class, "" for none), `fault_since`, `age_s`, `noise_now_m`, `noise_usual_m`, `noise_loud_m` (one
        standard deviation of the level, None where it is not known), and `check` (the loop check under way or None:
        ``{number, by, since, until, blinds, blinded_names, covered_by, before_m, limit_percent, taken, steps, next,
        verdict}``).

        `buses`: every bus, in the site file's order. Each: `bus`, `kind`, `where`, `period_s`, `connected`, `fault`,
        `connects`, `refused`, `requests`, `utilisation` (0 to 1 over the last minute, or None), `strays`, `errors`
        (failed polls by outcome), `units`: each ``{instrument, name, unit, polls, ok, no_answer, wrong_reply,
        exceptions, missed_ticks, spared_ticks, failures_in_a_row, failure, latency_ms, latency_p50_ms, latency_p95_ms,
        timeout_ms, last_good}``.

        `points`: meters and signals without a tank. Each: `id`, `name`, `what`, `value`, `unit`, `age_s`.
        """
        ...

    async def newer_live(self, seq: int) -> Json:
        """Wait until the newest state is not number `seq`, then the same as `live`. About one a second."""
        ...
