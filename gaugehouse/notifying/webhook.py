"""Sending to a webhook: the letter as JSON by HTTP POST. Any answer of 2xx counts as taken; redirects are not followed.

`Idempotency-Key` is the letter's key: the same message sent twice bears the same one.
"""

import asyncio
import json
import os
import ssl
from typing import Final, NamedTuple
from urllib.parse import urlsplit

import httpx

from alerts.notify.letter import Letter
from gaugehouse.errors import CallError
from gaugehouse.notifying.sender import LONGEST_SEND_S, SendTrouble, said, tls_of
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.secret import read_secret, without_secrets

_LATER: Final = frozenset({408, 425, 429})
"""Refusals that a retry may mend. Source: RFC 9110 15.5.9 (408), RFC 8470 5.2 (425), RFC 6585 4 (429)."""

_MOST_READ: Final = 2_000


class _Ready(NamedTuple):
    """What one message needs. tls: False for an address that is not encrypted."""

    url: str
    headers: dict[str, str]
    secrets: list[str]
    tls: ssl.SSLContext | bool


class WebhookSender:
    """One channel's way to its address."""

    def __init__(self, spec: NotifySpec) -> None:
        self._spec = spec
        self._where = f"webhook of channel {spec.id}"

    async def send(self, letter: Letter) -> str:
        ready = await asyncio.to_thread(self._prepared, letter)
        url, headers, secrets = ready.url, ready.headers, ready.secrets
        body = json.dumps(letter.content, ensure_ascii=False, allow_nan=False).encode()
        try:
            async with httpx.AsyncClient(
                timeout=LONGEST_SEND_S / 3, verify=ready.tls, trust_env=False, follow_redirects=False
            ) as client:
                async with client.stream("POST", url, content=body, headers=headers) as answer:
                    words = await _beginning(answer)
        except (httpx.HTTPError, httpx.InvalidURL, ssl.SSLError, OSError, UnicodeError, ValueError) as error:
            raise self._trouble(error, secrets) from None
        status = f"{answer.status_code} {answer.reason_phrase}".strip()
        told = without_secrets(said(f"{status}: {words}" if words else status), secrets)
        if answer.is_success:
            return told
        if answer.is_redirect:
            text = f"{self._where} answers {told}: give the final address, redirects are not followed"
            raise SendTrouble(text, refused=True)
        final = 400 <= answer.status_code < 500 and answer.status_code not in _LATER
        mend = "; mend address or token of the channel" if final else ""
        raise SendTrouble(f"{self._where} answers {told}{mend}", refused=final)

    def _prepared(self, letter: Letter) -> "_Ready":
        """Address, token and certificates, from their files: not for the event loop."""
        spec = self._spec
        secrets: list[str] = []
        headers = {"Content-Type": "application/json", "Idempotency-Key": letter.key}
        try:
            url = spec.url
            if spec.secret_url is not None:
                url = read_secret(spec.secret_url, os.environ).strip()
                secrets.append(url)
            if spec.token is not None:
                token = read_secret(spec.token, os.environ).strip()
                secrets.append(token)
                headers["Authorization"] = f"Bearer {token}"
        except CallError as error:
            raise SendTrouble(str(error), refused=True) from error
        if url is None or not _is_address(url):
            raise SendTrouble(f"{self._where}: that is no address; write https://host/path", refused=True)
        return _Ready(url, headers, secrets, tls_of(spec) if url.startswith("https:") else False)

    def _trouble(self, error: Exception, secrets: list[str]) -> SendTrouble:
        words = without_secrets(said(str(error)) or type(error).__name__, secrets)
        if isinstance(error, httpx.TimeoutException):
            return SendTrouble(f"{self._where} does not answer in time")
        if isinstance(error, (httpx.InvalidURL, httpx.UnsupportedProtocol, UnicodeError)):
            return SendTrouble(f"{self._where}: that is no address ({words}); mend it", refused=True)
        if "CERTIFICATE_VERIFY_FAILED" in str(error):
            return SendTrouble(f"{self._where}: its certificate is not accepted: {words}; see `ca`", refused=True)
        return SendTrouble(f"{self._where} cannot be reached: {words}; see its address, and whether it runs")


def _is_address(url: str) -> bool:
    """Whether it is one at all; the HTTP library stumbles over some of what is none."""
    try:
        parts = urlsplit(url)
        return parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        return False


async def _beginning(answer: httpx.Response) -> str:
    """The first words of a text answer; a page of HTML says nothing in a line."""
    if not answer.headers.get("content-type", "").startswith(("text/plain", "application/json", "application/problem")):
        return ""
    read = b""
    async for part in answer.aiter_bytes():
        read += part
        if len(read) >= _MOST_READ:
            break
    return read[:_MOST_READ].decode("utf-8", "replace")
