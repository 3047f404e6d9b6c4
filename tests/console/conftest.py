"""A console around the fake farm, asked as a client on the same machine asks."""

from collections.abc import AsyncIterator, Callable, Sequence

import httpx
import pytest

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


def make_client(
    facts: FakeFacts, *, address: str = "127.0.0.1", port: int = 8600, proxies: Sequence[str] = ()
) -> httpx.AsyncClient:
    """`address`: where the request seems to come from."""
    app = create_app(facts, allow_hosts=["fuel.example"], port=port, proxies=proxies)
    transport = httpx.ASGITransport(app, client=(address, 50000), raise_app_exceptions=False)
    return httpx.AsyncClient(transport=transport, base_url=f"http://127.0.0.1:{port}")
