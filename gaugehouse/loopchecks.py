"""Loop checks that are under way: who does one, until when, what it blinds, and the steps that were taken.

A check is an act of a named person. While it is under way the loop's current is simulated, so that the level says
nothing: device status function check (NE 107), quality BadOutOfService, the blinded alarms out of service (ISA-18.2).
It is limited in time and returns by itself: judged at ticks by elapsed time, over a restart by the site's clock.
Refuses to know pages and papers; no I/O, no clock.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

from models.loopcheck import SEQUENCE, Direction, Evaluation, Step, current_of_fraction, evaluate
from models.reading import Instant
from models.signal import span_fraction

KIND: Final = "loop_check"
"""The kind of the record book's entries."""

AS_FOUND: Final = "as_found"
AS_LEFT: Final = "as_left"
RUNS: Final = (AS_FOUND, AS_LEFT)

FINISHED: Final = "finished"
ABORTED: Final = "aborted"
TIME_OVER: Final = "time over"

HEARD: Final = 60
"""So many of the newest samples are kept for the next step."""

Json = dict[str, Any]


class Taken(NamedTuple):
    """One step of a run. how: "live" (mean of `samples`, `spread_mA` apart) or "typed". level_m: what the level signal
    showed then, unclamped; expected_m: what the applied current stands for. None where it is not known."""

    run: str
    point_mA: float
    direction: str
    applied_mA: float
    shown_mA: float
    how: str
    by: str
    time_ms: int
    spread_mA: float | None = None
    samples: int | None = None
    level_m: float | None = None
    expected_m: float | None = None

    @property
    def place(self) -> tuple[float, Direction]:
        return self.point_mA, Direction(self.direction)


class Heard(NamedTuple):
    """One live sample of a loop under check: its current, else the current that stands for its level."""

    current_mA: float | None
    level_m: float | None


class Range(NamedTuple):
    """The innages of a loop's tank at 4 and at 20 mA."""

    at_4mA_m: float
    at_20mA_m: float

    def level_m(self, current_mA: float) -> float:
        return self.at_4mA_m + span_fraction(current_mA) * (self.at_20mA_m - self.at_4mA_m)

    def fraction(self, level_m: float) -> float:
        return (level_m - self.at_4mA_m) / (self.at_20mA_m - self.at_4mA_m)


@dataclass(slots=True)
class LoopCheck:
    """A check that is under way. `own_level`: the level comes by a signal of its own beside the current, and is judged
    too. `before_m`: the last good level of each tank that it blinds. `hidden`: the alarms that it took out of service:
    these and no others it brings back."""

    number: int
    instrument: str
    by: str
    started_ms: int
    until_ms: int
    until_elapsed_ms: int
    limit_percent: float
    range: Range | None
    own_level: bool
    blinds: tuple[str, ...]
    before_m: Mapping[str, float | None]
    covered_by: str = ""
    at_rest: str = ""
    permit: str = ""
    hidden: tuple[str, ...] = ()
    steps: list[Taken] = field(default_factory=list)
    heard: deque[Heard] = field(default_factory=lambda: deque(maxlen=HEARD))

    def of(self, run: str) -> list[Taken]:
        """The steps of one run, in the guided order; a step that was taken again counts as it was taken last."""
        newest = {step.place: step for step in self.steps if step.run == run}
        return [newest[place] for place in SEQUENCE if place in newest]

    def next(self) -> tuple[str, float, Direction] | None:
        """The step to be taken next: as found first, then as left; None when both are whole."""
        for run in RUNS:
            taken = {step.place for step in self.of(run)}
            for point, direction in SEQUENCE:
                if (point, direction) not in taken:
                    return run, point, direction
        return None

    def json(self) -> Json:
        """Everything but the live samples: what is saved, and what a record begins with."""
        return {
            "number": self.number,
            "instrument": self.instrument,
            "by": self.by,
            "started_ms": self.started_ms,
            "until_ms": self.until_ms,
            "until_elapsed_ms": self.until_elapsed_ms,
            "limit_percent": self.limit_percent,
            "range": None if self.range is None else list(self.range),
            "own_level": self.own_level,
            "blinds": list(self.blinds),
            "before_m": dict(self.before_m),
            "covered_by": self.covered_by,
            "at_rest": self.at_rest,
            "permit": self.permit,
            "hidden": list(self.hidden),
            "steps": [step._asdict() for step in self.steps],
        }

    @classmethod
    def restored(cls, saved: Json) -> "LoopCheck":
        told = dict(saved)
        told["range"] = None if told["range"] is None else Range(*told["range"])
        told["blinds"], told["hidden"] = tuple(told["blinds"]), tuple(told["hidden"])
        told["steps"] = [Taken(**step) for step in told["steps"]]
        return cls(**told)


def heard_of(check: LoopCheck, current_mA: float | None, fraction: float | None) -> Heard:
    """One live sample. fraction: what the level signal says, as a part of the loop's range."""
    if fraction is None:
        return Heard(current_mA, None)
    shown = current_of_fraction(fraction)
    level = None if check.range is None else check.range.level_m(shown)
    return Heard(shown if current_mA is None else current_mA, level)


def judged(check: LoopCheck, run: str) -> tuple[Evaluation, Evaluation | None]:
    """What a run says of the current (or of the level as a current), and of the level signal where it is its own."""
    steps = check.of(run)
    current = evaluate([_step(s, s.shown_mA) for s in steps], check.limit_percent)
    span = check.range
    if not check.own_level or span is None:
        return current, None
    levels = [_step(s, current_of_fraction(span.fraction(s.level_m))) for s in steps if s.level_m is not None]
    return current, evaluate(levels, check.limit_percent) if levels else None


def _step(taken: Taken, shown_mA: float) -> Step:
    return Step(taken.point_mA, Direction(taken.direction), taken.applied_mA, shown_mA)


def passes(said: Sequence[Evaluation | None]) -> bool | None:
    """The verdict over the evaluations that there are: one failed fails, one open leaves it open."""
    verdicts = [one.passes for one in said if one is not None]
    return False if False in verdicts else None if None in verdicts else True


def record_of(check: LoopCheck, how: str, ended_ms: int, ended_by: str, filled: Mapping[str, str]) -> Json:
    """The loop check record: what was done, what came out, and what people wrote, as JSON values.

    filled: see `console.check_words`.
    """
    runs = {}
    for run in RUNS:
        steps = check.of(run)
        if steps:
            current, level = judged(check, run)
            runs[run] = {
                "steps": [
                    step._asdict() | {"error_percent": _step(step, step.shown_mA).error_percent} for step in steps
                ],
                "current": _evaluation(current),
                "level": None if level is None else _evaluation(level),
                "passes": passes((current, level)),
            }
    last = next((runs[run] for run in reversed(RUNS) if run in runs), None)
    body = check.json()
    for inner in ("until_elapsed_ms", "steps", "hidden"):
        del body[inner]
    return body | {
        "how": how,
        "ended_ms": ended_ms,
        "ended_by": ended_by,
        "runs": runs,
        "passes": None if last is None or how != FINISHED else last["passes"],
        "filled": {name: text for name, text in filled.items() if text},
    }


def _evaluation(said: Evaluation) -> Json:
    body = said._asdict()
    body["missing"] = [f"{point:g} mA {direction.value}" for point, direction in said.missing]
    return body


class LoopChecks:
    """The checks of a site that are under way, one an instrument at the most."""

    def __init__(self) -> None:
        self._checks: dict[str, LoopCheck] = {}
        self._number = 0
        self._dirty: set[str] = set()
        self._restored = False

    def __bool__(self) -> bool:
        return bool(self._checks)

    def get(self, instrument: str) -> LoopCheck | None:
        return self._checks.get(instrument)

    def under_way(self) -> list[LoopCheck]:
        """In the order in which they were started."""
        return sorted(self._checks.values(), key=lambda check: check.number)

    def instruments(self) -> frozenset[str]:
        return frozenset(self._checks)

    def next_number(self) -> int:
        return self._number + 1

    def begin(self, check: LoopCheck) -> None:
        self._number = check.number
        self._checks[check.instrument] = check
        self._dirty |= {NUMBER, check.instrument}

    def hear(self, instrument: str, heard: Heard) -> None:
        """A live sample of a loop under check."""
        self._checks[instrument].heard.append(heard)

    def take(self, instrument: str, step: Taken) -> None:
        check = self._checks[instrument]
        check.steps.append(step)
        check.heard.clear()  # the next step must be heard anew
        self._dirty.add(instrument)

    def end(self, instrument: str) -> LoopCheck:
        self._dirty.add(instrument)
        return self._checks.pop(instrument)

    def over(self, at: Instant) -> list[LoopCheck]:
        """Those whose time is over. The first tick after a restart goes by the site's clock: elapsed time stood still
        while the daemon was down."""
        if self._restored:
            self._restored = False
            for check in self._checks.values():
                left_ms = max(0, check.until_ms - at.time_ms)
                check.until_elapsed_ms = min(check.until_elapsed_ms, at.elapsed_ms + left_ms)
        return [check for check in self.under_way() if at.elapsed_ms >= check.until_elapsed_ms]

    def save(self, changed_only: bool = False) -> Mapping[str, Any]:
        names = self._dirty if changed_only else {NUMBER, *self._checks}
        saved: dict[str, Any] = {}
        for name in sorted(names):
            check = self._checks.get(name)
            saved[name] = self._number if name == NUMBER else None if check is None else check.json()
        self._dirty = set()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if name == NUMBER:
                self._number = state
            else:
                self._checks[name] = LoopCheck.restored(state)
        self._restored = bool(self._checks)


NUMBER: Final = ".number"
"""The one key of saved state that is no instrument (an id has no dot)."""
