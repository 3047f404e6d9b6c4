"""The stock book of a running daemon by HTTP: it is made of what people wrote, and is not closed before its time."""

from pathlib import Path

import httpx
import pytest

from tests.gaugehouse.farms import running


@pytest.mark.timeout(90)
async def test_the_running_daemon_answers_with_its_book_and_refuses_to_close_today(tmp_path: Path) -> None:
    async with running(tmp_path, speed=120.0) as run:
        await run.until(lambda live: all(tank["gsv_m3"] is not None for tank in live["tanks"]), 45)
        async with httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client:
            stock = (await client.get("api/stock")).json()
            book = (await client.get("api/stock/book")).json()
            page = await client.get("stock")
            product = book["products"][0]
            body = {"period": "day", "name": book["period"], "product": product["product"], "by": "Ada"}
            refused = await client.post("api/stock/close", json=body)
            unknown = await client.post("api/stock/close", json=body | {"product": "mud"})
    assert {tank["tank"] for tank in stock["tanks"]} == {
        tank["tank"] for product in book["products"] for tank in product["tanks"]
    }
    assert page.status_code == 200
    assert "no opening balance" in product["whole"]["missing"][0]
    assert refused.status_code == 409
    assert "not over yet" in refused.json()["detail"]
    assert unknown.status_code == 422
    assert "no product 'mud'" in unknown.json()["detail"]
