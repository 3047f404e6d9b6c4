"""The addresses for machines that look after the daemon."""

import httpx

from tests.console.fake import FakeFacts


async def test_a_daemon_that_works_says_so(looker: httpx.AsyncClient) -> None:
    assert (await looker.get("/healthz")).json() == {"ok": True, "checks": [{"name": "loop", "ok": True, "text": ""}]}
    assert (await looker.get("/readyz")).json() == {"ok": True}
    metrics = await looker.get("/metrics")
    assert metrics.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert metrics.text == "gaugehouse_up 1.0\n"


async def test_one_that_does_not_is_a_503_with_the_reason(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.ill = "bus north: no poll came to an end for 31 s"
    for address in ("/healthz", "/readyz"):
        answer = await client.get(address)
        assert answer.status_code == 503
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["detail"] == facts.ill
