"""The HTTP API of the history: bounds, names and what is told of a gap."""

from typing import get_args

import httpx
import pytest

from console.history_api import Name
from history.aggregates import AGGREGATES
from tests.console.fake import FakeFacts

DAY = "2026-11-24T12:00:00Z"
ASKED = {"quantity": "level_m", "aggregate": "TimeAverage2", "start": DAY, "span": 86400, "interval": 3600}


async def get(client: httpx.AsyncClient, tank: str = "ostler-n", **query: str | float) -> httpx.Response:
    return await client.get(f"/api/tanks/{tank}/aggregate", params=ASKED | query)


def test_the_api_offers_every_aggregate_that_there_is() -> None:
    assert get_args(Name) == tuple(AGGREGATES)


async def test_each_interval_has_a_figure_a_status_and_how_much_of_it_was_good(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    answer = (await get(client, stepped="true", uncertain="usable")).json()
    assert {len(answer[key]) for key in ("t", "value", "status", "good_percent")} == {24}
    assert (answer["t"][0], answer["value"][0], answer["status"][0]) == (
        "2026-11-24T12:00:00.000Z", None, "BadNoData",
    )  # fmt: skip
    assert (answer["unit"], answer["aggregate"], answer["tank"]) == ("m", "TimeAverage2", "ostler-n")
    assert (facts.asked["stepped"], facts.asked["uncertain_is_bad"]) == (True, False)


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ({"aggregate": "Mean"}, 422, "query.aggregate"),
        ({"quantity": "level"}, 422, "query.quantity"),
        ({"interval": 0}, 422, "query.interval"),
        ({"interval": 1}, 422, "at most 2000 intervals"),
        ({"start": "2026-11-24T12:00:00"}, 422, "query.start"),
        ({"quantity": "water_m"}, 422, "no longer kept"),
        ({"tank": "elm"}, 404, "no tank elm"),
    ],
)
async def test_a_question_out_of_bounds_is_refused_by_name(
    looker: httpx.AsyncClient, query: dict[str, str | float], status: int, words: str
) -> None:
    answer = await get(looker, **query)  # type: ignore[arg-type]  # the tank's id is among them
    assert answer.status_code == status
    assert words in answer.json()["detail"]


async def test_a_store_that_is_away_is_said(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    assert (await get(client)).status_code == 503


SAID = {"from": DAY, "to": "2026-11-24T13:00:00Z", "quality": "bad", "comment": "well blocked", "by": "Ada"}


async def test_readings_are_requalified_by_name(client: httpx.AsyncClient) -> None:
    answer = await client.post("/api/tanks/ostler-n/requalify", json=SAID | {"reason": "BadDeviceFailure"})
    assert answer.status_code == 200
    told = answer.json()
    assert (told["status"], told["by"], told["from"]) == ("done", "Ada", "2026-11-24T12:00:00.000Z")


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"by": " "}, 422, "body.by"),
        ({"comment": ""}, 422, "body.comment"),
        ({"quality": "good"}, 422, "body.quality"),
        ({"from": "2026-11-24T12:00:00"}, 422, "body.from"),
        ({"more": 1}, 422, "body.more"),
    ],
)
async def test_a_requalification_that_is_not_whole_is_refused_by_name(
    client: httpx.AsyncClient, body: dict[str, object], status: int, words: str
) -> None:
    answer = await client.post("/api/tanks/ostler-n/requalify", json=SAID | body)
    assert answer.status_code == status
    assert words in answer.json()["detail"]
    assert (await client.post("/api/tanks/elm/requalify", json=SAID)).status_code == 404


async def test_how_the_files_are_is_told(looker: httpx.AsyncClient) -> None:
    answer = (await looker.get("/api/history/files")).json()
    assert answer == {"unclean": ["readings.sqlite"], "done": True, "faults": []}
