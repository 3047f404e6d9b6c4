"""Several tanks in one chart: series, CSV, marks on the axis, and a page whose address says what is in view.

Expectations about stretches are made by hand from the rows in each test.
"""

import csv
import io
import json
import re
from typing import Any

import httpx
import pytest

from console.trend_views import MOST_MARKS, alarm_marks, fault_marks, in_view, movement_marks
from tests.console.fake import T0_MS, FakeFacts, iso

START = iso(T0_MS - 3 * 3_600_000)
SPAN = {"start": START, "span": 3 * 3600}


async def test_series_come_by_quantity_and_tank_as_asked(looker: httpx.AsyncClient) -> None:
    asked = {"tanks": "pipit,ostler-n", "quantities": "level_m,tov_m3", "points": 30, **SPAN}
    told = (await looker.get("/api/trends", params=asked)).json()
    assert (told["start"], told["span_s"]) == (START, 10_800)
    assert [(one["quantity"], one["tank"]) for one in told["series"]] == [
        ("level_m", "pipit"), ("level_m", "ostler-n"), ("tov_m3", "pipit"), ("tov_m3", "ostler-n"),
    ]  # fmt: skip
    alone = (await looker.get("/api/tanks/pipit/trend", params={"quantity": "level_m", "points": 30, **SPAN})).json()
    assert {name: told["series"][0][name] for name in alone} == alone


@pytest.mark.parametrize(
    ("changed", "status", "says"),
    [
        ({"tanks": "pipit,nowhere"}, 404, "this site has no tank nowhere; it has: ostler-n"),
        ({"tanks": "pipit,pipit"}, 422, "name each only once"),
        ({"tanks": ",".join("abcdefg")}, 422, "tanks"),
        ({"tanks": ""}, 422, "tanks"),
        ({"quantities": "level_m,tov_m3,mass_kg"}, 422, "quantities"),
        ({"quantities": "beauty"}, 422, "quantities"),
        ({"span": 0}, 422, "span"),
        ({"points": 2001}, 422, "points"),
        ({"points": 2000, "span": 1.5}, 422, "query.span: 1.5 s in 2000 points; a point is 1 ms or longer"),
        ({"start": "9999-12-31T23:59:59Z"}, 422, "query.start: the stretch ends after the year 9999"),
    ],
)
async def test_what_cannot_be_drawn_is_refused_with_what_and_where(
    looker: httpx.AsyncClient, changed: dict[str, Any], status: int, says: str
) -> None:
    for path in ("/api/trends", "/api/trends.csv"):
        answer = await looker.get(path, params={"tanks": "pipit", "quantities": "level_m", **SPAN, **changed})
        assert answer.status_code == status
        assert says in answer.json()["detail"]


async def test_the_csv_holds_what_is_in_view_to_the_decimals_of_the_readings(looker: httpx.AsyncClient) -> None:
    asked = {"tanks": "ostler-n,pipit", "quantities": "level_m", "points": 36, **SPAN}
    answer = await looker.get("/api/trends.csv", params=asked)
    assert answer.headers["content-type"].startswith("text/csv")
    assert 'filename="trend-2026-11-25.csv"' in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    told = (await looker.get("/api/trends", params=asked)).json()["series"]
    assert len(rows) == 72
    first = told[0]
    assert rows[0] == {
        "tank": "ostler-n", "quantity": "level_m", "unit": "m", "time": START,
        "min": f"{first['min'][0]:.5f}", "mean": f"{first['mean'][0]:.5f}", "max": f"{first['max'][0]:.5f}",
        "good": f"{first['good'][0]:.3f}",
    }  # fmt: skip
    gap = [row for row in rows if row["mean"] == ""]
    assert gap, "the fake farm has a hole before now"
    assert {(row["min"], row["max"], row["good"]) for row in gap} == {("", "", "0.000")}


async def test_a_store_that_is_away_is_told(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    for path in ("/api/trends", "/api/trends.csv", "/api/trends/marks"):
        asked = {"tanks": "pipit", **SPAN} | ({} if "marks" in path else {"quantities": "level_m"})
        assert (await client.get(path, params=asked)).status_code == 503


async def test_marks_are_those_of_the_tanks_that_are_drawn(looker: httpx.AsyncClient) -> None:
    told = (await looker.get("/api/trends/marks", params={"tanks": "fennock", **SPAN})).json()
    assert told["left_out"] == 0
    marks = {(mark["kind"], mark["words"]) for mark in told["marks"]}
    assert ("alarm", "Level signal failed low") in marks
    assert any(kind == "movement" and words.startswith("transfer out") for kind, words in marks)
    assert sum(kind == "fault" for kind, _ in marks) == 2
    assert {mark["tank"] for mark in told["marks"]} == {"fennock"}
    other = (await looker.get("/api/trends/marks", params={"tanks": "ostler-s", **SPAN})).json()
    assert other == {"marks": [], "left_out": 0}


def row(time: str, event: str, state: str, source: str = "palm") -> dict[str, Any]:
    return {
        "time": time, "id": f"{source}.high", "source": source, "condition": "high", "name": "High level",
        "event": event, "state": state, "priority": 2,
    }  # fmt: skip


def test_an_alarm_lasts_from_raised_to_returned_and_acknowledging_ends_nothing() -> None:
    rows = [
        row("2026-01-01T10:00:00.000Z", "raised", "unacknowledged"),
        row("2026-01-01T10:05:00.000Z", "acknowledged", "acknowledged"),
        row("2026-01-01T10:20:00.000Z", "returned", "normal"),
        row("2026-01-01T11:00:00.000Z", "raised", "unacknowledged"),
    ]
    marks = alarm_marks(reversed(rows), [], {"palm": "palm"})
    assert [(mark["start"][11:16], mark["end"] and mark["end"][11:16]) for mark in marks] == [
        ("10:00", "10:20"), ("11:00", None),
    ]  # fmt: skip


def test_one_that_was_raised_before_has_no_start_and_one_of_another_tank_is_left_out() -> None:
    rows = [
        row("2026-01-01T10:20:00.000Z", "returned", "returned_unacknowledged"),
        row("2026-01-01T10:30:00.000Z", "raised", "unacknowledged", "elm"),
    ]
    (mark,) = alarm_marks(rows, [], {"palm": "palm"})
    assert (mark["start"], mark["end"]) == (None, "2026-01-01T10:20:00.000Z")


def test_an_alarm_that_has_stood_for_longer_than_was_asked_for_comes_from_the_live_state() -> None:
    alarm = row("", "", "acknowledged") | {"raised": "2025-06-01T00:00:00.000Z", "returned": None}
    (mark,) = alarm_marks([], [alarm], {"palm": "palm"})
    assert (mark["start"], mark["end"], mark["words"]) == ("2025-06-01T00:00:00.000Z", None, "High level")
    again = row("2026-01-01T10:00:00.000Z", "raised", "unacknowledged")
    assert len(alarm_marks([again], [alarm], {"palm": "palm"})) == 1, "one that the rows tell of is not told twice"


def test_a_fault_marks_every_tank_that_its_loop_measures_and_a_movement_says_its_volume() -> None:
    fault = {"instrument": "LI-1", "number": 3, "class": "fail_low", "start": START, "end": None}
    assert [mark["tank"] for mark in fault_marks([fault], {"LI-1": ["palm", "elm"]})] == ["palm", "elm"]
    moved = {"tank": "palm", "number": 4, "kind": "receipt", "start": START, "end": None, "gov_m3": None, "tov_m3": 8.4}
    (mark,) = movement_marks([moved])
    assert mark["words"] == "receipt 8\N{NARROW NO-BREAK SPACE}400\N{NO-BREAK SPACE}L"


def test_of_too_many_marks_the_longest_stay_and_the_rest_is_counted() -> None:
    def mark(k: int, seconds: int) -> dict[str, Any]:
        start = T0_MS + k * 60_000
        return {"kind": "alarm", "id": f"a{k:04}", "start": iso(start), "end": iso(start + seconds * 1000)}

    marks = [mark(k, 30 if k % 100 == 7 else 2) for k in range(MOST_MARKS + 50)]
    told = in_view(marks, iso(T0_MS), iso(T0_MS + 86_400_000))
    assert (len(told["marks"]), told["left_out"]) == (MOST_MARKS, 50)
    assert sum(one["id"].endswith("07") for one in told["marks"]) == 7
    assert told["marks"] == sorted(told["marks"], key=lambda one: one["start"])
    assert in_view(marks, iso(T0_MS - 9000), iso(T0_MS))["marks"] == [], "what begins at the end is not in view"


async def test_the_page_shows_what_its_address_asks_for_and_leaves_nonsense_out(looker: httpx.AsyncClient) -> None:
    asked = {"tanks": "pipit,nowhere,ostler-n,pipit", "quantities": "tov_m3,<b>", "span": "nan", "start": "yesterday"}
    text = (await looker.get("/trends", params=asked)).text
    assert re.findall(r'name="tank" value="([^"]+)" checked', text) == ["ostler-n", "pipit"]
    assert '<option value="tov_m3" selected>' in text
    assert 'data-span="28800" data-start=""' in text
    at = (await looker.get("/trends", params={"start": START, "span": "60", "quantities": "level_m,tov_m3"})).text
    assert f'data-span="60.0" data-start="{T0_MS - 3 * 3_600_000}"' in at
    told = json.loads(at.split('id="chart">')[1].split("</script>")[0])
    assert told["simulated"] is True
    assert told["tanks"][0]["lines"]["level_m"][0]["name"] == "Critical high"


async def test_a_site_without_tanks_says_so(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.tanks.clear()
    assert "nothing to draw" in (await client.get("/trends")).text
