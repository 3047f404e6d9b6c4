"""The memory of samples: what comes out equals what went in, and what is out of reach is gone."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from alerts.heard import Heard, Memory
from models.reading import Sample

NUMBERS = st.none() | st.floats(allow_nan=False)
NAMES = st.text(min_size=1, max_size=8)
SAMPLES = st.builds(
    Sample,
    instrument=st.just("LT-1"),
    time_ms=st.integers(0, 2**45),
    outcome=st.sampled_from(["ok", "timeout", "exception-02"]),
    values=st.dictionaries(NAMES, NUMBERS, max_size=5),
    raw=st.dictionaries(NAMES, st.lists(st.integers(0, 65535), max_size=4).map(tuple), max_size=5),
    elapsed_ms=st.integers(0, 2**45),
)


@given(SAMPLES, NUMBERS, NUMBERS, st.sampled_from(["", "filling", "still"]), st.dictionaries(NAMES, st.floats(0, 9)))
def test_nothing_is_lost_or_rounded(
    sample: Sample, current: float | None, level: float | None, movement: str, around: dict[str, float]
) -> None:
    memory = Memory("LT-1", 1000)
    heard = Heard(5, sample, current, level, movement, around)
    memory.append(heard)
    assert list(memory.since()) == [heard]
    assert memory.elapsed_at(sample.time_ms) == 5


def test_what_is_out_of_reach_is_forgotten() -> None:
    memory = Memory("LT-1", 1000)
    for elapsed_ms in (0, 400, 1000, 1400, 1401):
        memory.append(Heard(elapsed_ms, Sample("LT-1", elapsed_ms, "ok", {"level": 1.0}), None, None, ""))
    assert [heard.elapsed_ms for heard in memory.since()] == [1000, 1400, 1401]
    assert [heard.elapsed_ms for heard in memory.since(1400)] == [1400, 1401]
    assert memory.elapsed_at(400) is None


def test_a_number_of_an_array_library_comes_back_as_a_number() -> None:
    memory = Memory("gauge", 60_000)
    sample = Sample("gauge", 5, "ok", {"level": np.float64(1.25), "water": None})
    memory.append(Heard(1, sample, np.float64(12.0), np.float64(7.5), "still", {"supply": np.float64(24.0)}))
    (back,) = memory.since()
    assert (back.current_mA, back.level_m) == (12.0, 7.5)
    assert back.sample.values == {"level": 1.25, "water": None}
    assert back.around == {"supply": 24.0}
    assert type(back.current_mA) is float
