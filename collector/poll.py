"""One poll of one instrument: its blocks asked one after the other, their registers decoded, one Sample out of it.

A failed block leaves its signals out; the Sample's outcome is that of the first failed block. After a block without an
answer the rest of the instrument is not asked: each would cost the neighbours another time-out.
"""

import logging
from typing import NamedTuple

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


class _Part(NamedTuple):
    name: str
    place: slice
    decode: Decoder


class _Read(NamedTuple):
    """A block as it is asked for, with its signals ready to decode."""

    function: int
    start: int
    quantity: int
    parts: tuple[_Part, ...]
    bridged: bool


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

    def __init__(self, instrument: InstrumentSpec) -> None:
        self._instrument = instrument
        try:
            self._reads = _reads(plan(instrument.signals, instrument.bridge, instrument.longest))
        except BadSignal as bad:
            raise CollectorError(f"instrument {instrument.id}: {bad}") from None
        if not self._reads:
            raise CollectorError(f"instrument {instrument.id}: no signal to read; give it at least one")

    async def poll(self, line: Line, clock: Clock) -> Polled:
        """Ask all blocks. The Sample is stamped when its last reply came (or failed to come)."""
        unit = self._instrument.unit
        values: dict[str, float | None] = {}
        raw: dict[str, Registers] = {}
        first: Failure | None = None
        requests = 0
        for read in self._reads:
            reply = await line.exchange(unit, read.function, read.start, read.quantity)
            requests += 1
            if isinstance(reply, Failure):
                first = first or reply
                if reply.kind is FailureKind.TIMEOUT or not line.is_open:
                    break
                if read.bridged and reply.exception_code == ILLEGAL_DATA_ADDRESS:
                    self._no_more_bridges(reply)
                    polled = await self.poll(line, clock)
                    return polled._replace(requests=polled.requests + requests)
                continue
            for name, place, decode in read.parts:
                raw[name] = registers = reply[place]
                values[name] = decode(registers)
        sample = Sample(self._instrument.id, clock.now_ms(), outcome_of(first), values, raw)
        return Polled(sample, first, requests)

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
        self._reads = _reads(plan(instrument.signals, 0, instrument.longest))


def _reads(blocks: tuple[Block, ...]) -> tuple[_Read, ...]:
    return tuple(
        _Read(
            block.function,
            block.start,
            block.quantity,
            tuple(_Part(s.name, block.part(s), decoder(s)) for s in block.signals),
            block.unwanted > 0,
        )
        for block in blocks
    )
