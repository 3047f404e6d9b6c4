"""Who may ask, and what a browser may do with the answer: one pure ASGI layer around everything, WebSockets included.

Knows headers and addresses; refuses to know tanks. Four rules:
1. The Host must be one of ours, so that a foreign name that is made to resolve to us gets nothing (DNS rebinding).
2. Before it has users the console answers this machine only; a request that a proxy passed on counts as from elsewhere.
3. A request that changes something, and a WebSocket handshake, must come from our own pages or from no page at all.
4. Every answer bears a strict content security policy: own scripts and styles from own files only, no inline, no frame.
"""

import ipaddress
import json
from collections.abc import Awaitable, Callable, Iterable
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from console.limits import BODY_LIMIT, LARGER_BODIES, LONGEST_HEADERS
from console.problems import MEDIA_TYPE, problem

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
LOOPBACK_NAMES: Final = ("127.0.0.1", "localhost", "::1")

# Source: W3C CSP level 3; 'self' did not cover ws: in older browsers, so the host (checked before) is named as well.
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' {socket}://{host}; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
FIXED_HEADERS: Final = (
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Referrer-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Permissions-Policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)
FORWARDED: Final = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip")


Refuse = Callable[[Scope, Send, int, str], Awaitable[None]]


class Guard:
    """The layer. `allow_hosts`: further names (with or without ":port") that people use for this machine.

    `port`: the port that people write behind a name, None = any (a test server, a port chosen late).
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        allow_hosts: Iterable[str] = (),
        port: int | None = None,
        has_users: Callable[[], bool] = lambda: False,
    ) -> None:
        self._app, self._has_users = app, has_users
        allowed = [name.lower() for name in allow_hosts]
        self._whole = frozenset(name for name in allowed if _split(name)[1] is not None)
        self._names = frozenset([*LOOPBACK_NAMES, *(_split(name)[0] for name in allowed if name not in self._whole)])
        self._port = port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refuse(scope, send, *refusal)
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            await self._app(
                scope,
                _limited(receive, _limit(scope)),
                _dressed(send, headers.get("host", ""), "wss" if scope["scheme"] == "https" else "ws"),
            )

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """Status and reason, or None where the request may pass."""
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._is_ours(hosts[0]):
            return 400, "this console does not answer to that host name; name it in the site file or use 127.0.0.1"
        if not from_this_machine(scope, headers) and not self._has_users():
            return 403, (
                "this console has no users yet, so it answers on the machine it runs on only (loopback); "
                "`gaugehouse user` makes the first one"
            )
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
        if changes and not _from_own_page(headers, hosts[0]):
            return 403, "this request comes from a page of another site; only this console's own pages may do that"
        if sum(len(name) + len(value) for name, value in scope["headers"]) > LONGEST_HEADERS:
            return 431, f"the headers may have {LONGEST_HEADERS} bytes at most"
        limit = _limit(scope)
        if int_or_zero(headers.get("content-length", "")) > limit:
            return 413, f"a body may have {limit} bytes at most"
        return None

    def _is_ours(self, host: str) -> bool:
        host = host.lower()
        if host in self._whole:
            return True
        name, port = _split(host)
        return name in self._names and (self._port is None or (port or 80) == self._port)


def _split(host: str) -> tuple[str, int | None]:
    """A Host header as name and port (none is written for 80: RFC 9110, 4.2.3); an impossible one has no name."""
    try:
        parts = urlsplit(f"//{host}")
        return (parts.hostname or "", parts.port) if parts.netloc == host and "@" not in host else ("", None)
    except ValueError:
        return "", None


def int_or_zero(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() else 0


def from_this_machine(scope: Scope, headers: Headers) -> bool:
    client = scope.get("client")
    if not client or any(name in headers for name in FORWARDED):
        return False
    try:
        address = ipaddress.ip_address(client[0])
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


def _from_own_page(headers: Headers, host: str) -> bool:
    """By Sec-Fetch-Site where the browser sends it (Fetch Metadata, W3C), else by Origin; neither = not a browser."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    if origin == "null":  # a browser that tells nobody where a form comes from: then its other word counts
        return site is not None
    return origin is None or urlsplit(origin).netloc.lower() == host.lower()


async def refuse(scope: Scope, send: Send, status: int, detail: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": detail[:120]})
        return
    body = json.dumps(problem(status, detail)).encode()
    headers = [(b"content-type", MEDIA_TYPE.encode()), (b"content-length", str(len(body)).encode())]
    dressed = _dressed(send, "127.0.0.1")
    await dressed({"type": "http.response.start", "status": status, "headers": headers})
    await dressed({"type": "http.response.body", "body": body})


def _dressed(send: Send, host: str, socket: str = "ws") -> Send:
    """Send, with the headers put on."""

    async def dress(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["Content-Security-Policy"] = POLICY.format(host=host, socket=socket)
            for name, value in FIXED_HEADERS:
                headers[name] = value
            headers.setdefault("Cache-Control", "no-store")
            if message["status"] == 401:
                headers.setdefault("WWW-Authenticate", "Bearer")  # RFC 9110, 15.5.2: a 401 names its scheme
        await send(message)

    return dress


def _limit(scope: Scope) -> int:
    return LARGER_BODIES.get(scope["path"], BODY_LIMIT)


def _limited(receive: Receive, longest: int) -> Receive:
    """Receive, cut off where a body without a length grows past the limit; the reader sees a broken connection."""
    seen = 0

    async def limit() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        return {"type": "http.disconnect"} if seen > longest else message

    return limit
