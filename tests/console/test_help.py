"""The help: each page of the console has an entry, each term on it is known, each leads to a page that prints."""

import re
from html import unescape

import httpx
import pytest
from fastapi.responses import HTMLResponse
from fastapi.routing import APIRoute

from console.app import create_app
from console.help import BY_KEY, PAGES, key_of
from console.help_terms import TERMS
from tests.console.fake import FakeFacts
from tests.console.test_receipts import DELIVERY

SAMPLES = {
    "/loops/{instrument}/faults/{number}": "/loops/LI-fennock/faults/2",
    "{tank}": "ostler-n",
    "{instrument}": "LI-fennock",
    "{number}": "2",
    "{page}": "board",
}
DOCS_SAY = (
    "API MPMS", "API 2350", "API RP 2003", "ISA-18.2 / IEC 62682", "NE 43", "NE 107", "JCGM 100", "NUREG-0700",
)  # fmt: skip


def page_routes() -> list[str]:
    """Every address that answers a browser's GET with HTML; parts of pages too."""
    return [
        route.path
        for route in create_app(FakeFacts()).routes
        if isinstance(route, APIRoute)
        and "GET" in route.methods
        and getattr(route.response_class, "value", route.response_class) is HTMLResponse
    ]


def sample(path: str) -> str:
    path = SAMPLES.get(path, path)
    for name, value in SAMPLES.items():
        path = path.replace(name, value) if name[0] == "{" else path
    return path


def test_the_routes_are_found() -> None:
    assert {"/", "/tank/{tank}", "/alarms", "/sign-in", "/help/{page}", "/yard"} <= set(page_routes())


@pytest.mark.parametrize("route", page_routes())
async def test_every_page_leads_to_its_own_help(looker: httpx.AsyncClient, route: str) -> None:
    """A new page without an entry in console/help.py fails here; a part of a page has no head and needs none."""
    path = route
    if path.startswith("/receipts/{"):  # the fake farm waits for none before one is announced
        await looker.post("/api/receipts", json=DELIVERY | {"by": "Ada"})
        path = path.replace("{number}", "1")
    answer = await looker.get(sample(path))
    assert answer.status_code in (200, 422), "give the address a sample above"
    if answer.headers["content-type"].startswith("text/html") and answer.status_code == 200 and "<html" in answer.text:
        key = key_of(sample(path))
        assert key is not None, f"{route} has no help: give it an entry in console/help.py"
        assert route in BY_KEY[key].paths
        if route != "/sign-in":  # who is not signed in yet may not open the help: that page explains itself
            assert f'href="/help/{key}"' in answer.text
        help_page = await looker.get(f"/help/{key}")
        assert help_page.status_code == 200
        assert BY_KEY[key].about[0] in unescape(help_page.text)


def test_each_entry_is_of_a_page_that_there_is() -> None:
    routes = page_routes()
    assert [path for page in PAGES for path in page.paths if path not in routes] == []
    assert len(BY_KEY) == len(PAGES)


def test_each_term_exists_and_is_used() -> None:
    used = {name for page in PAGES for name in page.terms}
    assert used == set(TERMS)
    for page in PAGES:
        assert page.about, page.key
        assert page.terms, page.key
        assert len(set(page.terms)) == len(page.terms), page.key


def test_a_standard_is_named_as_the_guides_name_it() -> None:
    for term in TERMS.values():
        assert not term.standard or term.standard.startswith(DOCS_SAY), term.name


async def test_the_whole_help_has_every_page_and_term_once(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/help")).text
    for page in PAGES:
        assert text.count(f'<section id="{page.key}">') == 1
    assert len(re.findall(r"<tr><th scope=\"row\">[^<]+</th><td>[^<]+</td><td>", text)) == len(TERMS)
    assert "Shift + Tab" in text


async def test_an_unknown_help_says_where_all_of_it_is(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/help/nothing")
    assert answer.status_code == 404
    assert "/help has all of it" in answer.text


@pytest.mark.parametrize(
    ("path", "key"),
    [
        ("/alarms/every", "alarms-every"),
        ("/tank/pipit", "tank"),
        ("/loops/LI-pipit/faults/3", "fault"),
        ("/alarms/", "alarms"),
        ("/tank/", None),
        ("/nowhere", None),
    ],
)
def test_an_address_finds_its_help(path: str, key: str | None) -> None:
    assert key_of(path) == key
