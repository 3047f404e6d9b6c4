"""What people do in a loop check: start it, take a step, finish, abort. Acts as `gaugehouse.acts` describes them.

The rules of starting: a person's name; refused while a tank of the loop receives or issues (or nobody can tell) unless
another signal covers it; a limit in time. What is taken and how it ended stands in the record book, step by step.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from alerts.alarm import Transition
from alerts.spec import SYSTEM_CONDITIONS
from console.check_words import FIELDS
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, refused, text_of, unknown
from gaugehouse.act import Taken as How
from gaugehouse.actfields import is_number
from gaugehouse.alarmacts import alarm_decisions
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.loopcheckjson import item_of, state_of, tanks_of
from gaugehouse.loopchecks import (
    ABORTED,
    AS_FOUND,
    AS_LEFT,
    FINISHED,
    KIND,
    RUNS,
    TIME_OVER,
    LoopCheck,
    Range,
    Taken,
    judged,
    record_of,
)
from gaugehouse.loopcover import why_not
from models.errors import OutOfRange
from models.loopcheck import SEQUENCE, Direction, steady, step_of
from models.reading import Instant
from models.tank import LevelKind

if TYPE_CHECKING:
    from gaugehouse.core import Core

FAR_MA: Final = 0.5
"""A live step this far from the applied current is more likely a current not applied yet. Our choice: 3 % of span."""


class Start(NamedTuple):
    """A named person begins a loop check. minutes: None for the longest that the site allows."""

    instrument: str
    by: str
    minutes: float | None = None
    covered_by: str = ""
    at_rest: str = ""
    permit: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if self.instrument not in core.ne43_of:
            return unknown(f"there is no instrument {self.instrument!r}")
        there = core.checks.get(self.instrument)
        if there is not None:
            text = f"a loop check of {self.instrument} is under way since {iso_ms(there.started_ms)}, by {there.by}"
            return Outcome(Answer(How.ALREADY, text, state_of(core, there)))
        refusal = self._refusal(core)
        if refusal:
            return refused(refusal)
        check = self._check(core, at)
        why = f"loop check of {self.instrument} under way"
        hidden = core.desk.remove_from_service(at, check.blinds, self.by, why)
        check = replace(check, hidden=tuple(t.id for t in hidden.transitions))
        core.checks.begin(check)
        entry = Decision(KIND, {"change": "started", **check.json()})
        return Outcome(_told(state_of(core, check)), [entry, *alarm_decisions(hidden)], hidden.transitions)

    def _refusal(self, core: "Core") -> str:
        """Why it may not begin now, with the mend; empty when it may."""
        longest = core.site.loop_check.longest_ms / 60_000
        if self.minutes is not None and not 0 < self.minutes <= longest:
            return f"a loop check may last {longest:g} min at most ([loop_check] longest), not {self.minutes:g} min"
        if self.instrument not in core.samples:
            return f"{self.instrument} has not been asked since the start; start the daemon and wait for an answer"
        return why_not(core, self.instrument, self.covered_by, self.at_rest)

    def _check(self, core: "Core", at: Instant) -> LoopCheck:
        lasts_ms = core.site.loop_check.longest_ms if self.minutes is None else round(self.minutes * 60_000)
        tanks = tanks_of(core, self.instrument)
        first = core.site.tank(tanks[0]) if tanks else None
        ends = None if first is None else first.range_m
        own = first is not None and first.kind is not LevelKind.CURRENT and first.current_signal is not None
        return LoopCheck(
            number=core.checks.next_number(),
            instrument=self.instrument,
            by=self.by,
            started_ms=at.time_ms,
            until_ms=at.time_ms + lasts_ms,
            until_elapsed_ms=at.elapsed_ms + lasts_ms,
            limit_percent=core.site.loop_check.limit_percent,
            range=None if ends is None else Range(*ends),
            own_level=own and ends is not None,
            blinds=tuple(
                alarm.id
                for alarm in core.alarms.of_instrument(self.instrument)
                if alarm.condition not in SYSTEM_CONDITIONS  # an overdue check is no matter of the signal
            ),
            before_m={t: good.level_m if (good := core.keepers[t].last_good) else None for t in tanks},
            covered_by=self.covered_by,
            at_rest=self.at_rest,
            permit=self.permit,
        )


class TakeStep(NamedTuple):
    """The current of one point is applied. Without a point: the next one in the guided order. shown_mA: what was read
    by hand; without it, the mean of the newest live samples, when they are steady."""

    instrument: str
    by: str
    run: str = ""
    point_mA: float | None = None
    direction: str = ""
    applied_mA: float | None = None
    shown_mA: float | None = None

    def apply(self, core: "Core", at: Instant) -> Outcome:
        check = core.checks.get(self.instrument)
        if check is None:
            return unknown(NONE_UNDER_WAY.format(self.instrument))
        place = self._place(check)
        if isinstance(place, str):
            return refused(place)
        run, point, direction = place
        applied = point if self.applied_mA is None else self.applied_mA
        shown = self._shown(core, check, applied)
        if isinstance(shown, str):
            return refused(shown)
        try:
            step_of(point, direction, applied, shown.shown_mA)
        except OutOfRange as error:
            return refused(str(error))
        expected = None if check.range is None else check.range.level_m(applied)
        taken = shown._replace(
            run=run,
            point_mA=point,
            direction=direction.value,
            applied_mA=applied,
            by=self.by or check.by,
            time_ms=at.time_ms,
            expected_m=expected,
        )
        core.checks.take(self.instrument, taken)
        step = taken._asdict()
        entry = Decision(KIND, {"change": "step", "number": check.number, "instrument": check.instrument, **step})
        return Outcome(_told(state_of(core, check) | {"step": step}), [entry])

    def _place(self, check: LoopCheck) -> tuple[str, float, Direction] | str:
        """Which step is taken; a text where it is none."""
        following = check.next()
        if self.point_mA is None:
            if following is None:
                return "every step is taken; finish the check, or name the point to take again"
            return following
        run = self.run or (following[0] if following else AS_LEFT)
        if run not in RUNS:
            return f"run {run!r} is not known; write as_found or as_left"
        if not self.direction:
            taken = {step.place for step in check.of(run)}
            ways = [d for p, d in SEQUENCE if p == self.point_mA and (p, d) not in taken]
            if not ways:
                return f"say in which direction {self.point_mA:g} mA was reached: up or down"
            return run, self.point_mA, ways[0]
        if self.direction not in tuple(Direction):
            return f"direction {self.direction!r} is not known; write up or down"
        return run, self.point_mA, Direction(self.direction)

    def _shown(self, core: "Core", check: LoopCheck, applied_mA: float) -> Taken | str:
        """What the loop showed: typed, or live and steady; a text where there is nothing to take."""
        blank = Taken("", 0.0, "", 0.0, 0.0, "typed", "", 0)
        if self.shown_mA is not None:
            return blank._replace(shown_mA=self.shown_mA)
        rules = core.site.loop_check
        currents = [heard.current_mA for heard in check.heard if heard.current_mA is not None]
        calm = steady(currents, rules.samples, rules.steady_percent)
        if calm is None:
            if len(currents) < rules.samples:
                return (
                    f"{len(currents)} of {rules.samples} samples have come since the last step; hold the current and "
                    "try again in a moment, or type what you read"
                )
            last = currents[-rules.samples :]
            return (
                f"not steady: the last {rules.samples} samples lie between {min(last):.3f} and {max(last):.3f} mA, "
                f"allowed is {rules.steady_percent:g} % of span; hold the current and try again"
            )
        if abs(calm.mean_mA - applied_mA) > FAR_MA:
            return (
                f"the loop shows {calm.mean_mA:.3f} mA, not near the applied {applied_mA:g} mA: apply the current "
                "first, or type what it shows if that is so"
            )
        levels = [heard.level_m for heard in list(check.heard)[-rules.samples :] if heard.level_m is not None]
        level = sum(levels) / len(levels) if levels else None
        return blank._replace(
            shown_mA=calm.mean_mA, how="live", spread_mA=calm.spread_mA, samples=calm.samples, level_m=level
        )


class Finish(NamedTuple):
    """The check is done: its record goes into the record book, the loop measures again."""

    instrument: str
    by: str
    filled: Mapping[str, str] = MappingProxyType({})

    def apply(self, core: "Core", at: Instant) -> Outcome:
        check = core.checks.get(self.instrument)
        if check is None:
            return unknown(NONE_UNDER_WAY.format(self.instrument))
        for run in RUNS:
            missing = judged(check, run)[0].missing
            if missing and (run == AS_FOUND or check.of(run)):
                words = ", ".join(f"{point:g} mA {direction.value}" for point, direction in missing)
                name = run.replace("_", " ")
                return refused(f"{name} is not whole, missing: {words}; take them, or abort the check")
        if self.filled.get("adjusted") and not check.of(AS_LEFT):
            return refused("something was adjusted: take the as-left steps before you finish")
        return ended(core, at, check, FINISHED, self.by, self.filled)


class Abort(NamedTuple):
    """The check is given up; what was taken is kept."""

    instrument: str
    by: str
    why: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        check = core.checks.get(self.instrument)
        if check is None:
            return unknown(NONE_UNDER_WAY.format(self.instrument))
        return ended(core, at, check, ABORTED, self.by, {"remarks": self.why})


NONE_UNDER_WAY: Final = "no loop check of {!r} is under way"


def ended(core: "Core", at: Instant, check: LoopCheck, how: str, by: str, filled: Mapping[str, str]) -> Outcome:
    """End a check in whatever way: the loop measures again, its alarms are back in service, the record is written."""
    core.checks.end(check.instrument)
    for tank in tanks_of(core, check.instrument):
        core.keepers[tank].doubt()
    record = {"item": item_of(core, check.instrument)} | record_of(check, how, at.time_ms, by, filled)
    decisions: list[Decision] = [Decision(KIND, {"change": how, **record})]
    transitions: tuple[Transition, ...] = ()
    hidden = [alarm for alarm in check.hidden if core.alarms.view(alarm) is not None]  # the site file may have changed
    if hidden:
        back = core.desk.return_to_service(at, hidden, by or check.by, f"loop check {how}")
        decisions += alarm_decisions(back)
        transitions = back.transitions
    return Outcome(_told({"record": record}), decisions, transitions)


def time_over(core: "Core", at: Instant, check: LoopCheck) -> Outcome:
    """Nobody finished it in time: it returns by itself, with what was taken until then."""
    return ended(core, at, check, TIME_OVER, "", {})


def _told(body: Json) -> Answer:
    return Answer(How.DONE, "", body)


def start_of(fields: Json) -> Start:
    return Start(
        text_of(fields, "instrument"),
        text_of(fields, "by"),
        _number(fields, "minutes"),
        text_of(fields, "covered_by", ""),
        text_of(fields, "at_rest", ""),
        text_of(fields, "permit", ""),
    )


def step_act_of(fields: Json) -> TakeStep:
    return TakeStep(
        text_of(fields, "instrument"),
        text_of(fields, "by", ""),
        text_of(fields, "run", ""),
        _number(fields, "point_mA"),
        text_of(fields, "direction", ""),
        _number(fields, "applied_mA"),
        _number(fields, "shown_mA"),
    )


def finish_of(fields: Json) -> Finish:
    filled = {name: text_of(fields, name, "") for name in FIELDS}
    due = filled["reference_due"]
    if due:
        try:
            date.fromisoformat(due)
        except ValueError:
            raise CallError(f"reference_due {due!r} is no date; write it as 2026-01-31") from None
    return Finish(text_of(fields, "instrument"), text_of(fields, "by"), filled)


def abort_of(fields: Json) -> Abort:
    return Abort(text_of(fields, "instrument"), text_of(fields, "by"), text_of(fields, "why", ""))


def _number(fields: Json, name: str) -> float | None:
    """A number among the fields, None where it is left out. Raises `CallError` for what is none."""
    value = fields.get(name)
    if value is None:
        return None
    if not is_number(value):
        raise CallError(f"{name} {value!r} is no number")
    return float(value)


LOOP_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {
        "start_loop_check": start_of,
        "take_loop_step": step_act_of,
        "finish_loop_check": finish_of,
        "abort_loop_check": abort_of,
    }
)
