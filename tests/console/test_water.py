"""The pages of water, forecast and what is due, and their JSON and CSV twins: one state, the same figures and words."""

import csv
import io
from typing import Any

import httpx
import pytest

from console import water_views
from console.facts import Json
from console.figures import number
from console.water_words import STATES, VERDICTS
from inventory.draincheck import CAUTION
from inventory.duelist import DueState
from inventory.wateraccount import Verdict
from tests.console.fake import FakeFacts

CHECK: dict[str, Any] = {"by": "Ada", "result": "clear", "appearance": "clear and bright"}


def test_every_verdict_and_state_has_its_words() -> None:
    assert set(VERDICTS) == {verdict.value for verdict in Verdict}
    assert list(STATES) == [state.value for state in DueState]


async def test_the_water_page_shows_the_account_that_the_api_tells(looker: httpx.AsyncClient) -> None:
    accounts = (await looker.get("/api/water")).json()
    page = (await looker.get("/water")).text
    assert [one["tank"] for one in accounts][:2] == ["ostler-n", "ostler-s"]
    for one in accounts:
        assert VERDICTS[one["verdict"]] in page
        for term in one["terms"]:
            assert term["term"] in page
            assert number(1000 * term["high_m3"], 2) in page
    assert CAUTION.replace("'", "&#39;") in page
    assert (await looker.get("/api/water/ostler-n")).json() == accounts[0]
    assert (await looker.get("/api/water/elm")).status_code == 404


async def test_the_cut_is_drawn_with_gaps_dips_and_drains(facts: FakeFacts) -> None:
    told = water_views.account((await facts.water(["ostler-n"]))[0], "Ostler", "2026-11-25T12:00:00Z", _utc())
    chart = told["chart"]
    assert len(chart["lines"]) == 2  # three days are missing in the midst
    assert [len(line.split()) for line in chart["lines"]] == [12, 15]
    assert len(chart["dips"]) == len(chart["drains"]) == 1
    for line in chart["lines"]:
        for point in line.split():
            x, y = map(float, point.split(","))
            assert chart["left"] <= x <= chart["end"]
            assert chart["top"] <= y <= chart["base"]
    assert (
        told["slope"].replace("\N{NO-BREAK SPACE}", " ") == "+0.40 mm a day, standard error 0.05 mm (28 cuts): it rises"
    )
    bare = water_views.account((await facts.water(["pipit"]))[0], "Pipit", "2026-11-25T12:00:00Z", _utc())
    assert bare["chart"] is None
    assert bare["lying"] == "not known"


def _utc() -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo("Etc/UTC")


async def test_a_drain_check_is_written_listed_and_taken_back(client: httpx.AsyncClient) -> None:
    answer = await client.post("/api/tanks/ostler-s/drain-check", json=CHECK)
    assert answer.status_code == 200
    number_ = answer.json()["number"]
    assert answer.json()["next_due"] == "2026-11-26"
    rows = (await client.get("/api/drain-checks", params={"tank": "ostler-s"})).json()
    assert [row["number"] for row in rows] == [number_]
    assert "clear and bright" in (await client.get("/water/checks")).text
    table = list(csv.DictReader(io.StringIO((await client.get("/api/drain-checks.csv")).text)))
    assert [row["number"] for row in table] == ["1", "2", str(number_)]
    assert float(table[0]["water_m3"]) == 0.00025
    gone = await client.post(f"/api/drain-checks/{number_}/withdraw", json={"by": "Ada", "comment": "wrong tank"})
    assert gone.status_code == 200
    assert "withdrawn by Ada: wrong tank" in (await client.get("/water/checks")).text
    again = await client.post(f"/api/drain-checks/{number_}/withdraw", json={"by": "Ada", "comment": "wrong tank"})
    assert again.status_code == 404
    assert len((await client.get("/api/drain-checks.csv")).text.splitlines()) == 3


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        (CHECK | {"by": ""}, 422, "by"),
        (CHECK | {"result": "fine"}, 422, "result"),
        (CHECK | {"appearance": "nice"}, 422, "clear and bright"),
        (CHECK | {"water_m3": 250}, 422, "water_m3"),
        ({"by": "Ada", "result": "water", "appearance": "hazy"}, 422, "water_m3"),
        ({"by": "Ada", "result": "not done"}, 422, "why"),
        (CHECK | {"litres": 3}, 422, "litres"),
        (CHECK | {"day": "1.3.2026"}, 422, "day"),
    ],
)
async def test_a_check_that_is_wrong_is_refused_by_the_field(
    client: httpx.AsyncClient, body: dict[str, Any], status: int, words: str
) -> None:
    answer = await client.post("/api/tanks/ostler-s/drain-check", json=body)
    assert answer.status_code == status
    assert words in answer.text
    assert answer.headers["content-type"].startswith("application/problem+json")


async def test_a_check_of_a_tank_that_there_is_not_is_told(client: httpx.AsyncClient) -> None:
    assert (await client.post("/api/tanks/elm/drain-check", json=CHECK)).status_code == 404
    assert (await client.get("/api/drain-checks", params={"tank": "elm"})).status_code == 404


async def test_the_due_page_has_every_row_in_its_group(looker: httpx.AsyncClient) -> None:
    told = (await looker.get("/api/due")).json()
    page = (await looker.get("/due")).text
    for row in told["dues"]:
        assert row["what"] in page
        assert row["last"] in page or row["last"][10:] in page
        assert f'href="{row["link"]}"' in page
    places = [page.index(f'data-state="{state}"') for state in STATES]
    assert places == sorted(places)
    assert "22\N{NO-BREAK SPACE}Nov by Bo: water" in page
    assert "not done on 24\N{NO-BREAK SPACE}Nov (Cy): thunderstorm" in page
    assert "2026-11" not in page
    assert "2 overdue, 1 due now, 1 within a week, 1 later" in page
    table = list(csv.DictReader(io.StringIO((await looker.get("/api/due.csv")).text)))
    assert [row["kind"] for row in table] == [row["kind"] for row in told["dues"]]
    assert table[0]["until"] == ""
    assert 'href="/due" aria-current="page"' in page


async def test_the_forecast_page_says_what_it_rests_on_and_when_it_says_nothing(looker: httpx.AsyncClient) -> None:
    told = (await looker.get("/api/forecast")).json()
    page = (await looker.get("/forecast")).text
    assert "19.2" in page
    assert "15.0 … 24.7" in page
    assert "50 of 56 days known (31 by papers, 19 by the gauge)" in page
    assert "7 Dec 2026" in page
    assert "order now" in page
    assert told[2]["why"] in page
    assert "not released: 55.1" in page
    assert "is settling, settled at 26 Nov" in page
    assert "ostler-s" not in page
    assert "low of" not in page
    table = list(csv.DictReader(io.StringIO((await looker.get("/api/forecast.csv")).text)))
    assert [row["cover_days"] for row in table] == ["19.200000", "19.200000", ""]
    assert table[1]["order_now"] == "yes"


async def test_a_site_that_hands_nothing_out_is_told_so(
    client: httpx.AsyncClient, facts: FakeFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def none() -> list[Json]:
        return []

    monkeypatch.setattr(facts, "forecast", none)
    assert "No product of this site is handed out." in (await client.get("/forecast")).text


async def test_a_store_that_is_silent_is_told_on_the_pages_and_by_503(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    facts.store_out = True
    for path in ("/water", "/due", "/forecast", "/water/checks", "/due/list"):
        page = await client.get(path)
        assert page.status_code == 200
        assert "cannot be read now" in page.text
    for path in ("/api/water", "/api/due", "/api/forecast", "/api/drain-checks"):
        assert (await client.get(path)).status_code == 503
