"""Movements on the tank page and in the API, over facts that are made up."""

from zoneinfo import ZoneInfo

import httpx

from console import movement_views
from tests.console.fake import MOVED, RUNS, FakeFacts

NOW = "2026-11-25T12:00:00.000Z"
UTC = ZoneInfo("UTC")


async def test_movements_are_asked_by_tank_and_by_time_newest_first(looker: httpx.AsyncClient) -> None:
    rows = (await looker.get("/api/movements", params={"tank": "fennock"})).json()
    assert [row["number"] for row in rows] == [8, 7]
    assert (await looker.get("/api/movements", params={"tank": "pipit"})).json() == []
    over = {"from": "2026-11-25T10:00:00Z", "to": "2026-11-25T11:00:00Z"}
    assert [row["number"] for row in (await looker.get("/api/movements", params=over)).json()] == [7]
    unknown = await looker.get("/api/movements", params={"tank": "elm"})
    assert unknown.status_code == 404
    assert "fennock" in unknown.json()["detail"]


def test_a_final_movement_tells_gross_and_standard_volume_with_their_uncertainty() -> None:
    shown = movement_views.movement(MOVED, NOW, UTC)
    assert (shown["kind"], shown["stage"], shown["ordered"]) == ("transfer out", "", "ordered")
    assert shown["gross"].replace("\u202f", " ") == "−30 120 ± 550"
    assert shown["standard"].replace("\u202f", " ") == "−29 840 ± 850"
    assert (shown["start"], shown["end"]) == ("10:00:00", "10:30:00")
    assert shown["notes"].replace("\u202f", " ").replace("\xa0", " ") == (
        "+5 200 L against the order; at 134 % of the agreed rate; began 12 min before it was ordered; with pipit:3"
    )


def test_one_that_runs_is_told_so_far_and_with_what_was_not_seen_of_it() -> None:
    shown = movement_views.movement(RUNS, NOW, UTC)
    assert (shown["stage"], shown["ordered"]) == ("so far", "not ordered")
    assert shown["gross"].replace("\u202f", " ") == "8 400 ± 600"
    assert (
        shown["notes"]
        == "another tank was ordered; under way when watching began; 95 s without a trusted level: no answer"
    )


async def test_the_tank_page_lists_them(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/tank/fennock")).text
    assert "transfer out" in text
    assert "with pipit:3" in text
    assert "none was found" in (await looker.get("/tank/ostler-n")).text


async def test_the_tank_page_comes_without_the_record_book(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    answer = await client.get("/tank/fennock")
    assert answer.status_code == 200
    assert "the record book cannot be read now" in answer.text
