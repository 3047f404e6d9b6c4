"""Which event loop the daemon runs on: uvloop where it is installed (the extra `fast`), asyncio's own elsewhere.

Both keep every rule of ours; uvloop costs less CPU a request, and its timers go by whole milliseconds. Where it is
installed and not wanted, GAUGEHOUSE_LOOP=asyncio in the environment leaves it aside.
"""

import asyncio
import gc
import os
from collections.abc import Callable
from typing import Final

VARIABLE: Final = "GAUGEHOUSE_LOOP"


def loop_maker(fast: bool = True) -> Callable[[], asyncio.AbstractEventLoop] | None:
    """What makes the loop: uvloop's maker, or None for asyncio's own."""
    if not fast or os.environ.get(VARIABLE) == "asyncio":
        return None
    try:
        import uvloop
    except ImportError:
        return None
    maker: Callable[[], asyncio.AbstractEventLoop] = uvloop.new_event_loop
    return maker


def runner(fast: bool = True) -> asyncio.Runner:
    """A runner on that loop, as `asyncio.run` uses one."""
    return asyncio.Runner(loop_factory=loop_maker(fast))


YOUNG: Final = 700
YOUNG_A_TANK: Final = 50
"""New objects after which the memory collector looks among them: as Python has it, and for each tank so many more as
the live object and a second's Samples make of it. They are gone a second later without the collector's help."""


def settle_memory(tanks: int) -> None:
    """Once everything is built for so many tanks: leave it out of the memory collector's rounds, and let these be as
    rare as the farm is large. A farm of 2000 tanks has millions of objects that live as long as the process, and
    looking them through took a quarter of a second at a time; its new ones alone took 80 ms every seven seconds."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG + YOUNG_A_TANK * tanks, *gc.get_threshold()[1:])
