"""Timelines written as small tables: what came in at which second, and what is expected to come out.

Left of the bar: the second, then what was read. Right of it: everything that must be told at that tick, and no more.
"""

from collections.abc import Iterator, Sequence

from alerts.conditions import TankFacts
from alerts.engine import AlarmEngine, Transition
from alerts.faults import FaultChange, FaultTracker
from alerts.spec import Limit, LoopFacts, TankAlarms
from models.reading import OK, TIMEOUT, Bound, Instant, Quality, Reading, Reason, Sample

START_MS = 1_700_000_000_000
"""The wall clock at second 0; elapsed time starts elsewhere on purpose."""

ELAPSED_MS = 5_000


def instant(second: float, seq: int = 0) -> Instant:
    ms = round(second * 1000)
    return Instant(seq, START_MS + ms, ELAPSED_MS + ms)


def reading(level_m: float | None, quality: str = "Good", bound: str = "", tank: str = "T1") -> Reading:
    q = {"Good": Quality.GOOD, "Uncertain": Quality.UNCERTAIN, "Bad": Quality.BAD}[quality]
    return Reading(0, 0, tank, q, Reason.NONE, level_m=level_m, bound=Bound(bound))


def sample(current_mA: float | None, second: float = 0.0, outcome: str = OK, instrument: str = "L1") -> Sample:
    values = {} if outcome != OK else {"current": current_mA}
    return Sample(instrument, START_MS + round(second * 1000), outcome, values)


def lines(table: str) -> Iterator[tuple[float, list[str], list[str]]]:
    for line in table.strip().splitlines():
        left, _, right = line.partition("|")
        second, _, what = left.strip().partition(" s")
        yield float(second), what.split(), [part.strip() for part in right.split(",") if part.strip()]


def one_tank(*limits: Limit) -> AlarmEngine:
    return AlarmEngine([TankAlarms("T1", "L1", limits)], ["L1"])


def facts_of(words: Sequence[str]) -> list[TankFacts]:
    """`9.91 Good`, `- Bad`, `12 Bad ge`; `rise 0.2` or `fall 0.2` (m/s); nothing at all is a tick of somebody else."""
    if not words:
        return []
    if words[0] in ("rise", "fall"):
        rate = None if words[1] == "-" else float(words[1]) * (1 if words[0] == "rise" else -1)
        return [TankFacts(reading(5.0), rise_m_per_s=rate)]
    level = None if words[0] == "-" else float(words[0])
    return [TankFacts(reading(level, words[1], words[2] if len(words) > 2 else ""))]


def told(transition: Transition) -> str:
    return f"{transition.condition} {transition.event} -> {transition.state}"


def play_alarms(engine: AlarmEngine, table: str) -> None:
    """Run a timeline of one tank. `ack CONDITION OCCURRENCE NAME` is a person's act, told as its answer's status."""
    for seq, (second, words, expected) in enumerate(lines(table), 1):
        if words[:1] == ["ack"]:
            answer = engine.acknowledge(instant(second, seq), f"T1.{words[1]}", int(words[2]), words[3])
            found = [answer.status] + ([] if answer.transition is None else [told(answer.transition)])
        else:
            found = [told(t) for t in engine.step(instant(second, seq), facts_of(words), {})]
        assert found == expected, f"at {second:g} s"


def change_words(change: FaultChange) -> str:
    fault = change.fault
    start = (fault.start_ms - START_MS) / 1000
    end = "" if fault.end_ms is None else f"{(fault.end_ms - START_MS) / 1000:g}"
    extremes = "" if fault.min_mA is None else f" {fault.min_mA:g}..{fault.max_mA:g}"
    return f"{change.change} {fault.fault_class} {start:g}-{end}{extremes}"


def samples_of(second: float, words: Sequence[str]) -> list[Sample]:
    """`3.5` mA, `nan` (no number), `timeout`, `wrong-reply`, `exception-02`; nothing is a tick of somebody else."""
    found = []
    for word in words:
        if word in (TIMEOUT, "wrong-reply") or word.startswith("exception"):
            found.append(sample(None, second, word))
        else:
            found.append(sample(None if word == "nan" else float(word), second))
    return found


def loop(**changes: object) -> LoopFacts:
    return LoopFacts(**{"instrument": "L1", "current_signal": "current", **changes})  # type: ignore[arg-type]


def play_faults(tracker: FaultTracker, table: str) -> None:
    """Run a timeline of one loop."""
    for seq, (second, words, expected) in enumerate(lines(table), 1):
        found = [change_words(c) for c in tracker.step(instant(second, seq), samples_of(second, words))]
        assert found == expected, f"at {second:g} s"
