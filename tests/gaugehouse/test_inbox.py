import asyncio
from collections.abc import Sequence
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from gaugehouse.inbox import MOST_WAITING, Arrival, Batch, Inbox, PendingAct, Ticker
from models.reading import OK, Sample

ORDER = {"a": 0, "b": 1, "c": 2}


def sample(instrument: str, time_ms: int, elapsed_ms: int | None = None) -> Arrival:
    return Arrival(time_ms, time_ms if elapsed_ms is None else elapsed_ms, Sample(instrument, time_ms, OK, {}))


def batches(ticker: Ticker, *arrivals: Arrival) -> list[Batch]:
    return list(ticker.batches(arrivals))


def test_equal_stamps_are_one_tick_in_the_site_file_s_order() -> None:
    (first, second) = batches(Ticker(7, 0, ORDER), sample("c", 1000), sample("a", 1000), sample("b", 1001))
    assert [s.instrument for s in first.tick.samples] == ["a", "c"]
    assert (first.tick.at.seq, second.tick.at.seq) == (8, 9)


def test_a_stamp_that_was_used_is_moved_on_so_that_ticks_never_share_a_time() -> None:
    ticker = Ticker(0, 0, ORDER)
    (first,) = batches(ticker, sample("a", 1000))
    (second,) = batches(ticker, sample("b", 1000))
    assert (first.tick.at.time_ms, second.tick.at.time_ms) == (1000, 1001)
    assert second.tick.samples[0].time_ms == 1001


def test_elapsed_time_follows_the_stamps_until_the_clock_is_stepped() -> None:
    ticker = Ticker(0, 500, ORDER)
    batches(ticker, sample("a", 10_000, 0))
    (near,) = batches(ticker, sample("a", 11_007, 1000))
    assert near.tick.at.elapsed_ms == 1507
    assert near.clock_step is None
    (back,) = batches(ticker, sample("a", 11_007 - 3_600_000, 2000))
    assert back.tick.at.elapsed_ms == 2507
    assert back.clock_step is not None
    assert back.clock_step.step_ms == -3_600_000 - 1000
    (on,) = batches(ticker, sample("a", 11_007 + 3_600_000, 3000))
    assert on.tick.at.elapsed_ms == 3507
    assert on.clock_step is not None


@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 40)), min_size=1, max_size=30), st.data())
def test_however_arrivals_are_cut_the_ticks_hold_the_same_samples(
    steps: list[tuple[str, int]], data: st.DataObject
) -> None:
    time_ms, arrivals = 1000, []
    for instrument, step in steps:
        time_ms += step
        arrivals.append(sample(instrument, time_ms))

    def run(cuts: Sequence[int]) -> list[Batch]:
        ticker, out, start = Ticker(0, 0, ORDER), [], 0
        for cut in [*cuts, len(arrivals)]:
            out += ticker.batches(arrivals[start:cut])
            start = cut
        return out

    cuts = sorted(data.draw(st.sets(st.integers(1, len(arrivals)), max_size=4)))
    for got in (run([]), run(cuts)):
        assert sum(len(b.tick.samples) for b in got) == len(arrivals)
        elapsed = [b.tick.at.elapsed_ms for b in got]
        assert elapsed == sorted(elapsed)
        times = [b.tick.at.time_ms for b in got]
        assert all(x != y for x, y in pairwise(times))
        assert [b.tick.at.seq for b in got] == list(range(1, len(got) + 1))


async def test_take_waits_for_something_and_gives_all_of_it() -> None:
    inbox = Inbox()
    taking = asyncio.ensure_future(inbox.take())
    await asyncio.sleep(0)
    assert not taking.done()
    inbox.put(sample("a", 1))
    inbox.put(sample("b", 2))
    assert [a.time_ms for a in await taking] == [1, 2]
    assert len(inbox) == 0


async def test_a_full_inbox_drops_the_oldest_sample_and_counts_it_but_never_an_act() -> None:
    inbox = Inbox()
    act = PendingAct(None, asyncio.get_running_loop().create_future())  # type: ignore[arg-type]
    inbox.put(sample("a", 0))
    for k in range(MOST_WAITING - 1):
        inbox.put(sample("a", k))
    inbox.put(Arrival(1, 1, act))
    assert inbox.dropped == 1
    assert len(inbox) == MOST_WAITING
    assert (await inbox.take())[-1].item is act
