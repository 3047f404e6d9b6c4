"""`gaugehouse stock --book` and `gaugehouse close` over real files, without a daemon."""

import csv
import io
import json
import math
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.deriving import SiteModels
from gaugehouse.stores import READINGS, RECORDS, look_into_book
from history.sqlite import SqliteStore
from tests.gaugehouse.ledgers import Ledger

AREA_M2 = math.pi * 25
DAYS = [f"2024-01-{n:02d}" for n in range(1, 32)]


@pytest.fixture
def site(tmp_path: Path) -> str:
    """A January of two tanks, complete and measured; a long past month, so that it is over by any clock."""
    store = tmp_path / "store"
    store.mkdir()
    ledger = Ledger(tmp_path, at="2024-01-01T12:00:00Z")
    for tank in ("palm", "ridge"):
        ledger.add("opening balance", DAYS[0], tank=tank, observed="400 m3", standard="400 m3")
    for number, day in enumerate(DAYS):
        ledger.add("fuelling ticket", day, tank="palm", paper=f"T{number}", observed="5 m3", standard="5 m3")
        ledger.end_of("palm", day, (400.0 - 5.0 * (number + 1) - 0.003 * number) / AREA_M2)
        ledger.end_of("ridge", day, 400.0 / AREA_M2)
    ledger.close()
    kept = ledger.site.store_path
    kept.mkdir(exist_ok=True)
    (tmp_path / "records.sqlite").rename(kept / RECORDS)
    readings = SqliteStore.open(kept / READINGS, ledger.site.id, models=SiteModels(ledger.site))
    for tank in ("palm", "ridge"):
        readings.append(ledger.readings[tank])
    readings.close()
    return str(ledger.site.path)


def test_the_book_of_a_month_is_printed_with_rule_split_and_what_the_tank_can_tell(
    site: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["stock", site, "--book", "--month", "2024-01"]) == 0
    out = capsys.readouterr().out
    for piece in ("stock book of 2024-01", "40 CFR 280.43(a)", "Unexplained", "within what the rule allows",
                  "the tank", "can be closed", "2024-01-31", "record book "):  # fmt: skip
        assert piece in out


def test_an_incomplete_day_is_answered_with_no(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["stock", site, "--book", "--day", "2024-02-01"]) == 1
    out = capsys.readouterr().out
    assert "book incomplete" in out
    assert "not measured" in out


def test_the_csv_and_json_of_a_month_agree(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["stock", site, "--book", "--month", "2024-01", "--tank", "palm", "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert main(["stock", site, "--book", "--month", "2024-01", "--tank", "palm", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["products"][0]
    assert [tank["tank"] for tank in told["tanks"]] == ["palm"]
    days = [row for row in rows if row["account"] == "palm"][:-1]
    assert [float(row["variance_standard_m3"]) for row in days] == [
        day["variance_standard_m3"] for day in told["tanks"][0]["days"]
    ]


def test_a_close_is_only_looked_at_until_it_is_signed_by_name(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["close", site, "month", "2024-01"]) == 0
    assert "can be closed" in capsys.readouterr().out
    assert main(["close", site, "month", "2024-01", "--sign"]) == 2
    assert "say who signs" in capsys.readouterr().err
    assert main(["close", site, "month", "2024-01", "--sign", "--by", "Ada", "--comment", "checked"]) == 0
    out = capsys.readouterr().out
    assert "closed by Ada" in out
    head = out.rsplit("made from the record book at ", 1)[1].strip()
    assert main(["verify", site, "--against", head]) == 0
    capsys.readouterr()
    assert main(["close", site, "month", "2024-01", "--sign", "--by", "Bo"]) == 0
    assert "closed before by Ada" in capsys.readouterr().out


def test_the_signed_entry_holds_who_what_and_from_where(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    from gaugehouse.site import load_site

    assert main(["close", site, "month", "2024-01", "--sign", "--by", "Ada", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    with look_into_book(load_site(Path(site))) as book:
        (entry,) = book.entries(["stock_close"])
    body = dict(entry.body)
    assert (body["by"], body["name"], body["product"], body["through"]) == ("Ada", "2024-01", "jet", "2024-01-31")
    assert body["head"] == told["head"]
    assert body["edition"] == "API MPMS 11.1-2004"
    assert {row["account"] for row in body["rows"]} == {"jet", "palm", "ridge"}
    assert all(stand["u95_m3"] for stand in body["stands"].values())


def test_what_stands_in_the_way_is_printed_and_not_signed(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["close", site, "month", "2024-02"]) == 1
    out = capsys.readouterr().out
    assert "2024-01 is not closed yet" in out
    assert main(["close", site, "month", "2024-02", "--sign", "--by", "Ada"]) == 3
    assert "not signed" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["stock", "--book", "--day", "2024-1-1"], "write it as 2026-01-31"),
        (["stock", "--book", "--tank", "elm"], "no tank 'elm'"),
        (["stock", "--book", "--product", "mud"], "no product 'mud'"),
        (["stock", "--book", "--at", "2024-01-01"], "takes --day or --month"),
        (["stock", "--month", "2024-01"], "write --book too"),
        (["close", "month", "2024-01-01"], "write it as 2026-01"),
    ],
)
def test_a_wrong_call_says_what_and_the_mend(
    site: str, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([words[0], site, *words[1:]]) == 2
    assert said in capsys.readouterr().err
