"""A gateway of the farm as a serial line: its units answer on a port of this machine, or on a pseudo-terminal.

Owns the descriptors and nothing else. A pseudo-terminal looks to its reader like a serial adapter and has no speed.
"""

import asyncio
import logging
import os
import pty
import termios
import tty
from typing import Final

from modbus.responder import RtuResponder
from modbus.timing import silence_ms
from simulator.errors import SimulatorError
from simulator.source import GatewaySource

_log = logging.getLogger(__name__)

PSEUDO: Final = "pty"
BAUDS: Final = (300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400)

_PSEUDO: Final = range(136, 144)
"""Major numbers of pseudo-terminals, which take no parity. Source: Linux, admin-guide/devices.txt."""
_CHUNK: Final = 1024


class SerialLine:
    """One line. `device` is where a reader finds it. An absent unit is silent here, as no gateway speaks for it."""

    def __init__(self, source: GatewaySource, units: frozenset[int], device: str = PSEUDO, baud: int = 9600) -> None:
        if baud not in BAUDS:
            raise SimulatorError(f"{baud} baud; allowed {', '.join(map(str, BAUDS))}")
        self.device = device
        self._source = source
        self._baud = baud
        self._responder = RtuResponder(source, units)
        self._line = self._far_end = -1
        self._silence: asyncio.TimerHandle | None = None

    def open(self) -> None:
        """Take the port, or make a pseudo-terminal. Raises `SimulatorError` for a port that is not to be had."""
        try:
            if self.device == PSEUDO:
                self._line, self._far_end = pty.openpty()  # kept open: a reader that leaves is no event then
                tty.setraw(self._far_end)
                self.device = os.ttyname(self._far_end)
            else:
                self._line = os.open(self.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
                _set_up(self._line, self._baud)
            os.set_blocking(self._line, False)
        except (OSError, termios.error) as error:
            self.close()
            where = f"gateway {self._source.layout.id}: cannot use {self.device} as a serial line"
            raise SimulatorError(f"{where}: {error}") from error
        asyncio.get_running_loop().add_reader(self._line, self._readable)

    def close(self) -> None:
        if self._silence is not None:
            self._silence.cancel()
            self._silence = None
        if self._line >= 0:
            asyncio.get_running_loop().remove_reader(self._line)
        for end in (self._line, self._far_end):
            if end >= 0:
                os.close(end)
        self._line = self._far_end = -1

    def _readable(self) -> None:
        try:
            data = os.read(self._line, _CHUNK)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            _log.warning("gateway %s: the serial line %s is gone", self._source.layout.id, self.device)
            self.close()
            return
        loop = asyncio.get_running_loop()
        if self._silence is not None:
            self._silence.cancel()
        self._silence = loop.call_later(silence_ms(self._baud) / 1000, self._fell_silent)
        self._answer(self._responder.feed(data))

    def _fell_silent(self) -> None:
        self._silence = None
        self._answer(self._responder.silence())

    def _answer(self, reply: bytes) -> None:
        if reply:
            asyncio.get_running_loop().call_later(self._source.layout.latency_ms / 1000, self._write, reply)

    def _write(self, reply: bytes) -> None:
        if self._line < 0:
            return
        try:
            os.write(self._line, reply)
        except OSError as error:
            _log.debug("gateway %s: a reply is lost: %s", self._source.layout.id, error)


def _set_up(line: int, baud: int) -> None:
    """Raw, eight bits, even parity, one stop bit. Source: Modbus over Serial Line V1.02, 2.5.1 (the default)."""
    tty.setraw(line)
    settings = termios.tcgetattr(line)
    settings[2] |= termios.CLOCAL | termios.CREAD
    settings[2] &= ~(termios.PARODD | termios.CSTOPB)
    if os.major(os.fstat(line).st_rdev) not in _PSEUDO:
        settings[2] |= termios.PARENB
    settings[4] = settings[5] = getattr(termios, f"B{baud}")
    termios.tcsetattr(line, termios.TCSANOW, settings)
