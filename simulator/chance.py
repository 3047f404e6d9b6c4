"""Where the farm's luck comes from: one stream of random numbers for each thing, all fixed by the farm's seed.

A stream of its own for each thing keeps a farm the same when another thing is added to it.
"""

from random import Random


def stream(seed: int, *names: str) -> Random:
    """The stream that belongs to one thing of one farm; a text seed gives the same numbers on every machine."""
    return Random("/".join((str(seed), *names)))  # noqa: S311  (physics, not secrets)
