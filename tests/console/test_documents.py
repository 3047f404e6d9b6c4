"""Documents by HTTP and on their page: mistakes and questions as members of the problem, files in and out."""

import csv
import io

import pytest

from console.document_words import FIELDS
from console.figures import trimmed
from gaugehouse.documentfields import COLUMNS, QUANTITIES
from tests.gaugehouse.documentsites import TODAY

NOTE = {"kind": "delivery note", "tank": "palm", "paper": "DN-1", "observed": "36000 L", "by": "Ada", "day": TODAY}


async def post(client, path, **body):
    return await client.post(f"/api/documents{path}", json=body)


async def listed(client, **asked):
    return (await client.get("/api/documents", params=asked)).json()


async def test_a_paper_is_written_down_listed_put_right_and_undone(client):
    made = await post(client, "", **NOTE)
    assert made.status_code == 200
    assert made.json()["documents"][0]["observed_m3"] == 36.0
    right = await post(client, "/1/correct", observed_m3=35.5, by="Ada")
    assert right.json()["documents"][0]["corrects"] == 1
    assert (await post(client, "/2/undo", by="Ada", comment="twice")).status_code == 200
    assert await listed(client) == []
    first, second = await listed(client, undone=True)
    assert (first["undone"]["instead"], second["undone"]["comment"], second["open"]) == (2, "twice", False)
    assert (await post(client, "/9/undo", by="Ada")).status_code == 404
    assert (await post(client, "/2/undo", by="Ada")).status_code == 409


async def test_mistakes_are_members_of_a_422_and_questions_of_a_409(client):
    wrong = await post(client, "", **(NOTE | {"tank": "plam", "observed": "36000 kg"}))
    assert wrong.status_code == 422
    assert {one["column"] for one in wrong.json()["mistakes"]} == {"tank", "observed"}
    asked = await post(client, "", **NOTE, temperature="70 degC")
    assert asked.status_code == 409
    assert [one["column"] for one in asked.json()["questions"]] == ["temperature_degC"]
    assert (await post(client, "", **NOTE, temperature="70 degC", sure=True)).status_code == 200


async def test_a_field_that_there_is_not_and_a_number_as_text_are_refused(client):
    assert (await post(client, "", **NOTE, litres=3)).status_code == 422
    assert (await post(client, "", **(NOTE | {"observed_m3": "3"}))).status_code == 422


async def test_a_file_goes_out_and_comes_in(client):
    text = (
        "kind,day,tank,paper,observed [L]\n"
        f"delivery note,{TODAY},palm,DN-1,36000\n"
        f"fuelling ticket,{TODAY},palm,T-1,5.2.00\n"
    )
    wrong = await post(client, "/import", csv=text, by="Ada")
    assert wrong.status_code == 422
    (mistake,) = wrong.json()["mistakes"]
    assert (mistake["row"], mistake["column"], mistake["found"]) == (3, "observed [L]", "5.2.00 L")
    assert await listed(client) == []
    taken = await post(client, "/import", csv=text.replace("5.2.00", "5200"), by="Ada")
    assert (taken.json()["count"], taken.json()["numbers"]) == (2, [1, 2])
    answer = await client.get("/api/documents.csv", params={"kind": "fuelling ticket"})
    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert (row["kind"], row["observed_m3"], row["number"]) == ("fuelling ticket", "5.2000", "2")


async def test_a_file_may_be_larger_than_other_bodies_but_not_without_end(client):
    head = "kind,day,tank,comment,observed_m3\n"
    row = f"adjustment,{TODAY},palm,{'x' * 400},0.001\n"
    assert (await post(client, "/import", csv=head + row * 200, by="Ada", sure=True)).json()["count"] == 200
    assert (await post(client, "/import", csv=head + row * 3000, by="Ada")).status_code == 413
    assert (await post(client, "/import", csv=head + row * 2100, by="Ada")).status_code == 422
    assert (await post(client, "", **NOTE, comment="x" * 70_000)).status_code == 413


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"from": TODAY}, [1, 2]),
        ({"to": TODAY}, [3]),
        ({"tank": "ridge"}, [2]),
        ({"kind": "delivery note"}, [1, 3]),
    ],
)
async def test_the_list_goes_by_day_tank_and_kind(client, asked, numbers):
    await post(client, "", **NOTE)
    await post(client, "", kind="transfer note", tank="palm", to_tank="ridge", observed="9 m3", by="Ada", day=TODAY)
    await post(client, "", **(NOTE | {"paper": "DN-2", "day": "2026-09-20"}))
    assert sorted(one["number"] for one in await listed(client, **asked)) == numbers


async def test_what_there_is_not_is_told_with_what_there_is(client):
    answer = await client.get("/api/documents", params={"tank": "plam"})
    assert (answer.status_code, "palm" in answer.json()["detail"]) == (404, True)
    assert (await client.get("/api/documents", params={"kind": "invoice"})).status_code == 404
    assert (await client.get("/api/documents", params={"from": "22.9."})).status_code == 422


async def test_the_page_lists_documents_with_their_notes(client):
    await post(client, "", kind="water draw", tank="palm", observed="40 L", water="30 L", went_to="drum", by="Ada",
               day=TODAY)  # fmt: skip
    page = (await client.get("/documents")).text
    assert "40 L drawn: 30 L water, 10 L fuel" in page
    assert "to drum" in page
    part = (await client.get("/documents/list", params={"tank": "ridge", "first": "", "before": ""})).text
    assert "No document from" in part


async def test_what_may_be_said_is_told(client):
    facts = (await client.get("/api/documents/facts")).json()
    assert facts["kinds"]["delivery note"]["needs"] == ["tank", "paper"]
    assert {one["id"] for one in facts["meters"]} == {"rack", "watcher"}


def test_the_form_has_a_name_for_every_field():
    si = {field for field, _, _ in QUANTITIES.values()}
    said = {*COLUMNS} - si - {"kind", "day", "product", "reverses"}
    assert set(FIELDS) == said | set(QUANTITIES)


@pytest.mark.parametrize(("value", "text"), [(36.0, "+36 000"), (-0.0105, "−10.5"), (None, "– – –"), (0.0, "0")])
def test_volumes_are_litres_with_their_sign(value, text):
    assert trimmed("paper_m3", value, signed=True).replace("\N{NARROW NO-BREAK SPACE}", " ") == text


@pytest.mark.parametrize("day", ["0000-10-08", "0001-01-01", "2026-02-30", "9999-12-31"])
@pytest.mark.parametrize("name", ["from", "to"])
async def test_a_day_that_is_in_no_calendar_of_ours_is_no_question(client, day, name):
    answer = await client.get("/api/documents", params={name: day})
    assert answer.status_code == 422
    assert day in answer.text
    page = await client.get("/documents/list", params={"first" if name == "from" else "before": day})
    assert page.status_code == 422


async def test_a_time_before_the_first_year_is_refused_and_a_month_before_the_first_day_is_no_failure(client):
    assert (await client.get("/api/movements", params={"to": "0001-01-01T01:00:00+00:02"})).status_code == 200
    refused = await client.get("/api/movements", params={"from": "0001-01-01T00:00:00+10:00"})
    assert refused.status_code == 422
    assert "outside of the years 1 to 9999" in refused.json()["detail"]
