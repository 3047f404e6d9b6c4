"""What goes wrong when: a fault somewhere every simulated minute, drawn from a seed before anything runs. Pure."""

import random
from typing import Final, NamedTuple

from simulator.demo.layout import DEMO
from simulator.faults import FaultKind

MINUTE_MS: Final = 60_000

GAUGE: Final = (
    FaultKind.OPEN_LOOP, FaultKind.SILENT, FaultKind.EXCEPTION, FaultKind.FROZEN, FaultKind.ECHO, FaultKind.FAIL_LOW,
    FaultKind.FAIL_HIGH, FaultKind.GAP_LOW, FaultKind.GAP_HIGH, FaultKind.SATURATED, FaultKind.CEILING,
    FaultKind.OFFSET, FaultKind.NOISY, FaultKind.HELD, FaultKind.DRIFT, FaultKind.SHORT, FaultKind.BYPASSED,
    FaultKind.SUPPLY_LOST, FaultKind.RESETTING, FaultKind.INTERFERENCE, FaultKind.SURGE, FaultKind.ZERO_SHIFT,
    FaultKind.SPAN_ERROR,
)  # fmt: skip
PROBE: Final = (FaultKind.SILENT, FaultKind.EXCEPTION, FaultKind.FROZEN)

DROPPED: Final = "dropped"  # the connection ends before the answer
REFUSED: Final = "refused"  # and none is taken until it is over
TRANSACTION: Final = "transaction"  # another transaction number than was asked
UNIT: Final = "unit"  # another unit's reply
FUNCTION: Final = "function"  # a reply to another function
COUNT: Final = "count"  # fewer bytes than it says
CUT: Final = "cut"  # half a frame, and no more
LATE: Final = "late"  # after the time-out
GARBAGE: Final = "garbage"  # nothing that can be cut into frames
WIRE: Final = (DROPPED, REFUSED, TRANSACTION, UNIT, FUNCTION, COUNT, CUT, LATE, GARBAGE)


class Mishap(NamedTuple):
    """`where`: an instrument for a kind of `FaultKind`, a gateway for one of `WIRE`. From `at_ms` of the soak on."""

    at_ms: int
    where: str
    kind: str
    lasts_ms: int


def mishaps(seed: int, hours: float, period_ms: int) -> list[Mishap]:
    """One in every minute, somewhere in it; each lasts one to eight polls."""
    chance = random.Random(seed)
    gauges = [unit.id for unit in DEMO.units if unit.gauge]
    probes = [unit.id for unit in DEMO.units if not unit.gauge]
    gateways = [gateway.id for gateway in DEMO.gateways]
    found = []
    for minute in range(round(hours * 60)):
        where, kinds = chance.choices(
            [(gauges, [kind.value for kind in GAUGE]), (probes, [kind.value for kind in PROBE]), (gateways, WIRE)],
            [12, 1, 5],
        )[0]
        found.append(
            Mishap(
                minute * MINUTE_MS + chance.randrange(MINUTE_MS),
                chance.choice(where),
                chance.choice(kinds),
                round(period_ms * chance.uniform(1, 8)),
            )
        )
    return found
