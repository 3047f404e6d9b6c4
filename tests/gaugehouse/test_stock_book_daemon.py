"""The stock book of a running daemon by HTTP: it is made of what people wrote, and is not closed before its time."""

from pathlib import Path

from collector.clock import RealClock
from gaugehouse.days import parse_ms
from tests.gaugehouse.farms import running


async def test_the_running_daemon_answers_with_its_book_and_refuses_to_close_today(tmp_path: Path) -> None:
    noon = RealClock(120.0, start_ms=parse_ms("2026-11-24T12:00Z"))  # the day is not over before the test is
    async with running(tmp_path, speed=120.0, clock=noon) as run:
        await run.until(lambda live: all(tank["gsv_m3"] is not None for tank in live["tanks"]))
        async with run.client() as client:
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
