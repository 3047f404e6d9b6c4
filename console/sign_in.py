"""Signing in and out: which person a request is of, and the few addresses that change it.

`SignedIn` is the layer under the guard: it finds the session or token of a request, turns away who needs one and has
none, and tells everything below who asks (`console.signed`). Secrets are random, 256 bits; only their SHA-256 is kept.
"""

import asyncio
import hashlib
import secrets
import time
from collections.abc import Callable
from functools import cache
from typing import Final
from urllib.parse import parse_qs, quote, urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from console.attempts import Attempts
from console.facts import Json
from console.people import People, Person
from console.security import SAFE_METHODS, Refuse, from_this_machine
from console.signed import Asking, ask_as, asking

COOKIE: Final = "gaugehouse"
OPEN: Final = ("/sign-in", "/enter/", "/assets/", "/healthz", "/readyz")
"""What everybody may ask: how to come in, and whether the daemon lives."""
LONGEST_SECRET: Final = 200
LONGEST_PASSWORD: Final = 1024

hasher: Final = PasswordHasher()
"""Argon2id with the library's own parameters (RFC 9106, second recommended option)."""


@cache
def _nobodys() -> str:
    """Checked where there is no such user, so that the time it takes tells nothing."""
    return hasher.hash(secrets.token_urlsafe(16))


def hashed_of(secret: str) -> str:
    """What is kept of a random secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def now_ms() -> int:
    """Real UTC time: sessions do not run faster in a simulated farm."""
    return time.time_ns() // 1_000_000


class SignedIn:
    """The layer. `proxies`: addresses whose X-Forwarded-For is believed."""

    def __init__(self, app: ASGIApp, *, people: People, refuse: Refuse) -> None:
        self._app, self._people, self._refuse = app, people, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        users = self._people.exists()
        person = self._person(headers) if users else None
        if users and person is None and not self._open(scope, headers):
            if scope["type"] == "http" and scope["method"] in SAFE_METHODS and "text/html" in headers.get("accept", ""):
                await RedirectResponse(f"/sign-in?next={quote(scope['path'])}", 303)(scope, receive, send)
                return
            await self._refuse(scope, send, 401, "sign in first, or send a bearer token")
            return
        ask_as(Asking(person, users))
        await self._app(scope, receive, send)

    def _person(self, headers: Headers) -> Person | None:
        secret = bearer_of(headers) or cookie_of(headers)
        return self._people.person(hashed_of(secret), now_ms()) if secret else None

    def _open(self, scope: Scope, headers: Headers) -> bool:
        """True where nobody needs to be known: the way in, and looking around on this machine itself."""
        path: str = scope["path"]
        if any(path == one.rstrip("/") or (one.endswith("/") and path.startswith(one)) for one in OPEN):
            return True
        looks = scope["type"] == "websocket" or scope["method"] in SAFE_METHODS
        return looks and from_this_machine(scope, headers)


def bearer_of(headers: Headers) -> str:
    """The bearer token of a request (RFC 6750, 2.1), "" without one."""
    kind, _, token = headers.get("authorization", "").partition(" ")
    return token.strip()[:LONGEST_SECRET] if kind.lower() == "bearer" else ""


def cookie_of(headers: Headers) -> str:
    """The session's secret out of the cookies, "" without one."""
    for part in headers.get("cookie", "").split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value[:LONGEST_SECRET]
    return ""


def address_of(scope: Scope, headers: Headers, proxies: tuple[str, ...]) -> str:
    """Where a request comes from: behind a proxy of ours, what that one says."""
    client = scope.get("client")
    address = str(client[0]) if client else ""
    forwarded = headers.get("x-forwarded-for", "")
    return forwarded.rpartition(",")[2].strip()[:64] if forwarded and address in proxies else address


def secure_of(scope: Scope, headers: Headers, proxies: tuple[str, ...]) -> bool:
    """True where the browser speaks TLS, to us or to a proxy of ours."""
    client = scope.get("client")
    proxied = client is not None and str(client[0]) in proxies
    return scope["scheme"] in ("https", "wss") or (proxied and headers.get("x-forwarded-proto") == "https")


def next_of(asked: str) -> str:
    """Where to go after signing in: a page of ours, never another site."""
    parts = urlsplit(asked)
    own = asked.startswith("/") and not asked.startswith(("//", "/\\")) and not parts.scheme and not parts.netloc
    return asked if own and asked.isprintable() else "/"


class SignInPages:
    """/sign-in, /sign-out and /enter/SECRET."""

    def __init__(self, people: People, render: Callable[..., HTMLResponse], proxies: tuple[str, ...] = ()) -> None:
        self._people, self._render, self._proxies = people, render, proxies
        self._attempts = Attempts()
        self._checking = asyncio.Semaphore(1)  # one check takes 64 MB: eight at once took half a gigabyte (measured)
        self.router = APIRouter(include_in_schema=False)
        self.router.get("/sign-in", response_class=HTMLResponse)(self.page)
        self.router.post("/sign-in", response_class=HTMLResponse)(self.sign_in)
        self.router.post("/sign-out")(self.sign_out)
        self.router.get("/enter/{secret}")(self.enter)

    async def page(self, request: Request) -> HTMLResponse:
        return self._page(request, request.query_params.get("next", "/"))

    def _page(self, request: Request, then: str, said: str = "", name: str = "", status: int = 200) -> HTMLResponse:
        headers = request.headers
        plain = not secure_of(request.scope, headers, self._proxies) and not from_this_machine(request.scope, headers)
        return self._render(
            request, "sign_in.html", status, then=next_of(then), said=said, name=name, plain=plain,
            has_users=self._people.exists(),
        )  # fmt: skip

    async def sign_in(self, request: Request) -> Response:
        """Name and password against the kept hash; a wrong pair says nothing of which of the two it was."""
        fields = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=8)
        name, password, then = (fields.get(key, [""])[0] for key in ("name", "password", "then"))
        address = address_of(request.scope, request.headers, self._proxies)
        keys = (f"address {address}", f"name {name.casefold()[:64]}")
        wait_s = self._attempts.wait_s(keys, time.monotonic())
        if wait_s > 0:
            answer = self._page(request, then, f"too many attempts: wait {wait_s:.0f} s", name, 429)
            answer.headers["Retry-After"] = str(round(wait_s) + 1)
            return answer
        known = self._people.password_of(name)
        async with self._checking:
            right = await asyncio.to_thread(
                _right, _nobodys() if known is None else known[1], password[:LONGEST_PASSWORD]
            )
        if not right or known is None:
            self._attempts.failed(keys, time.monotonic())
            await self._people.failed(name, address)
            return self._page(request, then, "name and password do not belong together", name, 401)
        self._attempts.cleared(keys)
        return await self._begin(request, known[0], next_of(then))

    async def enter(self, request: Request, secret: str) -> Response:
        """A link that signs in once."""
        hashed = hashed_of(secret[:LONGEST_SECRET])
        user = self._people.link(hashed, now_ms())
        if user is None:
            return self._page(request, "/", "this link was used, or is over; sign in with name and password", "", 401)
        return await self._begin(request, user, "/", link=hashed)

    async def _begin(self, request: Request, user: str, then: str, link: str = "") -> Response:
        secret = secrets.token_urlsafe(32)
        address = address_of(request.scope, request.headers, self._proxies)
        lasts_ms = await self._people.begin(hashed_of(secret), user, address, now_ms(), link)
        if not lasts_ms:
            return self._page(request, then, "this user may not come in any more", user, 401)
        answer = RedirectResponse(then, 303)
        answer.set_cookie(
            COOKIE, secret, max_age=lasts_ms // 1000, httponly=True, samesite="strict", path="/",
            secure=secure_of(request.scope, request.headers, self._proxies),
        )  # fmt: skip
        return answer

    async def sign_out(self, request: Request) -> Response:
        person = asking().person
        if person is not None and person.session:
            await self._people.end(person.session, person.name)
        answer = RedirectResponse("/", 303)
        answer.delete_cookie(COOKIE, path="/")
        return answer


def _right(kept: str | None, password: str) -> bool:
    try:
        return hasher.verify(_nobodys() if kept is None else kept, password)
    except (VerificationError, InvalidHashError):
        return False


class WhoApi:
    """GET /api/me: who asks."""

    def __init__(self) -> None:
        self.router = APIRouter()
        self.router.get("/api/me")(self.me)

    async def me(self) -> Json:
        """Who is signed in, with their roles; `users` says whether this console has users at all."""
        who = asking()
        name, roles = (None, []) if who.person is None else (who.person.name, list(who.person.roles))
        return {"name": name, "roles": roles, "users": who.users}
