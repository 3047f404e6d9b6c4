"""To be nobody for a moment: root may do everything, so rights are tried as a user who may not."""

import contextlib
import os
from collections.abc import Iterator

NOBODY = 65534


@contextlib.contextmanager
def as_nobody() -> Iterator[None]:
    """Where the tests run as root, the effective user is another one inside; elsewhere nothing changes."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(NOBODY)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)
