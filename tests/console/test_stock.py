"""The stock page and its JSON twin: the same figures, each with its uncertainty or with why there is none."""

import httpx

from console.figures import written


async def test_the_page_shows_every_tank_with_its_uncertainty_and_the_sum(client: httpx.AsyncClient) -> None:
    stock = (await client.get("/api/stock")).json()
    page = (await client.get("/stock")).text
    for line in stock["tanks"]:
        assert written("gsv_m3", line["gsv_m3"]) in page
        if line["gsv_m3"] is not None:
            assert f"± {written('gsv_u95_m3', line['gsv_u95_m3'])}" in page
    assert any(line["gsv_m3"] is None and line["why"] in page for line in stock["tanks"])
    assert any(product["missing"] for product in stock["products"])
    assert "not known without" in page
    assert 'href="/stock" aria-current="page"' in page
