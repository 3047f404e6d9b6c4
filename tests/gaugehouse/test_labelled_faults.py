"""The short form of `tests/bench/bench_diagnosis.py`: labelled faults of the simulator, on seeds of its own.

Independent check: which cause is right is known because the simulator injected it; its physics import nothing of ours.
"""

import pytest

from alerts.diagnosis import Cause, diagnose
from simulator.cases import LABELS
from tests.bench.bench_diagnosis import SHORT_LABELS, Answer, ask, is_right
from tests.bench.labelled import without

pytestmark = pytest.mark.timeout(600)  # days of a farm: many times as long on a busy machine

SEEDS = (700_001, 700_002, 700_003)


def test_every_label_is_a_cause() -> None:
    assert set(LABELS) <= set(Cause)


@pytest.mark.parametrize("label", SHORT_LABELS)
def test_a_labelled_fault_is_told_or_is_said_to_be_unknown(label: str) -> None:
    """A wrong name sends somebody the wrong way: there is none on these seeds, and at most one that nobody can tell."""
    unknown = 0
    for seed in SEEDS:
        asked, blind = ask(label, seed)
        for wired, one in ((True, asked), (False, without(asked))):
            answer = Answer(label, seed, wired, tuple(map(str, diagnose(one).best)), blind)
            assert is_right(answer) or not answer.best, answer
            unknown += wired and not is_right(answer)
    assert unknown <= 1


@pytest.mark.parametrize("label", ["leak", "zero_shift", "span_error"])
def test_a_fault_that_shows_in_a_day_is_told(label: str) -> None:
    asked, _ = ask(label, SEEDS[0])
    assert diagnose(asked).best == (label,)
    assert diagnose(without(asked)).best == (label,)


def test_a_window_without_its_heater_is_told_by_the_heater_s_current_only() -> None:
    asked, _ = ask("heater_dead", SEEDS[0])
    assert diagnose(asked).best == (Cause.HEATER_DEAD,)
    assert set(diagnose(without(asked)).best) == {Cause.FOULED, Cause.HEATER_DEAD}


def test_a_case_is_the_same_each_time() -> None:
    assert ask("starved", 7) == ask("starved", 7)
    assert ask("starved", 7) != ask("starved", 8)
