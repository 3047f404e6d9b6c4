"""A console around the fake farm, asked as a client on the same machine asks."""

from collections.abc import AsyncIterator, Callable, Sequence

import httpx
import pytest
from fastapi import FastAPI

from console.app import create_app
from tests.console.fake import FakeFacts

Client = Callable[..., httpx.AsyncClient]


@pytest.fixture
def facts() -> FakeFacts:
    return FakeFacts()


@pytest.fixture
async def client(facts: FakeFacts) -> AsyncIterator[httpx.AsyncClient]:
    async with make_client(facts) as asked:
        yield asked


@pytest.fixture(scope="module")
def untouched() -> FakeFacts:
    """The farm of `looker`."""
    return FakeFacts()


@pytest.fixture(scope="module")
def shared_app(untouched: FakeFacts) -> FastAPI:
    return app_of(untouched)


@pytest.fixture
async def looker(shared_app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """Asks a console that all tests of a file share: for those that change nothing in it. Making one takes longest."""
    async with client_of(shared_app) as asked:
        yield asked


def make_client(
    facts: FakeFacts, *, address: str = "127.0.0.1", port: int = 8600, proxies: Sequence[str] = ()
) -> httpx.AsyncClient:
    """`address`: where the request seems to come from."""
    return client_of(app_of(facts, port, proxies), address, port)


def app_of(facts: FakeFacts, port: int = 8600, proxies: Sequence[str] = ()) -> FastAPI:
    return create_app(facts, allow_hosts=["fuel.example"], port=port, proxies=proxies)


def client_of(app: FastAPI, address: str = "127.0.0.1", port: int = 8600) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app, client=(address, 50000), raise_app_exceptions=False)
    return httpx.AsyncClient(transport=transport, base_url=f"http://127.0.0.1:{port}")
