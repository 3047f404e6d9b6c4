"""`gaugehouse status` on a book without a daemon, and batches of a book with papers and found movements."""

import json
from pathlib import Path

import pytest

from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.core import Tick
from gaugehouse.site import Site, load_site
from gaugehouse.statusdue import recertifications
from gaugehouse.statusrecords import contents_of
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from inventory.documents import Document, DocumentKind, document_json
from models.reading import Instant
from tests.gaugehouse.sites import LOOP_SITE, write_site

RULE = """
[stock.settling]
mixing = "first in, first out"
recertify_after = "30 d"
recertify_source = "manual 9.1"

[[stock.settling.rule]]
time = "2 h"
source = "manual 4.2"
"""
START_MS = 1_700_000_000_000  # 2023-11-14


@pytest.fixture
def site(tmp_path: Path) -> Site:
    made = load_site(write_site(tmp_path, LOOP_SITE + RULE))
    with open_stores(made):
        pass
    return made


def call(site: Site, *words: str) -> int:
    return main(["status", words[0], str(site.path), *words[1:]])


def test_a_tank_is_released_shown_and_set_aside(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(site, "show") == 1  # it awaits its test
    assert "awaiting test" in capsys.readouterr().out
    words = ("--appearance", "clear and bright", "--water-test", "passed", "--density", "0.8014 kg/L", "--by", "Ada")
    assert call(site, "release", "palm", *words) == 0
    out = capsys.readouterr().out
    assert "palm: released, said by Ada" in out
    assert "not done: conductivity, certificate, settling (nobody watched it)" in out
    assert call(site, "show", "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)
    assert row["release"]["density_kg_m3"] == 801.4
    assert row["source"] == "manual 4.2"
    assert call(site, "quarantine", "palm", "--reason", "odd smell", "--by", "Ben") == 0
    assert call(site, "quarantine", "palm", "--reason", "odd smell", "--by", "Ben") == 0
    assert "nothing to do" in capsys.readouterr().out
    assert call(site, "quarantine", "palm", "--lift", "--reason", "fine", "--by", "Ben") == 0
    assert call(site, "service", "palm", "--reason", "cleaning", "--by", "Ben") == 0
    assert call(site, "service", "palm", "--back", "--reason", "clean", "--by", "Ben") == 0
    capsys.readouterr()
    assert call(site, "history", "--json") == 0
    assert [row["to"] for row in json.loads(capsys.readouterr().out)] == [
        "released", "quarantined", "awaiting test", "out of service", "awaiting test",
    ]  # fmt: skip


def test_released_fuel_is_due_to_be_tested_again_by_the_sites_limit(site: Site) -> None:
    core = core_of(site)
    assert not list(recertifications(core, START_MS))
    fields = {"tank": "palm", "by": "Ada", "appearance": "clear and bright", "water_test": "passed"}
    core.step(Tick(Instant(1, START_MS, 0), (), [act_of("release_tank", fields)]))
    (due,) = recertifications(core, START_MS)
    day = 86_400_000
    assert [due.state(START_MS + days * day) for days in (1, 17, 30)] == ["later", "due", "overdue"]
    assert due.rule == "every 30 d (manual 9.1)"


def test_what_is_wrong_is_said_with_the_mend(site: Site, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert call(site, "release", "palm", "--by", "Ada") == 3
    assert "the sample result lacks" in capsys.readouterr().err
    assert call(site, "release", "elm", "--by", "Ada") == 2
    assert call(site, "release", "palm", "--density", "801", "--by", "Ada") == 2
    assert "--density" in capsys.readouterr().err
    assert call(site, "show", "--tank", "elm") == 2
    (tmp_path / "other").mkdir()
    none = load_site(write_site(tmp_path / "other", LOOP_SITE))
    assert call(none, "show") == 2
    assert "[stock.settling]" in capsys.readouterr().err


def test_batches_come_from_the_papers_in_the_record_book(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    papers = [
        (DocumentKind.OPENING, "2023-11-14", 100.0, {}),
        (DocumentKind.DELIVERY, "2023-11-15", 36.0, {"batch": "B-17", "certificate": "C-9"}),
        (DocumentKind.TICKET, "2023-11-15", -110.0, {}),
        (DocumentKind.DELIVERY, "2023-11-15", 50.0, {}),
    ]
    with open_stores(site) as stores:
        entries = []
        for number, (kind, day, volume, details) in enumerate(papers, 1):
            document = Document(
                number, kind, day, START_MS, "palm", "jet", "", f"P-{number}", None, volume, None, None, "Ada",
                details=details,
            )  # fmt: skip
            entries.append(Entry("document", START_MS, number, document_json(document)))
        entries.append(
            Entry("document_undone", START_MS, 5, {"number": 4, "by": "Ada", "comment": "", "instead": None})
        )
        stores.book.commit(entries, {})
        content = contents_of(site, stores.book, ["palm"])["palm"]
    assert [(batch.batch, batch.certificate) for batch in content.batches] == [("B-17", "C-9")]
    assert content.volume_m3 == pytest.approx(26.0)
    assert call(site, "batches") == 0
    out = capsys.readouterr().out
    assert "first in, first out" in out
    assert "B-17" in out
    assert "C-9" in out
    assert call(site, "batches", "--json") == 0
    (told,) = json.loads(capsys.readouterr().out)
    assert told["batches"][0]["since"] == "2023-11-15T00:00:00.000Z"
