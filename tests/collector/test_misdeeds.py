"""Each misdeed of the peer against each kind of line: right values or a named failure, and right again after it."""

import asyncio

import pytest

from collector.collector import line_for
from collector.line import Line
from modbus.reply import Failure, FailureKind
from tests.peers import MISDEEDS, Peer, told
from tests.peers.misdeeds import ALL, RTU
from tests.peers.wires import bus_spec, on_wire

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop

UNIT = 17  # a function number too, so that noise before its frames can look like their start
TIMEOUT_MS = 200
WRONG_ONES = (2, 3, 6)


async def asked(peer: Peer, line: Line, start: int) -> str:
    """ "right", the failure's kind, or what is wrong with the values."""
    for _ in range(20):  # all peers of a wire start at once: on a busy machine that alone can take a time-out
        if line.is_open:
            break
        await line.open()
    got = await line.exchange(UNIT, 3, start, 4)
    if isinstance(got, Failure):
        assert got.text
        return got.kind
    tells = [told(register) for register in got]
    expected = [(start + n, peer.age & 0xFF) for n in range(4)]
    return "right" if tells == expected else f"asked for {start}, got {tells}, age is {peer.age}"


async def result_of(name: str, kind: str) -> str:
    """ "" when all is as it should be."""
    misdeed = MISDEEDS[name]
    peer = Peer(kind, (UNIT,), late_s=1.5 * TIMEOUT_MS / 1000)
    async with on_wire(peer) as wire:
        line = line_for(bus_spec(wire, timeout_ms=TIMEOUT_MS))
        for n in range(1, 9):
            if n in WRONG_ONES:
                peer.misbehave(name, times=1)
            said = await asked(peer, line, 10 * n)
            right = n not in WRONG_ONES or misdeed.harmless
            if (said == "right") is not right or (said != "right" and said not in list(FailureKind)):
                line.close()
                return f"request {n}: {said}"
        line.close()
    return ""


@pytest.mark.parametrize("kind", sorted(ALL))
async def test_after_any_misdeed_values_are_right_or_a_failure_and_then_right_again(kind: str) -> None:
    names = [name for name, misdeed in MISDEEDS.items() if kind in misdeed.kinds]
    assert len(names) >= 35
    results = await asyncio.gather(*(result_of(name, kind) for name in names))
    assert {name: result for name, result in zip(names, results, strict=True) if result} == {}


async def test_a_misdeed_that_means_nothing_on_a_wire_is_refused() -> None:
    with pytest.raises(ValueError, match="wrong transaction"):
        Peer(RTU).misbehave("wrong transaction")
