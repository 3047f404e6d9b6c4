import json

import pytest

from models.reading import OK, TIMEOUT, Quality, Reason, Sample
from models.trust import TrustKeeper
from tests.models.tanks import loop_tank

G, U, B = Quality.GOOD, Quality.UNCERTAIN, Quality.BAD


@pytest.mark.parametrize(
    ("currents", "expected"),
    [
        ([12, 12, 12], [G, G, G]),
        ([12, 3.5, 12, 12, 12, 12, 12], [G, B, U, U, U, U, G]),  # first measuring sample, then 4 s of measuring
        ([12, 3.5, 12, 3.7, 12, 12, 12, 12, 12], [G, B, U, B, U, U, U, U, G]),  # the 4 s start anew
        ([12, 21.5, 20.3, 12, 12, 12, 12], [G, B, U, U, U, U, G]),
        ([12, None, 12], [G, B, G]),  # one lost poll leaves no doubt behind
        ([12, None, None, None, 12, 12, 12, 12, 12], [G, B, B, B, U, U, U, U, G]),  # three make a fault
    ],
)
def test_trust_comes_back_only_after_four_seconds_of_measuring(
    currents: list[float | None], expected: list[Quality]
) -> None:
    tank, keeper = loop_tank(), TrustKeeper()
    seen = []
    for second, current in enumerate(currents):
        sample = Sample(
            "palm-top", 0, TIMEOUT if current is None else OK, {} if current is None else {"current": current}
        )
        seen.append(keeper.judge(second * 1000, tank.measure(sample)).quality)
        keeper.restore(json.loads(json.dumps(keeper.save())))
    assert seen == expected


def test_a_frozen_loop_is_bad_and_comes_back_slowly() -> None:
    tank, keeper = loop_tank(), TrustKeeper()
    measured = tank.measure(Sample("palm-top", 0, OK, {"current": 12.0}))
    assert keeper.judge(0, measured, frozen=True) == (B, Reason.DEVICE_FAILURE)
    assert keeper.judge(1000, measured) == (U, Reason.SUB_NORMAL)
    assert keeper.judge(5000, measured) == (G, Reason.NONE)


def test_a_reading_that_is_uncertain_anyway_keeps_its_own_reason() -> None:
    tank, keeper = loop_tank(), TrustKeeper()
    keeper.judge(0, tank.measure(Sample("palm-top", 0, OK, {"current": 3.5})))
    over = tank.measure(Sample("palm-top", 0, OK, {"current": 20.3}))
    assert keeper.judge(1000, over) == (U, Reason.UNITS_EXCEEDED)
