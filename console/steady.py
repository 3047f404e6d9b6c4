"""Answers that stay as they are for a while bear an ETag, and are not sent again to who has them (304).

Source: RFC 9110, 8.8.3 (ETag), 13.1.2 (If-None-Match), 15.4.5 (304). The tag is weak and made of the answer itself, so
it is the same after a restart. What moves with every tick has none: it would never match and cost a hash each time.
"""

import hashlib
import re
from collections.abc import Callable
from datetime import datetime
from typing import Final
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from console.routes import Table

ALWAYS: Final = ("always", "")
WHEN_OVER: Final = ("over", "where the whole stretch is over")

STEADY: Final = Table(
    {
        "/api/openapi.json": ALWAYS,
        "/api/site": ALWAYS,
        "/api/settings": ALWAYS,
        "/api/trends": WHEN_OVER,
        "/api/trends.csv": WHEN_OVER,
        "/api/tanks/{tank}/facts": ALWAYS,
        "/api/tanks/{tank}/trend": WHEN_OVER,
        "/api/tanks/{tank}/aggregate": WHEN_OVER,
        "/api/loops/{instrument}/budget": ALWAYS,
        "/api/loops/{instrument}/checks": ALWAYS,
        "/api/loops/{instrument}/checks/{number}": ALWAYS,
        "/api/loops/{instrument}/checks/{number}/paper": ALWAYS,
        "/api/loops/{instrument}/faults.csv": ALWAYS,
        "/api/loops/{instrument}/faults/{number}": ALWAYS,
        "/api/loops/{instrument}/faults/{number}/causes": ALWAYS,
        "/api/loops/{instrument}/faults/{number}/trace": ALWAYS,
        "/api/loops/{instrument}/faults/{number}/trace.csv": ALWAYS,
        "/api/alarms/history": ALWAYS,
        "/api/alarms/tests": ALWAYS,
        "/api/records": ALWAYS,
        "/api/documents": ALWAYS,
        "/api/documents.csv": ALWAYS,
        "/api/documents/facts": ALWAYS,
        "/api/documents/movements": ALWAYS,
        "/api/stock/book.csv": ALWAYS,
        "/api/dips": ALWAYS,
        "/api/samples": ALWAYS,
        "/api/drain-checks": ALWAYS,
        "/api/drain-checks.csv": ALWAYS,
        "/api/leak/tests": ALWAYS,
        "/api/leak/tests/{number}/paper": ALWAYS,
        "/api/receipts/{number}/paper": ALWAYS,
        "/api/status/history": ALWAYS,
    }
)
KEEPING: Final = "private, no-cache"
"""A browser may keep it, and asks each time whether it still holds."""
_TAG: Final = re.compile(r'(?:W/)?("[^"]*")')


class Steady:
    """The layer, inside compression. now: the site's time in UTC ms, None before the first reading."""

    def __init__(self, app: ASGIApp, *, now: Callable[[], int | None]) -> None:
        self._app, self._now = app, now

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD") or not self._stays(scope):
            await self._app(scope, receive, send)
            return
        held = Headers(scope=scope).get("if-none-match", "")
        start: Message | None = None
        body: list[bytes] = []

        async def keep(message: Message) -> None:
            """Hold a whole 200 back until its tag is known; let everything else through."""
            nonlocal start
            if message["type"] == "http.response.start" and message["status"] == 200:
                start = message
            elif start is None:
                await send(message)
            else:
                body.append(message.get("body", b""))
                if not message.get("more_body", False):
                    await _sent(send, start, b"".join(body), held)

        await self._app(scope, receive, keep)

    def _stays(self, scope: Scope) -> bool:
        rule = STEADY.get(scope["path"])
        if rule is not WHEN_OVER:
            return rule is not None
        now_ms, end_ms = self._now(), end_of(scope["query_string"])
        return now_ms is not None and end_ms is not None and end_ms <= now_ms


async def _sent(send: Send, start: Message, body: bytes, held: str) -> None:
    """The answer with its tag, or that what is held still holds."""
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = MutableHeaders(scope=start)
    headers["ETag"] = f"W/{tag}"
    headers["Cache-Control"] = KEEPING
    if held.strip() == "*" or tag in _TAG.findall(held):
        for name in ("content-length", "content-type", "content-disposition"):
            del headers[name]
        start, body = {**start, "status": 304}, b""
    await send(start)
    await send({"type": "http.response.body", "body": body})


def end_of(query: bytes) -> int | None:
    """Where the stretch of `start` and `span` ends, UTC ms; None where they cannot be read (the handler says so)."""
    fields = parse_qs(query.decode("latin-1"))
    try:
        start = datetime.fromisoformat(fields["start"][-1].replace(" ", "+"))
        if start.tzinfo is None:
            return None
        return round((start.timestamp() + float(fields["span"][-1])) * 1000)
    except (KeyError, ValueError, OverflowError):
        return None
