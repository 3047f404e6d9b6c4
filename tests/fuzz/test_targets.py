"""Every target takes its seeds, and made-up bytes near to them."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.targets import SEEDS, TARGETS

NEAR = st.tuples(st.integers(0, 10**6), st.integers(0, 1), st.binary(max_size=24))


def test_every_target_has_seeds() -> None:
    assert set(SEEDS) == set(TARGETS)
    assert all(SEEDS.values())


@pytest.mark.parametrize("name", TARGETS)
@given(data=st.data())
@settings(max_examples=30, derandomize=True, suppress_health_check=list(HealthCheck))
def test_made_up_bytes_are_taken_or_refused_in_words(name: str, data: st.DataObject) -> None:
    whole = data.draw(st.sampled_from(SEEDS[name]))
    for place, keep, more in data.draw(st.lists(NEAR, max_size=4)):
        at = place % (len(whole) + 1)
        whole = whole[:at] + more + whole[at + (0 if keep else len(more)) :]
    TARGETS[name](whole)
