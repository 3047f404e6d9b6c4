"""One instrument of several blocks, some of which fail: what is asked, what is left out, what the Sample says."""

from itertools import pairwise

from collector.poll import BLOCK_PATIENCE, MOST_LEFT_OUT, Poller
from collector.spec import InstrumentSpec
from modbus.reply import Failure, Registers
from modbus.signals import RegisterSignal, RegisterType
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample
from tests.collector.fakes import SILENT, WRONG, FakeLine, JumpingClock, counting

BLOCKS = tuple(RegisterSignal(f"s{start}", 3, start, RegisterType.UINT16) for start in (10, 20, 30))
VALUES = {"s10": 10.0, "s20": 20.0, "s30": 30.0}


class Polling:
    """An instrument of three blocks, one of which fails as long as `bad` is set."""

    def __init__(self, failure: Failure, rest_s: float = 0.0) -> None:
        self.bad: set[int] = {20}
        clock = JumpingClock()

        def answer(unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
            failed = start in self.bad
            self.line.rest_s = rest_s if failed else 0.0
            return failure if failed else counting(unit, function, start, quantity)

        self.line = FakeLine(clock, answer)
        self.line.is_open = True
        self.poller = Poller(InstrumentSpec("LT-1", 1, BLOCKS), 500)
        self._clock = clock

    async def poll(self) -> tuple[Sample, list[int]]:
        before = len(self.line.asked)
        polled = await self.poller.poll(self.line, self._clock)
        assert polled.requests == len(self.line.asked) - before
        return polled.sample, [start for *_, start, _ in self.line.asked[before:]]


def without(name: str) -> dict[str, float]:
    return {k: v for k, v in VALUES.items() if k != name}


async def test_a_silent_block_comes_last_from_the_next_poll_on_and_hides_no_other() -> None:
    polling = Polling(SILENT)
    sample, asked = await polling.poll()
    assert (sample.values, asked) == ({"s10": 10.0}, [10, 20])
    sample, asked = await polling.poll()
    assert (sample.values, asked) == (without("s20"), [10, 30, 20])
    assert sample.outcome == TIMEOUT


async def test_on_a_line_that_must_rest_a_wrong_block_ends_the_poll_too() -> None:
    resting = Polling(WRONG, rest_s=0.5)
    assert [(await resting.poll())[1] for _ in range(2)] == [[10, 20], [10, 30, 20]]
    tcp = Polling(WRONG)
    assert [(await tcp.poll())[1] for _ in range(2)] == [[10, 20, 30], [10, 30, 20]]


async def test_a_block_that_keeps_failing_beside_others_is_asked_ever_less_and_still_told() -> None:
    polling = Polling(WRONG)
    with_it = []
    for n in range(60):
        sample, asked = await polling.poll()
        assert sample.values == without("s20")
        assert sample.outcome == WRONG_REPLY
        if 20 in asked:
            with_it.append(n)
    gaps = [b - a for a, b in pairwise(with_it)]
    assert gaps[: BLOCK_PATIENCE - 1] == [1] * (BLOCK_PATIENCE - 1)
    assert gaps[BLOCK_PATIENCE - 1 :] == sorted(gaps[BLOCK_PATIENCE - 1 :])
    assert max(gaps) == MOST_LEFT_OUT + 1
    polling.bad.clear()
    samples = [(await polling.poll())[0] for _ in range(MOST_LEFT_OUT + 2)]
    assert samples[-1].values == VALUES
    assert samples[-1].outcome == OK
    assert [s.outcome for s in samples] == sorted((s.outcome for s in samples), reverse=True)
    polling.bad.add(20)
    assert [20 in (await polling.poll())[1] for _ in range(3)] == [True] * 3, "its past counts no more"


async def test_a_unit_that_was_silent_as_a_whole_is_read_whole_at_its_first_answer() -> None:
    polling = Polling(SILENT)
    polling.bad = {10, 20, 30}
    for _ in range(20):
        sample, asked = await polling.poll()
        assert not sample.values
        assert len(asked) == 1
    polling.bad.clear()
    assert (await polling.poll())[0].values == VALUES


async def test_a_patient_poll_waits_as_long_as_the_site_allows() -> None:
    polling = Polling(SILENT)
    polling.bad.clear()
    for _ in range(10):
        await polling.poll()
    learned = polling.line.patience[-1]
    assert learned is not None
    assert learned < 500
    await polling.poller.poll(polling.line, polling._clock, patient=True)
    assert polling.line.patience[-3:] == [None] * 3


async def test_a_time_out_is_learned_from_answers_only() -> None:
    polling = Polling(SILENT)
    assert polling.poller.times.last_ms is None
    await polling.poll()
    assert polling.poller.times.last_ms == 10.0


async def test_a_device_that_says_it_has_no_value_answered_but_gives_none_and_never_zero() -> None:
    """NaN (IEEE 754), a device's own code, a digit above nine, a value beyond its bounds: the wire is sound in all."""
    registers = {10: 0x7FC0, 11: 0x0000, 12: 0x8000, 13: 0x12A4, 14: 999, 15: 0}
    signals = (
        RegisterSignal("nan", 3, 10, RegisterType.FLOAT32),
        RegisterSignal("code", 3, 12, RegisterType.INT16, invalid=(0x8000,)),
        RegisterSignal("bcd", 3, 13, RegisterType.BCD16),
        RegisterSignal("beyond", 3, 14, RegisterType.UINT16, valid_max=500.0),
        RegisterSignal("zero", 3, 15, RegisterType.UINT16),
    )
    clock = JumpingClock()
    line = FakeLine(clock, lambda unit, function, start, count: tuple(registers[start + n] for n in range(count)))
    line.is_open = True
    sample = (await Poller(InstrumentSpec("LT-1", 1, signals), 500).poll(line, clock)).sample
    assert sample.values == {"nan": None, "code": None, "bcd": None, "beyond": None, "zero": 0.0}
    assert sample.outcome == OK
    assert sample.answered
    assert sample.raw["nan"] == (0x7FC0, 0)
