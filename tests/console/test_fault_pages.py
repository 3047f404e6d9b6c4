"""Loop faults by HTTP and as people read them: the list, one fault, its trace, entries, figures, budget."""

import csv
import io
from zoneinfo import ZoneInfo

import httpx
import pytest

from alerts.casebook import DIPS, FLAG_NO_CAUSE, FLAG_OPEN, FLAG_WAITS, SAID
from alerts.faults import NE107
from console import fault_views, words
from console.fault_api import CSV_COLUMNS, cell, trace_rows
from gaugehouse.faultrecords import FAULT
from gaugehouse.recording import columns_of, header_of
from gaugehouse.rows import FAULT_COLUMNS
from tests.console.fake import FakeFacts

NOW = "2026-11-25T12:00:00.000Z"
DUBLIN = ZoneInfo("Europe/Dublin")
LOOP = "/api/loops/LI-fennock"


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


async def test_one_fault_is_told_with_everything_that_people_said(client: httpx.AsyncClient) -> None:
    body = {"by": "Ada", "cause": "wet box", "dip_before_m": 1.204, "close": True}
    answer = await client.post(f"{LOOP}/faults/1/entries", json=body)
    assert (answer.status_code, answer.json()["status"], answer.json()["entry"]) == (200, "done", 1)
    row = (await client.get(f"{LOOP}/faults/1")).json()
    assert (row["flag"], row["cause"], row["closed_by"], row["dip_before_m"]) == ("", "wet box", "Ada", 1.204)
    again = await client.post(f"{LOOP}/faults/1/entries", json={"by": "Bo", "close": True})
    assert (again.status_code, again.json()["status"], again.json()["by"]) == (200, "already", "Ada")


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("faults/2", {"by": "Ada", "close": True}, 409),
        ("faults/9", {"by": "Ada", "cause": "x"}, 404),
        ("faults/0", {"by": "Ada", "cause": "x"}, 422),
        ("faults/1", {"cause": "x"}, 422),
        ("faults/1", {"by": " ", "cause": "x"}, 422),
        ("faults/1", {"by": "Ada", "cause": "x" * 501}, 422),
        ("faults/1", {"by": "Ada", "cause": "two\nlines"}, 422),
        ("faults/1", {"by": "Ada", "dip_before_m": "1.2"}, 422),
        ("faults/1", {"by": "Ada", "dip_before_m": 101}, 422),
        ("faults/1", {"by": "Ada", "close": "yes"}, 422),
        ("faults/1", {"by": "Ada", "cause": "x", "closed_by": "Bo"}, 422),
    ],
)
async def test_an_entry_that_cannot_be_is_a_problem_and_changes_nothing(
    client: httpx.AsyncClient, facts: FakeFacts, path: str, body: object, status: int
) -> None:
    answer = await client.post(f"{LOOP}/{path}/entries", json=body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert facts.loopbook.entries == {1: [], 2: []}


async def test_a_trace_is_told_as_json_and_as_a_recording(looker: httpx.AsyncClient) -> None:
    samples = (await looker.get(f"{LOOP}/faults/2/trace")).json()
    assert len(samples) == 210
    assert samples[0]["values"]["temperature"] == 14.5
    answer = await looker.get(f"{LOOP}/faults/2/trace.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"] == 'attachment; filename="LI-fennock-fault-2.csv"'
    signals = {"LI-fennock": ("current", "temperature")}
    assert answer.text.splitlines()[0] + "\n" == header_of(signals)
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert (len(rows), rows[0]["instrument"], rows[0]["outcome"]) == (210, "LI-fennock", "ok")
    assert float(rows[-1]["current"]) == samples[-1]["current_mA"]
    assert columns_of(signals) == list(rows[0])[3:]
    for path in ("LI-fennock/faults/7/trace", "LI-nobody/faults/1/trace", "LI-pipit/faults/1/trace.csv"):
        assert (await looker.get(f"/api/loops/{path}")).status_code == 404


def test_a_signal_that_did_not_answer_is_empty_and_one_that_is_no_number_is_nan() -> None:
    samples = [
        {"time": "t1", "outcome": "ok", "values": {"current": 12.5, "level": None}},
        {"time": "t2", "outcome": "timeout", "values": {}},
    ]
    assert trace_rows("li", samples)[1:] == [("t1", "li", "ok", "12.5", "NaN"), ("t2", "li", "timeout", "", "")]


async def test_all_faults_of_a_loop_are_exported_with_the_names_of_faults_csv(looker: httpx.AsyncClient) -> None:
    answer = await looker.get(f"{LOOP}/faults.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["number"] for row in rows] == ["1", "2"]
    assert tuple(rows[0])[: len(FAULT_COLUMNS)] == FAULT_COLUMNS
    assert rows[0]["blinded"] == "fennock.high_high fennock.high"
    assert (rows[0]["blinded_s"], rows[1]["blinded_s"], rows[1]["entry_mA"]) == ("10.000", "", "3.4600")
    assert {*SAID, "flag", "repeats_30d", "repeats_90d", "closed_by", "closed"} <= set(CSV_COLUMNS)
    assert cell("level_m", 1.5) == "1.50000"
    assert (await looker.get("/api/loops/LI-nobody/faults.csv")).status_code == 404


async def test_the_figures_of_a_loop_are_told(looker: httpx.AsyncClient) -> None:
    figures = (await looker.get(f"{LOOP}/figures")).json()
    assert [row["days"] for row in figures] == [30, 90]


async def test_a_store_that_is_out_is_said_on_every_one_of_them(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    for path in ("figures", "faults.csv", "faults/1", "faults/1/trace"):
        answer = await client.get(f"{LOOP}/{path}")
        assert answer.status_code == 503, path
        assert "secret" not in answer.text


def test_an_open_fault_lasts_until_now(facts: FakeFacts) -> None:
    row = fault_views.fault(facts.loopbook.row(2), NOW, DUBLIN)
    assert (row["end"], plain(row["lasted"]), row["low"]) == ("still open", "95 s", "3.400")
    assert (plain(row["blinded"]), row["flag"], row["flagged"]) == ("2 alarms for 95 s", "goes on", True)
    assert row["blinds"] == ["High-high level (fennock)", "High level (fennock)"]
    assert (plain(row["level"]), plain(row["noise"]), row["movement"]) == ("1 204 mm", "2.7 mm", "still")
    assert row["repeats"][0] == "2 in 30 days, this one included"


def test_what_nobody_knew_is_said_as_such() -> None:
    bare = {
        "number": 1, "class": "no_answer", "status": "F", "start": NOW, "end": NOW, "flag": "not closed",
        "repeats_30d": 1, "repeats_90d": 1,
    }  # fmt: skip
    row = fault_views.fault(bare, NOW, DUBLIN)
    assert (row["level"], row["noise"], row["entry"]) == ("– – –", "– – –", "– – –")
    assert (row["movement"], row["blinded"], row["closed"]) == ("movement unknown", "no alarm was blinded", "")


def test_entries_are_newest_first_and_a_replaced_one_says_by_which(facts: FakeFacts) -> None:
    for body in ({"cause": "wet"}, {"cause": "dry", "corrects": 1}):
        fields = {"instrument": "LI-fennock", "number": 1, "by": "Ada", "close": False, "corrects": None, **body}
        assert facts.loopbook.write(fields, NOW).status == "done"
    newest, oldest = fault_views.fault(facts.loopbook.row(1), NOW, DUBLIN)["entries"]
    assert (newest["entry"], newest["corrects"], newest["replaced"]) == (2, "replaces entry 1", "")
    assert (oldest["entry"], oldest["words"], oldest["replaced"]) == (1, [("cause", "wet")], "replaced by entry 2")


def test_a_mean_time_is_told_from_five_faults_on_and_a_loop_not_watched_says_so() -> None:
    row = {"instrument": "li", "days": 30, "faults": 2, "watched_h": 0.0, "lost_h": 0.0}
    (few,) = fault_views.figures([row | {"availability_percent": None, "mean_time_between_h": None}])
    assert (few["availability"], few["mean"]) == ("told from an hour on", "told from five faults on")
    (begun,) = fault_views.figures(
        [row | {"watched_h": 0.4, "availability_percent": 100.0, "mean_time_between_h": None}]
    )
    assert begun["availability"] == "told from an hour on"
    (many,) = fault_views.figures(
        [row | {"watched_h": 1200.0, "availability_percent": 99.5, "mean_time_between_h": 240.0}]
    )
    assert (plain(many["availability"]), plain(many["mean"])) == ("99.50 %", "240 h")


def test_noise_stands_beside_what_the_loop_has_learned(facts: FakeFacts) -> None:
    entry = facts.live()["loops"][0]
    assert plain(fault_views.noise(entry)["note"]) == "usual 2.4 mm, loudest 11.2 mm"
    learning = fault_views.noise(entry | {"noise_loud_m": None})
    assert learning["note"] == "its own noise is not known before a day of watching"
    assert fault_views.noise({})["figure"] == {"t": "– – –", "q": "bad", "n": ""}


def test_a_budget_tells_the_volts_of_this_loop_and_its_output_only(facts: FakeFacts) -> None:
    supply = facts.loop_budget("LI-fennock")[0]
    other = supply["circuits"][0] | {"circuit": "LI-fen"}
    output = supply["circuits"][0] | {"circuit": "LI-fennock output", "ceiling_mA": None}
    shown = fault_views.budget([supply | {"circuits": [*supply["circuits"], other, output]}], "LI-fennock")[0]
    assert shown["circuits"] == ["LI-fennock", "LI-fennock output"]
    assert plain(str(dict(shown["rows"])["Spare volts at 20 mA"])) == "['7.0\\xa0V', '7.0\\xa0V']"
    assert dict(shown["rows"])["Highest current the loop can carry"][1] == "– – –"


def test_the_words_cover_everything_that_can_be_said() -> None:
    assert set(words.FAULT_FIELDS) == set(SAID)
    assert set(words.FAULTS) == set(NE107)
    assert set(words.FAULT_FLAGS) == {FLAG_OPEN, FLAG_WAITS, FLAG_NO_CAUSE, ""}
    assert {*fault_views.SAID, *fault_views.DIPS} == {*SAID}
    assert fault_views.DIPS == DIPS
    assert FAULT == "fault"


async def test_what_people_wrote_is_escaped_and_an_unknown_fault_is_a_page(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    evil = "<img src=x onerror=alert(1)>"
    fields = {"instrument": "LI-fennock", "number": 1, "by": evil, "cause": evil, "close": False, "corrects": None}
    facts.loopbook.write(fields, NOW)
    for path in ("", "/faults", "/faults/1", "/faults/1/entries"):
        text = (await client.get(f"/loops/LI-fennock{path}")).text
        assert "<img src=x" not in text
    missing = await client.get("/loops/LI-fennock/faults/7", headers={"accept": "text/html"})
    assert missing.status_code == 404
    assert "has no fault 7" in missing.text


async def test_the_page_of_all_loops_tells_noise_and_last_fault_with_its_repeats(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/loops")).text
    assert '<a href="/loops/LI-fennock/faults/2">failure signal, low</a>' in text
    assert "2 in 30 days, this one included" in text
    assert text.count("data-last=") == 6
    assert (await looker.get("/loops/LI-pipit/last")).text.strip() == "–"
    assert "failure signal, low" in (await looker.get("/loops/LI-fennock/last")).text


def test_a_trace_without_a_current_is_drawn_of_the_level_and_without_bands() -> None:
    ne43 = {"fail_low_mA": 3.6, "low_mA": 3.8, "high_mA": 20.5, "fail_high_mA": 21.0}
    told = {"time": NOW, "outcome": "ok", "current_mA": None, "values": {"a": 1.0, "level": 3.25}}
    silent = {"time": NOW, "outcome": "timeout", "current_mA": None, "values": {}}
    column, points = fault_views.traced([told, silent], ne43)
    assert (column["unit"], column["bands"]) == ("level", [])
    assert [point[1:] for point in points] == [[3.25, "ok"], [None, "timeout"]]
    column, points = fault_views.traced([told | {"current_mA": 12.5}, silent], ne43)
    assert (column["unit"], len(column["bands"]), points[0][1]) == ("mA", 6, 12.5)
    assert fault_views.traced([silent], ne43)[0]["unit"] == "mA"
    assert fault_views.traced([], ne43)[1] == []
