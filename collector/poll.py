"""One poll of one instrument: its blocks asked one after the other, their registers decoded, one Sample out of it.

A failed block leaves its signals out; the Sample's outcome is that of the first failed block. After a failure that
makes the whole bus wait (no answer; on a serial line a wrong one too) the rest of the instrument is left for the next
poll, and the block that failed comes last then, so that it cannot hide the others. A block that keeps failing while
others of its instrument answer is left out of most polls: until it is asked again, its signals are missing for the same
cause.
"""

import logging
from typing import Final, NamedTuple

from collector.answer_times import AnswerTimes
from collector.clock import Clock
from collector.errors import CollectorError
from collector.line import Line
from collector.spec import InstrumentSpec
from modbus.codecs import Decoder, decoder
from modbus.errors import ILLEGAL_DATA_ADDRESS, BadSignal
from modbus.plan import Block, plan
from modbus.reply import Failure, FailureKind, Registers
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample

logger = logging.getLogger(__name__)

BLOCK_PATIENCE: Final = 3
"""Polls in a row in which a block fails beside others that answer, before it is left out of some."""
MOST_LEFT_OUT: Final = 9
"""Polls in a row that leave it out."""


class _Part(NamedTuple):
    name: str
    place: slice
    decode: Decoder


class _Read:
    """A block as it is asked for, with its signals ready to decode.

    failures: in a row, while others answered. left_out: polls yet to come without it. failure: its last one.
    """

    __slots__ = ("bridged", "failure", "failures", "function", "left_out", "parts", "quantity", "start")

    def __init__(self, block: Block) -> None:
        self.function = block.function
        self.start = block.start
        self.quantity = block.quantity
        self.parts = tuple(_Part(s.name, block.part(s), decoder(s)) for s in block.signals)
        self.bridged = block.unwanted > 0
        self.failures = 0
        self.left_out = 0
        self.failure: Failure | None = None

    def failed(self, failure: Failure, others_answer: bool) -> None:
        """Count it, or, where the whole instrument is silent, leave the counting to the bus's schedule."""
        self.failure = failure
        self.failures = self.failures + 1 if others_answer else 0
        past = self.failures - BLOCK_PATIENCE
        self.left_out = min(MOST_LEFT_OUT, 2 << past) if past >= 0 else 0


def outcome_of(failure: Failure | None) -> str:
    """The outcome word of a Sample."""
    if failure is None:
        return OK
    if failure.kind is FailureKind.EXCEPTION:
        return f"exception-{failure.exception_code:02X}"
    return TIMEOUT if failure.kind is FailureKind.TIMEOUT else WRONG_REPLY


class Polled(NamedTuple):
    """A poll and what it took. `failure` is that of the first block that failed."""

    sample: Sample
    failure: Failure | None
    requests: int


class Poller:
    """Asks one instrument. Raises `CollectorError` at once where its signals cannot be read."""

    def __init__(self, instrument: InstrumentSpec, timeout_ms: float) -> None:
        self.times = AnswerTimes(timeout_ms)
        self._instrument = instrument
        try:
            blocks = plan(instrument.signals, instrument.bridge, instrument.longest)
        except BadSignal as bad:
            raise CollectorError(f"instrument {instrument.id}: {bad}") from None
        if not blocks:
            raise CollectorError(f"instrument {instrument.id}: no signal to read; give it at least one")
        self._reads = [_Read(block) for block in blocks]

    async def poll(self, line: Line, clock: Clock, *, patient: bool = False) -> Polled:
        """Ask all blocks. The Sample is stamped when its last reply came (or failed to come).

        patient: wait as long as the site allows, not only as long as this unit's answers usually take.
        """
        unit, times = self._instrument.unit, self.times
        values: dict[str, float | None] = {}
        raw: dict[str, Registers] = {}
        first: Failure | None = None
        failed: list[tuple[_Read, Failure]] = []
        requests = 0
        for read in self._reads:
            if read.left_out:
                read.left_out -= 1
                first = first or read.failure
                continue
            reply = await line.exchange(
                unit, read.function, read.start, read.quantity, None if patient else times.timeout_ms
            )
            requests += 1
            if not isinstance(reply, Failure):
                times.answered(line.took_ms)
                read.failures = 0
                for name, place, decode in read.parts:
                    raw[name] = registers = reply[place]
                    values[name] = decode(registers)
                continue
            first = first or reply
            if reply.kind is FailureKind.EXCEPTION:
                if read.bridged and reply.exception_code == ILLEGAL_DATA_ADDRESS:
                    self._no_more_bridges(reply)
                    polled = await self.poll(line, clock, patient=patient)
                    return polled._replace(requests=polled.requests + requests)
                continue
            times.failed()
            failed.append((read, reply))
            if reply.kind is FailureKind.TIMEOUT or line.rest_s or not line.is_open:
                break
        if failed:
            self._put_last(failed, bool(values))
        now_ms, elapsed_ms = clock.both_ms()
        sample = Sample(self._instrument.id, now_ms, outcome_of(first), values, raw, elapsed_ms)
        return Polled(sample, first, requests)

    def _put_last(self, failed: list[tuple[_Read, Failure]], others_answer: bool) -> None:
        for read, failure in failed:
            read.failed(failure, others_answer)
            self._reads.remove(read)
            self._reads.append(read)

    def _no_more_bridges(self, failure: Failure) -> None:
        """The instrument has a hole where the plan reads over one: from now on, ask for wanted registers only."""
        instrument = self._instrument
        logger.warning(
            "instrument=%s unit=%d does not let a request read over unwanted registers (%s); "
            "asking without from now on, set its bridge to 0",
            instrument.id,
            instrument.unit,
            failure.text,
        )
        self._reads = [_Read(block) for block in plan(instrument.signals, 0, instrument.longest)]
