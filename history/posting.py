"""One post of lines to a server's /api/v2/write, and its answer in terms of what to do next.

Knows HTTP and `influxdb-client`; refuses to know what the lines mean and when to try again. The client is used in its
plain synchronous form with its retries off: its batching mode drops in silence what it could not send. What it raises
is of two kinds (`ApiException` for an answer, `urllib3` errors for none), and any 2xx pleases it: only 204 pleases us,
because a proxy or a sign-in page answers 200 to everything.
"""

import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Final, Protocol

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.domain.write_precision import WritePrecision
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from history.servertrouble import Away, Held, Refused, TooLarge
from models.errors import GaugehouseError

TAKEN: Final = 204
TIMEOUT_S: Final = 10.0
LONGEST_TEXT: Final = 400
NO_ORG: Final = "-"
"""The client wants a name even for servers that know no organisations."""

_LATER: Final = frozenset({408, 425, 429})
_REFUSED: Final = frozenset({400, 422})
_TOO_LARGE: Final = 413


class Address(Protocol):
    """Where a server is. ca: file with the certificate of the authority that vouches for it, None = the system's."""

    @property
    def url(self) -> str: ...
    @property
    def org(self) -> str: ...
    @property
    def bucket(self) -> str: ...
    @property
    def ca(self) -> Path | None: ...


class InfluxPoster:
    """token: asked before a connection is made, "" for none. After any trouble the connection is made anew."""

    def __init__(self, address: Address, token: Callable[[], str], timeout_s: float = TIMEOUT_S) -> None:
        self._address, self._token, self._timeout_s = address, token, timeout_s
        self._client: InfluxDBClient | None = None
        self._secret = ""

    def post(self, lines: Sequence[str]) -> None:
        """Hand over some lines: returns when the server has taken all of them.

        Raises `Away`, `Held`, `TooLarge` or `Refused`. After any of them some may be there or none; sent again they
        are the same points.
        """
        try:
            client = self._client or self._connect()
            write = client.write_api(write_options=SYNCHRONOUS)
            write.write(self._address.bucket, self._address.org or NO_ORG, "\n".join(lines), WritePrecision.NS)  # type: ignore[arg-type]  # its constants are plain words
            status = client.api_client.last_response.status
        except ApiException as error:
            raise self._judged(error) from None
        except HTTPError as error:
            self.close()
            raise Away(self._said(f"does not answer: {error}")) from error
        except (ValueError, GaugehouseError) as error:  # an address or a token that no request can hold
            self.close()
            raise Held(self._said(str(error))) from error
        if status != TAKEN:
            raise Held(f"answers {status} where 204 is due: something else listens at this address")

    def close(self) -> None:
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]
            self._client = None

    def _connect(self) -> InfluxDBClient:
        address = self._address
        self._secret = self._token()
        ca = None if address.ca is None else str(address.ca)
        self._client = InfluxDBClient(
            address.url, self._secret, org=address.org or NO_ORG, timeout=round(self._timeout_s * 1000),
            ssl_ca_cert=ca, retries=False,
        )  # fmt: skip
        return self._client

    def _judged(self, error: ApiException) -> Exception:
        status = int(error.status or 0)
        text = self._said(f"answers {status}: {_reason(error)}")
        if status in _REFUSED:
            return Refused(text)
        if status == _TOO_LARGE:
            return TooLarge(text)
        self.close()  # by the next time the name may lead elsewhere, and the token may be another
        return Away(text, _retry_after_s(error)) if status in _LATER or status >= 500 else Held(text)

    def _said(self, text: str) -> str:
        """What a server or a library said, on one line, without the token."""
        hidden = text.replace(self._secret, "***") if self._secret else text
        return " ".join(hidden.split())[:LONGEST_TEXT]


def _reason(error: ApiException) -> str:
    """The server's own words: of the body's JSON, of its header, or the body as it is."""
    headers: Any = error.headers or {}
    body = error.body.decode("utf-8", "replace") if isinstance(error.body, bytes) else str(error.body or "")
    try:
        told = json.loads(body)
        word = told.get("message") or told.get("error")
    except (ValueError, AttributeError):
        word = None
    location = headers.get("Location")
    moved = f"it sends to {location}" if location else ""
    return str(word or headers.get("X-Influxdb-Error") or moved or body or error.reason or "no reason given")


def _retry_after_s(error: ApiException) -> float | None:
    """RFC 9110, 10.2.3: seconds, or a date."""
    headers: Any = error.headers or {}
    word = headers.get("Retry-After")
    if word is None:
        return None
    try:
        return max(0.0, float(int(word)))
    except ValueError:
        pass
    try:
        return max(0.0, (parsedate_to_datetime(word) - datetime.now(UTC)).total_seconds())
    except (TypeError, ValueError):
        return None
