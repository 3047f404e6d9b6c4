"""A farm that answers the console's questions from arithmetic of its own: six invented tanks in six different states.

It has behaviour (levels move with its clock, acknowledging changes states, the store can be out), so that tests and
pictures of the pages need no daemon. Nothing of it is measured anywhere. A file an area, as in `console/facts`.
"""

from tests.console.fake.loops import NE43
from tests.console.fake.tank import T0_MS, iso
from tests.console.fake.tanks import MOVED, RUNS
from tests.console.fake.whole import FakeFacts

__all__ = ["MOVED", "NE43", "RUNS", "T0_MS", "FakeFacts", "iso"]
