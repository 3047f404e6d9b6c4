"""`gaugehouse document`: write down, list, put right, undo, files in and out; the record book behind it."""

import csv
import io
import json
import math
from pathlib import Path

import pytest

from gaugehouse.acting import told
from gaugehouse.cli import main
from gaugehouse.days import Days
from gaugehouse.documentcall import KINDS
from gaugehouse.documentrecords import documents_of, history_of
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from inventory.documents import DocumentKind
from tests.gaugehouse.documentsites import PLACES
from tests.gaugehouse.sites import LOOP_SITE


@pytest.fixture
def site(tmp_path: Path) -> str:
    path = tmp_path / "site.toml"
    path.write_text((LOOP_SITE + PLACES).format(port=1502, period="1 s"), encoding="utf-8")
    return str(path)


def document(site: str, what: str, *args: str) -> int:
    by = () if what == "list" else ("--by", "Ada")
    return main(["document", what, site, *args, *by])


def add(site: str, kind: str, *args: str) -> int:
    return document(site, "add", kind, "--day", "2026-01-10", *args)


def standing(site: str) -> dict[int, float | None]:
    with look_into_book(load_site(Path(site))) as book:
        return {one.number: one.observed_m3 for one in documents_of(book)}


def test_the_command_knows_every_kind():
    assert list(KINDS) == [kind.value for kind in DocumentKind]


def test_a_paper_is_written_down_listed_put_right_and_undone(site, capsys):
    assert add(site, "delivery note", "--tank", "palm", "--paper", "DN-1", "--observed", "36000 L") == 0
    assert "document 1: delivery note DN-1, palm, 2026-01-10: 36.0000 m3 observed" in capsys.readouterr().out
    assert document(site, "correct", "1", "--observed", "35 m3") == 0
    assert "document 2" in (told := capsys.readouterr().out)
    assert "puts right 1" in told
    assert document(site, "undo", "1") == 2
    assert "undone" in capsys.readouterr().err
    assert standing(site) == {2: 35.0}
    assert document(site, "undo", "2", "--comment", "another farm's") == 0
    assert standing(site) == {}
    capsys.readouterr()
    assert document(site, "list", "--all", "--json") == 0
    first, second = json.loads(capsys.readouterr().out)
    assert (first["undone"]["instead"], second["undone"]["comment"]) == (2, "another farm's")
    assert document(site, "list") == 0
    assert "no document" in capsys.readouterr().out


def test_mistakes_are_told_all_at_once_and_questions_wait_for_sure(site, capsys):
    assert add(site, "delivery note", "--tank", "plam", "--observed", "36000 kg") == 2
    said = capsys.readouterr().out
    assert all(words in said for words in ("plam", "36000 kg", "paper", "needs it"))
    warm = ("--tank", "palm", "--paper", "DN-1", "--observed", "36 m3", "--temperature", "61 degC")
    assert add(site, "delivery note", *warm) == 1
    assert "--sure" in capsys.readouterr().err
    assert add(site, "delivery note", *warm, "--sure") == 0


def test_a_document_of_a_closed_day_is_put_right_from_what_the_book_says(site, capsys):
    add(site, "delivery note", "--tank", "palm", "--paper", "DN-1", "--observed", "36 m3")
    loaded = load_site(Path(site))
    close(loaded)
    assert document(site, "undo", "1") == 2
    assert document(site, "correct", "1", "--observed", "35 m3") == 0
    assert standing(site) == {1: 36.0, 2: -36.0, 3: 35.0}
    assert document(site, "correct", "1", "--observed", "34 m3") == 2
    assert "put right by 2, 3 already" in capsys.readouterr().err


def close(site) -> None:
    """What the month-end does, straight at the room."""
    import time

    from gaugehouse.stores import open_stores
    from gaugehouse.wiring import core_of
    from history.chain import Entry

    core = core_of(site)
    with open_stores(site) as stores:
        core.restore(stores.book.state())
        core.documents.close("2026-01-31", "jet")
        now_ms = time.time_ns() // 1_000_000
        stores.book.commit([Entry("stock_close", now_ms, stores.book.last_seq() + 1, {})], core.changed_state())


ROWS = """kind,day,tank,paper,observed [L],temperature [degC],density_kg_m3,place,water [L],went_to,comment
opening balance,2026-01-01,palm,,310000,24.5,800.0,,,,
delivery note,2026-01-02,palm,DN-1,36000,28,799.5,,,,
fuelling ticket,2026-01-02,palm,T-1,5210,27.9,799.5,,,,
transfer note,2026-01-03,palm,,15000,,,bowser,,,loading
fuelling ticket,2026-01-03,,T-2,7300,,,bowser,,,
outside stock,2026-01-03,,,7700,,,bowser,,,
water draw,2026-01-04,palm,,40,,,,30,waste drum,
adjustment,2026-01-05,palm,,-12.5,,,,,,"spill at the rack, cleaned up"
"""


def test_a_file_goes_in_and_comes_out_with_the_same_sums(site, tmp_path, capsys):
    path = tmp_path / "january.csv"
    path.write_text(ROWS, encoding="utf-8")
    assert document(site, "import", str(path)) == 0
    assert "8 documents taken, 1 to 8" in capsys.readouterr().out
    assert document(site, "list", "--csv") == 0
    written = capsys.readouterr().out
    other = tmp_path / "other"
    other.mkdir()
    (other / "site.toml").write_text(Path(site).read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "again.csv").write_text(written, encoding="utf-8")
    assert document(str(other / "site.toml"), "import", str(tmp_path / "again.csv")) == 0
    capsys.readouterr()
    first, second = standing(site), standing(str(other / "site.toml"))
    assert first == second
    assert math.fsum(v or 0.0 for v in first.values()) == math.fsum(v or 0.0 for v in second.values())
    assert document(str(other / "site.toml"), "list", "--csv") == 0
    again = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    for one, two in zip(csv.DictReader(io.StringIO(written)), again, strict=True):
        assert one | {"time": ""} == two | {"time": ""}
    assert [row["kind"] for row in again] == [row.split(",")[0] for row in ROWS.splitlines()[1:]]


def test_an_empty_file_is_called_empty(site, tmp_path, capsys):
    (tmp_path / "january.csv").write_text("", encoding="utf-8")
    assert document(site, "import", str(tmp_path / "january.csv")) == 2
    assert "the file is empty; write a head" in capsys.readouterr().err


def test_a_file_with_mistakes_is_not_taken_and_each_is_named(site, tmp_path, capsys):
    wrong = ROWS.replace("2026-01-02,palm,DN-1", "2026-13-02,palm,DN-1").replace("bowser,,,loading", "bowsr,,,loading")
    wrong = wrong.replace("T-1,5210", "T-1,5.210.000").replace("7700", "77000") + "fuelling ticket,2026-01-05\n"
    path = tmp_path / "january.csv"
    path.write_text(wrong, encoding="utf-8")
    assert document(site, "import", str(path)) == 2
    said = capsys.readouterr()
    lines = [line.split()[0] for line in said.out.splitlines()[1:]]
    assert lines == ["3", "4", "5", "7", "10"]
    assert "observed [L]" in said.out
    assert "bowser" in said.out
    assert "5 mistakes in 5 of 9 rows" in said.err
    assert standing(site) == {}
    assert document(site, "import", str(path), "--json", "--sure") == 2
    told_all = json.loads(capsys.readouterr().out)
    assert {(one["row"], one["column"]) for one in told_all["mistakes"]} == {
        (3, "day"), (4, "observed [L]"), (5, "place"), (7, "observed [L]"), (10, "row"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("kind,day,tnak", "tank"),
        ("kind,tank", '"day" is missing'),
        ("kind,day,observed [kg]", "kg is no unit"),
        ("kind,day,observed [L],observed_m3", "twice"),
        ("kind,day,day", "twice"),
    ],
)
def test_a_head_that_is_wrong_is_told(site, tmp_path, capsys, head, words):
    path = tmp_path / "file.csv"
    path.write_text(f"{head}\n,,\n", encoding="utf-8")
    assert document(site, "import", str(path)) == 2
    assert words in capsys.readouterr().err


def test_a_file_without_rows_or_without_quotes_closed_is_told(site, tmp_path, capsys):
    path = tmp_path / "file.csv"
    path.write_text("kind,day\n", encoding="utf-8")
    assert document(site, "import", str(path)) == 2
    assert "no rows" in capsys.readouterr().err
    path.write_bytes("kind,day\nz\xfc,\n".encode("latin-1"))
    assert document(site, "import", str(path)) == 2
    assert "UTF-8" in capsys.readouterr().err
    assert document(site, "import", str(tmp_path / "nowhere.csv")) == 2


def test_a_file_of_too_many_rows_is_to_be_divided(site, tmp_path, capsys):
    path = tmp_path / "file.csv"
    path.write_text("kind,day\n" + "adjustment,2026-01-02\n" * 2001, encoding="utf-8")
    assert document(site, "import", str(path)) == 2
    assert "at most 2000 are taken at once, divide it" in capsys.readouterr().err


def test_questions_of_a_file_wait_for_sure(site, tmp_path, capsys):
    path = tmp_path / "january.csv"
    path.write_text(ROWS.replace("36000,28,", "36000,68,"), encoding="utf-8")
    assert document(site, "import", str(path)) == 1
    assert "68 degC" in capsys.readouterr().out
    assert document(site, "import", str(path), "--sure") == 0
    assert len(standing(site)) == 8


def test_a_file_with_semicolons_is_read_too(site, tmp_path):
    path = tmp_path / "file.csv"
    path.write_text("kind;day;tank;paper;observed [L]\ndelivery note;2026-01-02;palm;DN-1;36000\n", encoding="utf-8")
    assert document(site, "import", str(path)) == 0


def test_the_list_goes_by_day_tank_and_kind(site, tmp_path, capsys):
    path = tmp_path / "january.csv"
    path.write_text(ROWS, encoding="utf-8")
    document(site, "import", str(path))
    capsys.readouterr()
    for args, numbers in (
        (("--from", "2026-01-02", "--to", "2026-01-04"), [2, 3, 4, 5, 6]),
        (("--tank", "palm", "--from", "2026-01-03"), [4, 7, 8]),
        (("--kind", "fuelling ticket"), [3, 5]),
    ):
        assert document(site, "list", "--json", *args) == 0
        assert [one["number"] for one in json.loads(capsys.readouterr().out)] == numbers
    assert document(site, "list", "--from", "yesterday") == 2
    assert document(site, "list", "--tank", "plam") == 2
    assert document(site, "list", "--kind", "invoice") == 2


def test_the_history_tells_who_undid_what(site):
    add(site, "delivery note", "--tank", "palm", "--paper", "DN-1", "--observed", "36 m3")
    document(site, "undo", "1", "--comment", "twice")
    with look_into_book(load_site(Path(site))) as book:
        (kept,) = history_of(book)
    assert kept.undone is not None
    assert (kept.undone.by, kept.undone.comment, kept.undone.instead) == ("Ada", "twice", None)


def test_today_is_the_default_day(site):
    loaded = load_site(Path(site))
    answer = told(loaded, "add_document", {
        "kind": "delivery note", "tank": "palm", "paper": "1", "observed": "3 m3", "by": "Ada"
    })  # fmt: skip
    (made,) = answer.body["documents"]
    assert made["day"] == Days(loaded.zone, 0).at(made["time_ms"]).date
