"""Words to the supervisor that started the daemon: ready, alive, stopping (systemd's sd_notify(3) datagrams).

Without NOTIFY_SOCKET in the environment nobody is told. "Alive" is said only while a restart would not help: a daemon
whose poller is stuck is started anew, one whose disk is full is not.
"""

import asyncio
import contextlib
import os
import socket
from collections.abc import Mapping
from typing import Final

from gaugehouse.vitals import Vitals

NOBODY_S: Final = 3600.0
UNREAD_S: Final = 0.5
"""So long the event loop may stand still for a supervisor whose queue is full: READY=1 is said once only."""


class Supervisor:
    """The other end of NOTIFY_SOCKET; address "" where there is none. watchdog_s: how often it must hear of us."""

    def __init__(self, address: str, watchdog_s: float | None = None) -> None:
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        self.watchdog_s = watchdog_s

    def tell(self, *words: str) -> None:
        """Hand over some words, such as READY=1. One that is gone, or does not read, is no reason to stop."""
        if not self._address:
            return
        with (
            contextlib.suppress(OSError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out,
        ):
            out.settimeout(UNREAD_S)
            out.connect(self._address)
            out.sendall("\n".join(words).encode())

    async def attend(self, vitals: Vitals) -> None:
        """Say "alive" in time, for as long as the daemon runs and does its work."""
        every_s = NOBODY_S if self.watchdog_s is None else self.watchdog_s / 3
        while True:
            ill = [check for check in vitals.checks() if not check.ok]
            status = f"STATUS={ill[0].text}" if ill else "STATUS=polls, decides, stores"
            if any(check.restart for check in ill):
                self.tell(status)
            else:
                self.tell("WATCHDOG=1", status)
            await asyncio.sleep(every_s)


def supervisor_of(environment: Mapping[str, str] = os.environ) -> Supervisor:
    """By NOTIFY_SOCKET and WATCHDOG_USEC. A time that is no number, or is another process's, counts as none."""
    usec, pid = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
    ours = not pid or pid == str(os.getpid())
    return Supervisor(environment.get("NOTIFY_SOCKET", ""), int(usec) / 1e6 if ours and usec.isdigit() else None)
