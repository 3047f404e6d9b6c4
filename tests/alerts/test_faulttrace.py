"""Which samples belong to a fault. The rule is the site's own setting (before, after, sparse); no published text."""

import json
from itertools import pairwise

import pytest

from alerts.faults import FaultTracker
from alerts.faulttrace import MOST_A_DAY, FaultTraces, TraceSpec
from alerts.heard import Heard
from alerts.spec import LoopFacts
from models.reading import Sample
from tests.alerts.timelines import START_MS, instant, loop, sample

SPEC = TraceSpec(before_ms=10_000, after_ms=20_000, sparse_ms=60_000)


class Farm:
    """One loop, its tracker and its traces, and all that was handed out to be kept."""

    def __init__(self, facts: LoopFacts | None = None, spec: TraceSpec = SPEC) -> None:
        self.loop = facts or loop()
        self.tracker = FaultTracker([self.loop])
        self.traces = FaultTraces([self.loop], spec)
        self.kept: dict[int, list[float]] = {}
        self.begun: list[tuple[str, int]] = []

    def play(self, start: int, end: int, current: float, step: int = 1) -> None:
        for second in range(start, end, step):
            one = sample(current, second)
            self.hear(second, one)

    def hear(self, second: float, one: Sample) -> None:
        now = instant(second)
        self.traces.hear(Heard(now.elapsed_ms, one, one.values.get("current"), None, ""))
        self.traces.tell(now, self.tracker.step(now, [one]))
        kept = self.traces.take()
        self.begun += kept.begun
        for row in kept.rows:
            self.kept.setdefault(row.number, []).append((row.sample.time_ms - START_MS) / 1000)


def test_a_trace_has_every_sample_before_and_after_the_start_then_sparse_ones_then_the_end() -> None:
    farm = Farm()
    farm.play(0, 100, 12.0)
    farm.play(100, 300, 3.5)
    farm.play(300, 310, 12.0)
    # start at 100 s: all from 90 to 120 s, then one a minute, then the clean samples by which the end was judged
    assert farm.kept == {1: [*range(90, 121), 180, 240, 300, 301, 302, 303, 304]}
    assert farm.begun == [("L1", 1)]
    farm.play(310, 400, 12.0)
    assert sum(map(len, farm.kept.values())) == 31 + 3 + 4


def test_a_stretch_that_is_told_late_is_kept_from_before_its_start() -> None:
    farm = Farm(loop(watched=(("current", 0.01),), frozen_after_ms=300_000))
    for second in range(600):  # noise of two steps: the loop must live
        farm.play(second, second + 1, 12.0 + (second * 7 % 5) * 0.01)
    farm.play(600, 920, 12.0)
    assert farm.tracker.current() == {"L1": "frozen"}
    first = min(farm.kept[1])
    start = (farm.tracker.open_faults()[0].start_ms - START_MS) / 1000
    assert first == start - 10
    declared = max(s for s in farm.kept[1] if s - 1 in farm.kept[1])
    assert farm.kept[1][: int(declared - first) + 1] == list(range(int(first), int(declared) + 1))
    assert declared >= start + 300


def test_a_fault_of_a_year_is_kept_with_some_thousand_samples() -> None:
    farm = Farm()
    farm.play(0, 10, 12.0)
    farm.play(10, 366 * 86_400, 3.5, step=300)
    # computed: a part of 1/500 of its age from 42 h on (300 s x 500): 500 x ln(365 x 24 / 42) and 500 before
    assert 2_500 < len(farm.kept[1]) < 3_500
    gaps = [b - a for a, b in pairwise(farm.kept[1])]
    assert set(gaps[20:400]) == {300}
    assert 60_000 < max(gaps) < 86_400


def test_two_faults_at_once_have_each_their_own_trace() -> None:
    farm = Farm()
    farm.play(0, 30, 12.0)
    farm.play(30, 40, 3.5)
    for second in range(40, 50):
        farm.hear(second, sample(None, second, "timeout"))
    assert sorted(farm.kept) == [1, 2]
    assert farm.kept[1][0] == 20
    assert farm.kept[2][0] == 30
    assert farm.kept[1][-1] == farm.kept[2][-1] == 49


def test_a_trace_under_way_goes_on_after_a_restart() -> None:
    farm = Farm()
    farm.play(0, 30, 12.0)
    farm.play(30, 40, 3.5)
    state = json.loads(json.dumps({"f": farm.tracker.save(), "t": farm.traces.save(False)}))
    again = Farm()
    again.tracker.restore(state["f"])
    again.traces.restore(state["t"])
    assert again.traces.save(False) == state["t"]
    again.play(41, 120, 3.5)
    again.play(120, 130, 12.0)
    assert again.begun == []
    assert again.kept == {1: [*range(41, 51), 110, *range(120, 125)]}
    assert again.traces.save(False) == {}


def test_what_changed_is_told_once_and_an_ended_trace_is_taken_off() -> None:
    farm = Farm()
    farm.play(0, 10, 12.0)
    assert farm.traces.save(True) == {}
    farm.play(10, 15, 3.5)
    assert set(farm.traces.save(True)) == {"L1"}
    assert farm.traces.save(True) == {}
    farm.play(15, 25, 12.0)
    assert farm.traces.save(True)["L1"]["1"][-1] is True  # it has ended, and its time after goes on
    farm.play(25, 40, 12.0)
    assert farm.traces.save(True) == {"L1": None}


def test_strangers_pass_by_and_a_site_without_them_leaves_their_traces_alone() -> None:
    traces = FaultTraces([loop()], SPEC)
    traces.hear(Heard(0, sample(12.0, 0, instrument="L9"), 12.0, None, ""))
    traces.restore({"L9": {"1": [0, 0, 0]}})
    assert traces.take().rows == []
    assert traces.save(False) == {}


@pytest.mark.parametrize("before", [0, 5_000])
def test_a_trace_needs_no_samples_from_before(before: int) -> None:
    farm = Farm(spec=TraceSpec(before_ms=before, after_ms=0, sparse_ms=60_000))
    farm.play(0, 30, 12.0)
    farm.play(30, 60, 3.5)
    assert farm.kept[1][0] == 30 - before / 1000
    assert farm.kept[1][-1] == 34  # the sample at which it was declared


def test_the_time_after_a_short_fault_is_kept_to_its_last_second() -> None:
    farm = Farm()
    farm.play(0, 100, 12.0)
    farm.play(100, 106, 3.5)
    farm.play(106, 200, 12.0)
    assert farm.kept == {1: list(range(90, 121))}
    assert farm.traces.save(False) == {}


def test_a_terminal_that_flaps_all_day_fills_no_disk() -> None:
    farm = Farm(spec=TraceSpec())
    for start in range(0, 86_400 - 60, 20):
        farm.play(start, start + 12, 12.0)
        farm.play(start + 12, start + 20, 3.5)
    rows = sum(map(len, farm.kept.values()))
    faults = len(farm.kept)
    assert faults > 4000
    assert MOST_A_DAY < rows < MOST_A_DAY + 15 * faults
    assert len(farm.kept[faults]) < 15
    farm.play(2 * 86_400, 2 * 86_400 + 200, 12.0)
    farm.play(2 * 86_400 + 200, 2 * 86_400 + 400, 3.5)
    assert len(farm.kept[max(farm.kept)]) > 200  # another day: at full rate again


def test_what_stood_around_each_sample_is_kept_with_it() -> None:
    farm = Farm()
    for second in range(10):
        now = instant(second)
        heard = Heard(now.elapsed_ms, sample(3.5, second), 3.5, None, "", {"supply": 24.0 - second})
        farm.traces.hear(heard)
        farm.traces.tell(now, farm.tracker.step(now, [heard.sample]))
    assert [row.around["supply"] for row in farm.traces.take().rows] == [24.0 - second for second in range(10)]
