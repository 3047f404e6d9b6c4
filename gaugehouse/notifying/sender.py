"""What every sender has in common: it takes one letter, gives back what the other side answered, or says what is wrong.

No sender retries, keeps or groups anything; a secret never gets into an answer, an error or a log.
"""

import logging
import ssl
from typing import Final, Protocol

from alerts.notify.letter import Letter
from gaugehouse.sitefile.notifyfacts import NotifySpec
from models.errors import GaugehouseError

LONGEST_SEND_S: Final = 30.0
"""One message, from connecting to the answer."""

LONGEST_ANSWER: Final = 200
"""Characters of another side's words that are kept."""


class SendTrouble(GaugehouseError):
    """A message was not taken. refused: the other side said no, and only a person can mend that; else a retry helps."""

    def __init__(self, text: str, *, refused: bool = False) -> None:
        super().__init__(text)
        self.refused = refused


class Sender(Protocol):
    """One way to the world outside."""

    async def send(self, letter: Letter) -> str:
        """Send one letter; what the other side answered. Raises `SendTrouble`, within `LONGEST_SEND_S` or so."""
        ...


def said(text: str) -> str:
    """What another side says, as one short line."""
    line = " ".join(text.split())
    return line if len(line) <= LONGEST_ANSWER else line[: LONGEST_ANSWER - 1] + "…"


def tls_of(spec: NotifySpec) -> ssl.SSLContext:
    """Chain and host name are always checked. Reads files: not for the event loop."""
    try:
        return ssl.create_default_context(cafile=None if spec.ca is None else str(spec.ca))
    except (OSError, ssl.SSLError) as error:
        text = f"notify[{spec.id}].ca: {spec.ca} holds no certificate that can be read: {error}"
        raise SendTrouble(text, refused=True) from error


def hush_libraries() -> None:
    """These libraries write whole addresses into their logs, and an address may hold a secret."""
    for name in ("httpx", "httpcore", "urllib3", "requests", "apprise", "aiosmtplib"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
