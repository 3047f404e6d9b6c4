"""Sending through the `apprise` library: chat, text message and push services, each named by an address of its own.

The addresses hold tokens, so they come from a file or the environment, one a line. What the library says is given back
only after every part of every address has been taken out of it.
"""

import asyncio
import os
from concurrent.futures import ThreadPoolExecutor

from alerts.notify.letter import Letter
from gaugehouse.errors import CallError
from gaugehouse.notifying.sender import LONGEST_SEND_S, SendTrouble
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.secret import read_secret


class ServiceSender:
    """One channel's way to its services. Its thread is its own: a service that hangs holds up nobody else."""

    def __init__(self, spec: NotifySpec) -> None:
        assert spec.services is not None
        self._place = spec.services
        self._where = f"services of channel {spec.id}"
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=f"notify {spec.id}")
        self._busy = False
        self._taken: tuple[str, set[str]] = ("", set())

    async def send(self, letter: Letter) -> str:
        if self._busy:
            raise SendTrouble(f"{self._where}: the message before is still under way")
        self._busy = True
        future = self._thread.submit(self._notify, letter)
        future.add_done_callback(self._free)
        try:
            async with asyncio.timeout(LONGEST_SEND_S):
                count, failed = await asyncio.wrap_future(future)
        except TimeoutError:
            raise SendTrouble(f"{self._where} do not answer in time") from None
        if failed:
            text = f"{self._where}: address number {failed[0]} ({failed[1]}) did not take it"
            raise SendTrouble(f"{text}; give each address a channel of its own to try it alone")
        return f"taken by {count} of {count} services"

    def _free(self, _: object) -> None:
        self._busy = False

    def _notify(self, letter: Letter) -> tuple[int, tuple[int, str] | None]:
        """Runs in the thread: how many services there are, and number and kind of the first that did not take it.

        A retry of the same letter leaves out those that took it.
        """
        try:
            lines = read_secret(self._place, os.environ).splitlines()
        except CallError as error:
            raise SendTrouble(str(error), refused=True) from error
        addresses = [line.strip() for line in lines if line.strip()]
        if not addresses:
            where = self._place.file if self._place.file is not None else f"the variable {self._place.env}"
            raise SendTrouble(f"{self._where}: {where} holds no address; write one a line", refused=True)
        if self._taken[0] != letter.key:
            self._taken = (letter.key, set())
        failed: tuple[int, str] | None = None
        for number, address in enumerate(addresses, start=1):
            if address in self._taken[1]:
                continue
            wrong = _one(address, letter)
            if wrong is None:
                self._taken[1].add(address)
            else:
                failed = failed or (number, wrong)
        return len(addresses), failed


def _one(address: str, letter: Letter) -> str | None:
    """Send to one address; its kind and what is wrong, None where nothing is. The library is loaded only here."""
    import apprise

    kind = address.partition("://")[0] if "://" in address else "no address"
    try:
        service = apprise.Apprise()
        if not service.add(address):
            return f"{kind}, which no service understands"
        return None if service.notify(body=letter.text, title=letter.subject) else kind
    except Exception as error:  # one of a hundred plug-ins of others fails: its words may quote the address
        return f"{kind}, where the library fails: {type(error).__name__}"
