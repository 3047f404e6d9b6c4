"""What scripts rely on: paths, names and bounds of the HTTP API."""

from datetime import datetime

import httpx
import pytest

from models.reading import READING_COLUMNS
from tests.console.fake import T0_MS, FakeFacts

DAY = "2026-11-24T12:00:00Z"


async def get(client: httpx.AsyncClient, path: str, **query: str | int) -> httpx.Response:
    return await client.get(path, params=query)


async def test_tanks_carry_the_columns_of_readings_csv_and_more(looker: httpx.AsyncClient) -> None:
    tanks = (await get(looker, "/api/tanks")).json()
    assert [tank["tank"] for tank in tanks][:2] == ["ostler-n", "ostler-s"]
    for tank in tanks:
        assert set(READING_COLUMNS) | {"age_s", "last_good_level_m", "last_good_time", "alarms"} <= set(tank)


async def test_one_tank_comes_with_what_is_fixed_about_it(looker: httpx.AsyncClient) -> None:
    tank = (await get(looker, "/api/tanks/quillmoor")).json()
    assert tank["tank"] == "quillmoor"
    assert tank["facts"]["capacity_m3"] == pytest.approx(58.4, abs=0.1)


async def test_the_chain_ends_at_the_reading(looker: httpx.AsyncClient) -> None:
    chain = (await get(looker, "/api/tanks/ostler-s/chain")).json()
    assert {"tank", "time", "quality", "reason", "steps", "result"} <= set(chain)
    assert chain["steps"][-1]["value"] == chain["result"]["gsv_m3"]


async def test_the_trend_has_lists_of_one_length_with_times_that_bear_a_zone(looker: httpx.AsyncClient) -> None:
    answer = await get(looker, "/api/tanks/ostler-n/trend", quantity="level_m", start=DAY, span=86400, points=200)
    trend = answer.json()
    assert trend["unit"] == "m"
    assert {len(trend[key]) for key in ("t", "min", "mean", "max", "good")} == {200}
    assert trend["t"][0] == "2026-11-24T12:00:00.000Z"
    assert all(datetime.fromisoformat(t).tzinfo for t in trend["t"])
    assert None in trend["mean"], "the fake's hole every seven hours"


async def test_a_start_with_an_offset_means_the_same_instant(looker: httpx.AsyncClient) -> None:
    path, rest = "/api/tanks/ostler-n/trend", {"quantity": "tov_m3", "span": 600, "points": 10}
    here = await get(looker, path, start="2026-11-24T12:00:00Z", **rest)
    there = await get(looker, path, start="2026-11-24T14:00:00+02:00", **rest)
    assert here.json() == there.json()


@pytest.mark.parametrize(
    ("query", "where"),
    [
        ({"quantity": "colour"}, "query.quantity"),
        ({"start": "2026-11-24T12:00:00"}, "query.start"),
        ({"start": "yesterday"}, "query.start"),
        ({"span": 0}, "query.span"),
        ({"span": "inf"}, "query.span"),
        ({"span": 10**12}, "query.span"),
        ({"points": 9}, "query.points"),
        ({"points": 2001}, "query.points"),
    ],
)
async def test_a_trend_out_of_bounds_is_refused_by_name(
    looker: httpx.AsyncClient, query: dict[str, str | int], where: str
) -> None:
    asked = {"quantity": "level_m", "start": DAY, "span": 3600, "points": 100} | query
    answer = await get(looker, "/api/tanks/ostler-n/trend", **asked)
    assert answer.status_code == 422
    assert [error["where"] for error in answer.json()["errors"]] == [where]


async def test_a_stretch_too_short_for_its_points_or_past_the_calendar_is_refused(looker: httpx.AsyncClient) -> None:
    asked: dict[str, str | float] = {"quantity": "level_m", "start": DAY, "span": 0.4, "points": 500}
    trend, aggregate = "/api/tanks/ostler-n/trend", "/api/tanks/ostler-n/aggregate"
    refused = await get(looker, trend, **asked)
    assert (refused.status_code, "query.span: 0.4 s in 500 points" in refused.json()["detail"]) == (422, True)
    asked |= {"span": 60, "points": 10, "aggregate": "Average", "interval": 1}
    for start in ("9999-12-31T23:59:59Z", "9999-12-31T23:59:59-01:00", "0001-01-01T00:00:00+14:00"):
        for path in (trend, aggregate):
            refused = await get(looker, path, **asked | {"start": start})
            assert (refused.status_code, "9999" in refused.json()["detail"]) == (422, True)


async def test_standing_alarms_come_in_the_order_in_which_people_take_them(looker: httpx.AsyncClient) -> None:
    alarms = (await get(looker, "/api/alarms")).json()
    assert [alarm["id"] for alarm in alarms] == [
        "harrowmead.high_high",
        "harrowmead.critical_high",
        "harrowmead.high",
        "ostler-n.high",
        "LI-fennock.signal_low",
    ]


async def acknowledge(client: httpx.AsyncClient, alarm: str, occurrence: int, by: str = "Ada") -> httpx.Response:
    body = {"occurrence": occurrence, "by": by, "comment": "valve shut"}
    return await client.post(f"/api/alarms/{alarm}/acknowledge", json=body)


async def test_an_alarm_is_acknowledged_by_name_and_remembers_who_was_first(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    first = await acknowledge(client, "ostler-n.high", 1)
    assert (first.status_code, first.json()["status"], first.json()["acknowledged_by"]) == (200, "accepted", "Ada")
    assert facts.standing["ostler-n.high"]["comment"] == "valve shut"
    second = await acknowledge(client, "ostler-n.high", 1, by="Bo")
    assert (second.status_code, second.json()["status"], second.json()["acknowledged_by"]) == (200, "already", "Ada")
    assert second.json()["time"] == first.json()["time"]


async def test_an_older_occurrence_is_out_of_date(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.raise_alarm(facts.tanks[0], "high", T0_MS)
    answer = await acknowledge(client, "ostler-n.high", 1)
    assert answer.status_code == 409
    assert answer.json()["occurrence"] == 2
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


async def test_an_unknown_alarm_is_not_found(looker: httpx.AsyncClient) -> None:
    assert (await acknowledge(looker, "nowhere.high", 1)).status_code == 404


@pytest.mark.parametrize(
    "body",
    [
        {"occurrence": 1},
        {"occurrence": 1, "by": "   "},
        {"occurrence": 1, "by": "x" * 65},
        {"occurrence": 1, "by": "Ada\x07"},
        {"occurrence": 1, "by": "Ada", "comment": "two\nlines"},
        {"occurrence": "1", "by": "Ada"},
        {"occurrence": True, "by": "Ada"},
        {"occurrence": -1, "by": "Ada"},
        {"occurrence": 1, "by": "Ada", "role": "root"},
        ["occurrence"],
    ],
)
async def test_an_acknowledgement_without_a_name_or_with_nonsense_changes_nothing(
    client: httpx.AsyncClient, facts: FakeFacts, body: object
) -> None:
    answer = await client.post("/api/alarms/ostler-n.high/acknowledge", json=body)
    assert answer.status_code == 422
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


async def test_extremes_are_reset_by_name(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post("/api/tanks/ostler-s/extremes/reset", json={"by": "Ada"})
    assert answer.json() == {"status": "done", "tank": "ostler-s", "by": "Ada", "time": "2026-11-25T12:00:00.000Z"}
    assert facts.resets["ostler-s"][0] == "Ada"


async def test_faults_are_asked_by_tank_or_by_instrument(looker: httpx.AsyncClient) -> None:
    by_tank = (await get(looker, "/api/faults", tank="fennock")).json()
    assert [row["class"] for row in by_tank] == ["fail_low", "no_answer"]
    assert by_tank == (await get(looker, "/api/faults", instrument="LI-fennock")).json()
    assert (await get(looker, "/api/faults", instrument="LI-pipit")).json() == []
    mixed = await get(looker, "/api/faults", tank="fennock", instrument="LI-pipit")
    assert mixed.status_code == 422
    assert "LI-fennock" in mixed.json()["detail"]


async def test_faults_keep_to_the_stretch_asked_for(looker: httpx.AsyncClient) -> None:
    rows = (await get(looker, "/api/faults", **{"from": "2026-11-25T11:00:00Z", "to": "2026-11-25T12:00:00Z"})).json()
    assert [row["class"] for row in rows] == ["fail_low"]


async def test_history_is_newest_first_and_cut_to_the_limit(looker: httpx.AsyncClient) -> None:
    rows = (await get(looker, "/api/alarms/history", limit=2)).json()
    assert [row["id"] for row in rows] == ["ostler-n.high", "LI-fennock.signal_low"]


async def test_live_is_one_object_with_everything(looker: httpx.AsyncClient) -> None:
    live = (await get(looker, "/api/live")).json()
    assert set(live) == {"time", "seq", "build", "tanks", "alarms", "tests", "loops", "buses", "points"}


async def test_a_loops_budget_is_that_of_its_supply(looker: httpx.AsyncClient) -> None:
    (supply,) = (await get(looker, "/api/loops/LI-pipit/budget")).json()
    assert (supply["supply"], supply["fits"], supply["load_percent"]) == ("psu", True, 11.0)
    assert supply["circuits"][0]["spare_at_20mA_V"] == 7.0  # 24 V less 12 V less 20 mA x 250 ohm
    assert (await get(looker, "/api/loops/LI-nobody/budget")).status_code == 404


@pytest.mark.parametrize("path", ["/api/site", "/api/loops", "/api/loops/LI-pipit", "/api/openapi.json"])
async def test_the_other_addresses_answer(looker: httpx.AsyncClient, path: str) -> None:
    assert (await get(looker, path)).status_code == 200


async def test_the_channels_of_notification_are_told(looker: httpx.AsyncClient) -> None:
    (channel,) = (await get(looker, "/api/notify")).json()
    assert channel["id"] == "duty"
    assert channel["failing"] is False


async def test_the_performance_figures_come_whole_by_month_and_by_day(looker: httpx.AsyncClient) -> None:
    answer = await get(looker, "/api/alarms/performance")
    said = answer.json()
    assert answer.status_code == 200
    assert said["operator_positions"] == 1
    assert said["enough"] is True
    assert [one["figure"] for one in said["whole"]["judged"]] == [aim["figure"] for aim in said["aims"]]
    assert sum(day["annunciations"] for day in said["days"]) == said["whole"]["annunciations"] > 0
    assert {day["name"][:7] for day in said["days"]} == {month["name"] for month in said["months"]}
    short = (await get(looker, "/api/alarms/performance", **{"from": DAY, "to": "2026-11-25T11:00:00Z"})).json()
    assert short["enough"] is False
    assert short["from"] == "2026-11-24T12:00:00.000Z"


async def test_the_servers_of_readings_are_told(looker: httpx.AsyncClient) -> None:
    (server,) = (await get(looker, "/api/servers")).json()
    assert (server["id"], server["waiting"], server["failure"]) == ("archive", 6, "answers 503: busy")


async def test_the_performance_figures_are_described_field_by_field(looker: httpx.AsyncClient) -> None:
    described = (await looker.get("/api/openapi.json")).json()["components"]["schemas"]
    answer = (await get(looker, "/api/alarms/performance")).json()
    assert set(described["Performance"]["required"]) == set(answer)
    assert set(described["PeriodFigures"]["required"]) == set(answer["whole"])


async def test_a_movement_is_ordered_and_ended_by_name(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    path = "/api/tanks/ostler-s/plan"
    answer = await client.post(path, json={"quantity_m3": 20, "rate_m3_per_h": 60, "by": "Ada"})
    assert (answer.status_code, answer.json()["by"], answer.json()["kind"]) == (200, "Ada", "receipt")
    assert facts.plans["ostler-s"]["rate_m3_per_s"] == pytest.approx(1 / 60)
    assert (await client.post(path, json={"quantity_m3": 200, "by": "Ada"})).status_code == 409
    assert (await client.post(path + "/end", json={"by": "Bo"})).status_code == 200
    assert (await client.post(path + "/end", json={"by": "Bo"})).status_code == 404


@pytest.mark.parametrize(
    "body",
    [{"quantity_m3": 0, "by": "Ada"}, {"quantity_m3": 1}, {"quantity_m3": 1, "by": " "},
     {"quantity_m3": "much", "by": "A"}, {"quantity_m3": 1, "by": "A", "kind": "gift"},
     {"quantity_m3": 1, "by": "A", "rate_m3_per_h": -1}],
)  # fmt: skip
async def test_an_order_that_does_not_hold_together_is_refused(
    client: httpx.AsyncClient, body: dict[str, object]
) -> None:
    assert (await client.post("/api/tanks/ostler-s/plan", json=body)).status_code == 422
