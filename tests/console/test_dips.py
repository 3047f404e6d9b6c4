"""Dips and density samples by HTTP and on their pages."""

import itertools
import re
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import pytest

from console import dip_views
from console.dip_words import DIP
from tests.console.fake import FakeFacts

BODY: dict[str, Any] = {"tank": "ostler-s", "by": "Ann", "readings_m": [6.391, 6.391]}


async def test_a_dip_is_written_and_listed_newest_first(client: httpx.AsyncClient) -> None:
    answer = await client.post("/api/dips", json=BODY | {"water_m": 0.003})
    assert answer.status_code == 200
    assert answer.json()["status"] == "done"
    rows = (await client.get("/api/dips", params={"tank": "ostler-s"})).json()
    assert [row["number"] for row in rows] == [7, 6, 5, 4, 3, 2, 1]
    assert rows[1]["difference_m"] == pytest.approx(0.011)
    assert rows[1]["within"] is False
    some = await client.get("/api/dips", params={"from": rows[2]["time"], "to": rows[0]["time"]})
    assert [row["number"] for row in some.json()] == [6, 5]
    assert (await client.get("/api/dips", params={"tank": "nowhere"})).status_code == 404


async def test_what_is_refused_says_why_and_a_verdict_writes_nothing(client: httpx.AsyncClient) -> None:
    early = await client.post("/api/dips", json=BODY | {"tank": "ostler-n"})
    assert (early.status_code, "static electricity" in early.json()["detail"]) == (409, True)
    told = await client.post("/api/dips/verdict", json=BODY | {"readings_m": [6.391, 6.399]})
    assert (told.status_code, "take another" in told.json()["refused"]) == (200, True)
    told = await client.post("/api/dips/verdict", json=BODY)
    assert told.json()["level_m"] == pytest.approx(6.391)
    assert len((await client.get("/api/dips")).json()) == 6
    for wrong in ({"readings_m": ["6"]}, {"readings_m": [1.0] * 21}, {"time": "noon"}, {"method": "guess"}, {"x": 1}):
        assert (await client.post("/api/dips", json=BODY | wrong)).status_code == 422
    assert (await client.post("/api/dips", json=BODY | {"tank": "nowhere"})).status_code == 404


async def test_samples_and_withdrawing(client: httpx.AsyncClient) -> None:
    body = {"tank": "ostler-s", "by": "Ann", "observed_kgpm3": 802.0, "observed_degC": 15.0}
    assert (await client.post("/api/samples", json=body)).json()["accepted"] is True
    assert (await client.post("/api/samples", json=body | {"observed_kgpm3": 850.0})).json()["accepted"] is False
    assert len((await client.get("/api/samples")).json()) == 2
    gone = await client.post("/api/samples/2/withdraw", json={"by": "Ann", "why": "wrong tank"})
    assert gone.status_code == 200
    assert (await client.post("/api/dips/99/withdraw", json={"by": "Ann", "why": "x"})).status_code == 404
    assert (await client.post("/api/dips/1/withdraw", json={"by": "Ann", "why": ""})).status_code == 422


async def test_the_trend_and_the_pages_tell_zero_and_what_to_have_checked(looker: httpx.AsyncClient) -> None:
    found = (await looker.get("/api/dips/trend", params={"tank": "ostler-s"})).json()
    assert found["check"][0]["what"] == "limit"
    page = (await looker.get("/dips/ostler-s")).text
    assert "have it checked by those who may set it" in page
    assert page.count('class="point"') == 12
    assert "static electricity" not in page
    assert DIP["not_done"] in page or "upper third" in page
    board = (await looker.get("/dips")).text
    assert "fuel flows: no dip, no sample" in board
    assert "not watched long enough to know: ask who moves fuel" in board
    assert board.count("not dipped yet") == 5


async def test_names_and_comments_are_never_markup(client: httpx.AsyncClient) -> None:
    await client.post("/api/dips", json=BODY | {"by": "<b>Ann</b>", "comment": "<script>x</script>"})
    page = (await client.get("/dips/ostler-s/now")).text
    assert "<script>" not in page
    assert "&lt;b&gt;Ann" in page


async def test_a_store_that_is_out_is_told(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    page = await client.get("/dips/ostler-s")
    assert (page.status_code, "does not answer now" in page.text) == (200, True)
    assert (await client.get("/api/dips")).status_code == 503


async def test_the_tank_page_says_when_it_was_dipped(looker: httpx.AsyncClient) -> None:
    page = (await looker.get("/tank/ostler-s")).text
    assert "Newest dip" in page
    assert "by Ann" in page
    assert "not dipped yet" in (await looker.get("/tank/quillmoor")).text


def test_marks_stand_where_their_figures_say() -> None:
    dips = [
        {"number": k, "difference_m": off, "difference_u95_m": 0.004, "within": abs(off) <= 0.008, "purpose": "stock",
         "level_m": level, "time": "2026-11-25T12:00:00.000Z"}
        for k, (off, level) in enumerate([(0.010, 2.0), (-0.010, 10.0), (0.0, 6.0)])
    ]  # fmt: skip
    drawn = dip_views.chart(dips, 0.008, [dip["level_m"] for dip in dips], None)
    high, low, middle = drawn["points"]
    assert high["y"] < middle["y"] < low["y"]
    assert middle["y"] == drawn["zero"] == pytest.approx((high["y"] + low["y"]) / 2, abs=0.2)
    assert high["x"] < middle["x"] < low["x"]
    assert drawn["limits"][0] > high["y"]
    assert all(point["high"] < point["y"] < point["low"] for point in drawn["points"])
    assert [rung["text"] for rung in drawn["rungs"]] == ["−10", "0", "+10"]
    assert [tick["text"] for tick in drawn["ticks"]] == ["2\u202f000.0", "6\u202f000.0", "10\u202f000.0"]
    empty = dip_views.chart([], 0.008, [], ZoneInfo("Etc/UTC"))
    assert empty["points"] == []
    assert empty["ticks"] == []


def test_texts_below_a_chart_do_not_lie_upon_each_other() -> None:
    dip = {"number": 1, "difference_m": 0.0, "difference_u95_m": 0.004, "within": True, "purpose": "stock"}
    for levels, texts in (([8.0, 8.05], 1), ([8.0, 8.5], 2), ([2.0, 8.0], 3), ([8.0], 1)):
        dips = [dip | {"level_m": level} for level in levels]
        ticks = dip_views.chart(dips, 0.008, levels, None)["ticks"]
        assert len(ticks) == texts
        assert all(b["x"] - a["x"] > 100 for a, b in itertools.pairwise(ticks))


def test_every_word_of_a_state_is_there() -> None:
    state = {"wait_s": 61.0, "flows": False, "watched": True}
    assert re.search(r"wait 2 min more", dip_views.wait(state))
    assert dip_views.wait(state | {"wait_s": 0.0, "watched": False}) == DIP["unwatched"]
    assert dip_views.wait(state | {"wait_s": 0.0}) == DIP["free"]
