"""Which requests read which signals: as few as can be, and none that reads what it may not.

Pure. Laws (tested): every signal lies whole in one block, so that a value of two registers never tears; no block is
longer than the protocol allows; a stretch that nobody wants is read only to join two wanted ones, and only up to
`bridge` registers of it, as some instruments answer a hole in their map with an exception; the order in which signals
are written changes nothing.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from modbus.errors import BadSignal
from modbus.frames import most
from modbus.reply import Registers
from modbus.signals import RegisterSignal


class Block(NamedTuple):
    """One request to one unit, and the signals that its reply holds."""

    function: int
    start: int
    quantity: int
    signals: tuple[RegisterSignal, ...]

    @property
    def unwanted(self) -> int:
        """Registers (or bits) read over between wanted ones."""
        wanted = {place for s in self.signals for place in range(s.address, s.address + s.words)}
        return self.quantity - len(wanted)

    def part(self, signal: RegisterSignal) -> slice:
        """Where a signal's registers lie in the reply."""
        first = signal.address - self.start
        return slice(first, first + signal.words)


def plan(signals: Iterable[RegisterSignal], bridge: int = 0, longest: int = 0) -> tuple[Block, ...]:
    """The fewest requests that read these signals of one unit, in order of function and address.

    bridge: how many unwanted registers (or bits) in a row may be read over. longest: the most registers that the
    instrument answers at once, 0 = what the protocol allows (125; functions 1 and 2: 2000 bits).
    Raises `BadSignal` for a signal that cannot be asked for, or two of one name.
    """
    if bridge < 0 or longest < 0:
        raise BadSignal(f"bridge {bridge}, longest {longest}; neither can be negative")
    blocks: list[Block] = []
    names: set[str] = set()
    run: list[RegisterSignal] = []
    end = 0
    for signal in sorted(signals, key=lambda s: (s.function, s.address, s.words, s.name)):
        signal.check()
        if signal.name in names:
            raise BadSignal(f"signal {signal.name} is there twice; names are unique within an instrument")
        names.add(signal.name)
        limit = min(longest or most(signal.function), most(signal.function))
        if signal.words > limit:
            raise BadSignal(f"signal {signal.name} takes {signal.words} registers; the longest read is {limit}")
        stop = signal.address + signal.words
        joins = (
            run
            and signal.function == run[0].function
            and signal.address - end <= bridge
            and max(end, stop) - run[0].address <= limit
        )
        if not joins and run:
            blocks.append(_block(run, end))
            run = []
        end = max(end, stop) if run else stop
        run.append(signal)
    if run:
        blocks.append(_block(run, end))
    return tuple(blocks)


def _block(run: Sequence[RegisterSignal], end: int) -> Block:
    start = run[0].address
    return Block(run[0].function, start, end - start, tuple(run))


def split(block: Block, registers: Registers) -> dict[str, Registers]:
    """A block's reply cut into the raw registers of each signal. Raises ValueError for a reply of another length."""
    if len(registers) != block.quantity:
        raise ValueError(f"{len(registers)} registers for a block of {block.quantity}")
    return {signal.name: registers[block.part(signal)] for signal in block.signals}
