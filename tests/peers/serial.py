"""A peer on a pseudo-terminal: to the client a serial port, without a speed of its own."""

import asyncio
import os
import pty
import tempfile
import tty
from pathlib import Path
from typing import Self

from tests.peers.misdeeds import Step
from tests.peers.peer import Peer


class SerialPeer:
    """`async with SerialPeer(peer) as wire:` answers on `wire.device`. `unplug` takes it away, `plug` brings it back.

    The device is a link of fixed name, as those under /dev/serial/by-id are.
    """

    def __init__(self, peer: Peer) -> None:
        self.peer = peer
        self._directory = tempfile.TemporaryDirectory(prefix="peer-")
        self.device = str(Path(self._directory.name) / "adapter")
        self._ours = self._theirs = -1
        self._kept = bytearray()

    async def __aenter__(self) -> Self:
        self.plug()
        return self

    async def __aexit__(self, *_: object) -> None:
        self.unplug()
        self._directory.cleanup()

    def plug(self) -> None:
        self._ours, self._theirs = pty.openpty()  # the client's end is kept open too: its closing is no event then
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        os.symlink(os.ttyname(self._theirs), self.device)
        asyncio.get_running_loop().add_reader(self._ours, self._readable)

    def unplug(self) -> None:
        if self._ours < 0:
            return
        asyncio.get_running_loop().remove_reader(self._ours)
        os.unlink(self.device)
        os.close(self._ours)
        os.close(self._theirs)
        self._ours = self._theirs = -1
        self._kept.clear()

    def _readable(self) -> None:
        self._kept += os.read(self._ours, 4096)
        loop = asyncio.get_running_loop()
        for steps in self.peer.take(self._kept):
            for step in steps:
                if step.after_s:
                    loop.call_later(step.after_s, self._do, step, self._ours)
                else:
                    self._do(step, self._ours)

    def _do(self, step: Step, ours: int) -> None:
        if ours == self._ours and isinstance(step.act, bytes):
            try:
                os.write(ours, step.act)
            except BlockingIOError:
                pass  # nobody reads; a line does not wait either
