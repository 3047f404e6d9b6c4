"""How the console says no: RFC 9457 problem details for programs, a plain page for people.

Knows status codes and words; refuses to tell what was sent (no input is echoed) or what broke inside (no traceback).
"""

import logging
from collections.abc import Mapping, Sequence
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from console.facts import ActWaits, FactsUnavailable
from console.words import PROBLEM_TITLES

log = logging.getLogger(__name__)

MEDIA_TYPE: Final = "application/problem+json"


SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
    },
}
"""For the API's own description."""


def said(status: int, words: str) -> dict[int | str, dict[str, Any]]:
    """A problem that an address can answer with, for the API's description."""
    content = {MEDIA_TYPE: {"schema": SCHEMA, "example": problem(status, words)}}
    return {status: {"description": words, "content": content}}


def problem(status: int, detail: str, **members: Any) -> dict[str, Any]:
    """The members of RFC 9457, 3.1; `members` are extensions of ours (3.2)."""
    title = PROBLEM_TITLES.get(status, PROBLEM_TITLES[500])
    return {"type": "about:blank", "title": title, "status": status, "detail": detail, **members}


class Refused(Exception):
    """A request that is answered with a problem; raised by handlers, caught here only."""

    def __init__(self, status: int, detail: str, **members: Any) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.members = members


def wants_page(request: Request) -> bool:
    """True for a browser that asked for a page: not below /api, and HTML is welcome."""
    return not request.url.path.startswith("/api/") and "text/html" in request.headers.get("accept", "")


def answer(
    request: Request, status: int, detail: str, headers: Mapping[str, str] | None = None, **members: Any
) -> Response:
    """The same problem as a page or as JSON, whichever was asked for."""
    body = problem(status, detail, **members)
    if wants_page(request):
        page: Response = request.app.state.pages.problem(request, body)
        page.headers.update(headers or {})
        return page
    return JSONResponse(body, status, headers=headers, media_type=MEDIA_TYPE)


def faults_of(errors: Sequence[Any]) -> list[dict[str, str]]:
    """Pydantic's errors as where and what; the value that was sent stays out."""
    return [{"where": ".".join(str(part) for part in error["loc"]), "what": str(error["msg"])} for error in errors]


async def _refused(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, Refused)
    return answer(request, exc.status, exc.detail, **exc.members)


async def _http(request: Request, exc: Exception) -> Response:
    """What the framework refuses by itself: no such path, wrong method."""
    assert isinstance(exc, HTTPException)
    details = {404: f"there is nothing at {request.url.path}", 405: f"{request.method} is not for this address"}
    return answer(request, exc.status_code, details.get(exc.status_code, str(exc.detail)), exc.headers)


async def _invalid(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, RequestValidationError)
    errors = exc.errors()
    if any(error["type"] == "json_invalid" for error in errors):
        return answer(request, 400, "the body is not JSON; send an object with the fields of this address")
    told = faults_of(errors)
    detail = "; ".join(f"{fault['where']}: {fault['what']}" for fault in told)
    return answer(request, 422, detail, errors=told)


async def _unavailable(request: Request, exc: Exception) -> Response:
    log.warning("facts not available: %s", exc)
    if isinstance(exc, ActWaits):
        return answer(request, 503, str(exc))
    return answer(request, 503, "the daemon's store does not answer now; ask again later", {"Retry-After": "5"})


async def _broken(request: Request, exc: Exception) -> Response:
    """A bug. The framework logs it with its traceback after this answer; the reader learns nothing of the inside."""
    return answer(request, 500, "the console failed at this request; the daemon's log says why")


def install(app: FastAPI) -> None:
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(FactsUnavailable, _unavailable)
    app.add_exception_handler(Exception, _broken)
