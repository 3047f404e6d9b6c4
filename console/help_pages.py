"""The pages of the help: one a page, and all of them in one. Plain text that needs no script and prints."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse

from console.facts import Facts
from console.help import BY_KEY, EVERY_PAGE, PAGES, Help
from console.help_terms import TERMS
from console.problems import Refused

Render = Callable[..., HTMLResponse]


class HelpPages:
    """Renders /help. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, render: Render) -> None:
        self._facts, self._render = facts, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/help", self.all)
        self.router.add_api_route("/help/{page}", self.one)

    async def all(self, request: Request) -> HTMLResponse:
        return self._show(request, PAGES)

    async def one(self, request: Request, page: Annotated[str, Path(pattern="^[a-z-]{1,40}$")]) -> HTMLResponse:
        found = BY_KEY.get(page)
        if found is None:
            raise Refused(404, f"there is no help {page}; /help has all of it")
        return self._show(request, (found,))

    def _show(self, request: Request, shown: tuple[Help, ...]) -> HTMLResponse:
        named = {name for page in shown for name in page.terms}
        terms = [term for name, term in TERMS.items() if name in named]
        return self._render(
            request, "help.html", self._facts.live(), shown=shown, terms=terms, every=EVERY_PAGE, whole=len(shown) > 1
        )
