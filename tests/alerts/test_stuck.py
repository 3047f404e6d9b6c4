"""A level that is flat while a meter says that its tank is moved. Rule: common practice, no source.

The figures are computed: a 12 m loop has 0.75 m a mA; 1 mm/s are 0.08 mA a minute.
"""

import json
import random
from collections.abc import Iterator

from alerts.faults import FaultTracker
from models.reading import Sample
from tests.alerts.timelines import change_words, instant, loop, sample

RISES = {"L1": 0.0005}  # 0.5 mm/s: 30 mm in a minute


def tracker(**changes: object) -> FaultTracker:
    facts = {"watched": (("current", 0.01),), "m_per_unit": {"current": 0.75}, "frozen_after_ms": 60_000, **changes}
    return FaultTracker([loop(**facts)])


def play(
    t: FaultTracker, currents: list[float], metered: dict[str, float], first: int = 0
) -> Iterator[tuple[int, str]]:
    for second, mA in enumerate(currents, first):
        for change in t.step(instant(second), [sample(mA, second)], frozenset(), metered):
            yield second, change_words(change)


def test_a_flat_level_is_frozen_as_soon_as_the_meter_s_movement_should_have_shown_by_far() -> None:
    # 10 steps of 7.5 mm are 75 mm: 150 s at 0.5 mm/s (computed)
    t = tracker()
    told = list(play(t, [12.0] * 400, RISES))
    assert told == [(150, "declared frozen 0- 12..12")]
    assert t.out_of_trust("L1")
    assert list(play(t, [12.0] * 20 + [12.05] * 10, {}, 400)) == [(424, "ended frozen 0-420 12..12")]
    assert not t.out_of_trust("L1")


def test_a_tank_at_rest_a_short_movement_and_a_level_that_follows_are_not_frozen() -> None:
    assert list(play(tracker(), [12.0] * 3000, {})) == []
    assert list(play(tracker(), [12.0] * 140, RISES)) == []
    rising = [round((12 + 0.0005 / 0.75 * s) / 0.01) * 0.01 for s in range(3000)]
    assert list(play(tracker(), rising, RISES)) == []


def test_a_level_that_moves_too_little_is_not_flat_and_gets_no_verdict() -> None:
    """Somebody draws from the tank past the meter: the level goes on moving, slower than the meter says."""
    slow = [round((12 + 0.0002 / 0.75 * s) / 0.01) * 0.01 for s in range(3000)]
    assert list(play(tracker(), slow, RISES)) == []


def test_its_own_noise_does_not_hide_a_held_level() -> None:
    rng = random.Random(4)
    t = tracker(watched=(("current", None),))
    noisy = [12 + rng.gauss(0, 0.002) for _ in range(900)]
    told = list(play(t, noisy, RISES))
    assert len(told) == 1
    assert told[0][1].startswith("declared frozen")
    moving = [12 + rng.gauss(0, 0.002) + 0.0005 / 0.75 * s for s in range(900)]
    assert list(play(tracker(watched=(("current", None),)), moving, RISES)) == []


def test_a_failure_in_between_begins_the_stretch_anew() -> None:
    t = tracker()
    first = list(play(t, [12.0] * 100 + [3.0], RISES))
    assert first == []
    assert list(play(t, [12.0] * 149, RISES, 101)) == []
    assert [w for _, w in play(t, [12.0] * 10, RISES, 250)] == ["declared frozen 101- 12..12"]


def test_a_declared_one_outlives_a_restart_and_ends_when_the_level_moves() -> None:
    t = tracker()
    list(play(t, [12.0] * 200, RISES))
    again = tracker()
    again.restore(json.loads(json.dumps(t.save())))
    assert again.out_of_trust("L1")
    assert [w for _, w in play(again, [12.0] * 5 + [12.1] * 10, {}, 200)] == ["ended frozen 0-205 12..12"]
    old = t.save()["L1"]
    del old["stuck"]
    fresh = tracker()
    fresh.restore({"L1": old})
    assert not fresh.out_of_trust("L1")


def test_a_loop_that_is_checked_is_not_called_stuck() -> None:
    t = tracker()
    for second in range(400):
        one: Sample = sample(12.0, second)
        assert t.step(instant(second), [one], {"L1"}, RISES) == []


def test_a_current_at_the_end_of_its_range_is_saturated_and_not_stuck() -> None:
    t = tracker()
    assert [w.split()[1] for _, w in play(t, [20.5] * 400, RISES)] == ["saturated"]
