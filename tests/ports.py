"""Ports of this machine on which a test may listen, hang up and listen again.

They lie below those that the system hands out by itself, to whoever connects or asks for any port: while a test has one
closed, no other process is given it, and a client that knocks at it is never answered by itself.
"""

import random
import socket
from contextlib import closing
from pathlib import Path

_RANGE = Path("/proc/sys/net/ipv4/ip_local_port_range")
_LOWEST = 10_000
_chance = random.SystemRandom()  # a seeded one would send all workers to the same ports
_given: set[int] = set()


def _first_of_the_systems() -> int:
    first = int(_RANGE.read_text(encoding="ascii").split()[0]) if _RANGE.exists() else 0
    return first if first > 2 * _LOWEST else 32_768


def free_port() -> int:
    """A port on which nobody listens, given to nobody else in this process."""
    end = _first_of_the_systems()
    while True:
        port = _chance.randrange(_LOWEST, end)
        if port in _given:
            continue
        with closing(socket.socket()) as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
        _given.add(port)
        return port
