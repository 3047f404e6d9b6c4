import pytest

from collector.busy import WINDOW_S, Busy


def test_before_the_first_poll_nothing_is_known() -> None:
    assert Busy().share(100.0) is None


@pytest.mark.parametrize(("taken_s", "share"), [(0.0, 0.0), (0.25, 0.25), (1.0, 1.0)])
def test_a_steady_load_is_its_share(taken_s: float, share: float) -> None:
    busy = Busy()
    for second in range(300):
        busy.add(second, second + taken_s)
    assert busy.share(300.0) == pytest.approx(share, abs=0.02)


def test_a_minute_later_it_is_forgotten() -> None:
    busy = Busy()
    for second in range(100):
        busy.add(second, second + 0.9)
    for second in range(100, 165):
        busy.add(second, second + 0.1)
    assert busy.share(165.0) == pytest.approx(0.1, abs=0.02)
    assert busy.share(10_000.0) < 0.001


def test_many_short_polls_keep_one_mark_a_second() -> None:
    busy = Busy()
    for n in range(100_000):
        busy.add(n / 500, n / 500 + 0.001)
    assert busy.share(200.0) == pytest.approx(0.5, abs=0.01)
    assert len(busy._marks) <= WINDOW_S + 2


def test_a_new_bus_is_judged_by_the_time_it_had() -> None:
    busy = Busy()
    busy.add(10.0, 10.5)
    assert busy.share(11.0) == pytest.approx(0.5)
