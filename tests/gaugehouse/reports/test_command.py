"""`gaugehouse report` and `gaugehouse handover` over real files, without a daemon."""

import json
from pathlib import Path

import pytest

from gaugehouse.cli import main
from tests.gaugehouse.reportsites import january


@pytest.fixture
def site(tmp_path: Path) -> str:
    return january(tmp_path)


def test_three_forms_at_once_and_the_same_as_json(
    site_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["report", site_path, "account", "--month", "2024-01", "--by", "Ada"]
    files = {form: tmp_path / f"account.{form}" for form in ("pdf", "csv", "xlsx")}
    assert main([*words, *(part for form, path in files.items() for part in (f"--{form}", str(path)))]) == 0
    assert capsys.readouterr().out == ""
    assert files["pdf"].read_bytes().startswith(b"%PDF")
    assert files["xlsx"].read_bytes().startswith(b"PK")
    assert files["csv"].read_text("utf-8").startswith("field,value\nkind,account\n")
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["kind"], told["made_by"], told["period"]["name"]) == ("account", "Ada", "2024-01")


def test_without_a_form_it_is_printed_with_what_was_not_done_on_top(
    site_path: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", site_path, "stock", "--day", "2024-01-31"]) == 0
    out = capsys.readouterr().out
    for piece in ("SIMULATED", "Daily stock sheet", "by not named", "NOT DONE: Palm: drain check", "Palm", "= Book"):
        assert piece in out
    assert "as measured [m³]" not in out, "columns for files alone"


def test_without_a_kind_the_reports_are_listed(site_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", site_path, "--json"]) == 0
    assert [row["report"] for row in json.loads(capsys.readouterr().out)] == [
        "stock", "movements", "account", "dips", "handover", "due",
    ]  # fmt: skip


def test_one_table_goes_to_standard_output(site_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["report", site_path, "account", "--month", "2024-01", "--by", "Ada", "--csv", "-", "--table", "days"]
    assert main(words) == 0
    assert capsys.readouterr().out.startswith("name,account,period,opening_standard_m3,")


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["stocks"], 2, "there is no report 'stocks'"),
        (["stock", "--csv", "-"], 2, "--by is missing"),
        (["stock", "--table", "days"], 2, "--table goes with --csv"),
        (["stock", "--month", "2024-01"], 2, "is of a day"),
        (["stock", "--day", "2024-01-31", "--by", "Ada", "--pdf", "/nowhere/x.pdf"], 3, "cannot be written"),
        (["stock", "--day", "2024-01-31", "--by", "Ada", "--csv", "-", "--table", "x"], 2, "has no table 'x'"),
    ],
)
def test_a_wrong_call_says_what_and_how(
    site_path: str, capsys: pytest.CaptureFixture[str], words: list[str], status: int, said: str
) -> None:
    assert main(["report", site_path, *words]) == status
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""


def test_a_shift_is_handed_over_and_taken_over_by_another(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["handover", site, "--by", "Cy", "--notes", "valve 3 is stiff"]) == 0
    assert "handover 2: given by Cy" in capsys.readouterr().out
    assert main(["handover", site, "--by", "Cy", "--notes", "valve 3 is stiff"]) == 0
    assert "nothing to do" in capsys.readouterr().out
    assert main(["handover", site, "--take", "--by", "cy"]) == 3
    assert "Cy's own" in capsys.readouterr().err
    assert main(["handover", site, "--take", "--by", "Dee", "--number", "1"]) == 2
    assert "2 is; look at that one" in capsys.readouterr().err
    assert main(["handover", site, "--take", "--by", "Dee", "--number", "2", "--notes", "seen, greased"]) == 0
    capsys.readouterr()
    assert main(["handover", site, "--take", "--by", "Eve"]) == 3
    assert "taken over before by Dee" in capsys.readouterr().err
    assert main(["handover", site, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [(row["number"], row["by"], row["taken_by"], row["taken_notes"]) for row in rows] == [
        (2, "Cy", "Dee", "seen, greased"), (1, "Ada", "Bo", "seen"),
    ]  # fmt: skip
    assert main(["report", site, "handover"]) == 0
    assert "valve 3 is stiff" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--notes", "x"], "--by is missing"),
        (["--take"], "--by is missing"),
        (["--by", "Ada", "--number", "3"], "--number goes with --take"),
        (["--by", "Ada", "--take", "--from", "2024-01-01"], "leave them out"),
        (["--by", "Ada", "--notes", "x" * 4001], "at most 4000"),
        (["--by", "Ada", "--take", "--number", "9"], "there is no handover 9; the newest is 1"),
    ],
)
def test_a_wrong_handover_says_what_and_how(
    site_path: str, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert main(["handover", site_path, *words]) == 2
    assert said in capsys.readouterr().err
