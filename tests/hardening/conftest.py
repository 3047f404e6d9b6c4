"""What several tests of the house's hardness want."""

import threading
from collections.abc import Iterator

import pytest

from tests.hardening.stalls import Stalls


@pytest.fixture
def stalled() -> Iterator[Stalls]:
    """How long the machine has stood still in the test so far."""
    found, over = Stalls(), threading.Event()
    thread = threading.Thread(target=found.watch, args=(over,))
    thread.start()
    yield found
    over.set()
    thread.join()
