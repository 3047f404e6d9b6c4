"""`gaugehouse leak` over a store with two days of a tank in real weather: found, signed, printed; and every refusal."""

import io
import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from gaugehouse.cli import main
from gaugehouse.days import Days, iso_ms
from gaugehouse.leakwork import leak, outcome_json, standing_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings, open_stores
from history.chain import Entry
from inventory.documents import Document, DocumentKind, document_json
from inventory.leak import Refusal, Verdict
from inventory.leakrules import HOUR_MS, LeakRules
from inventory.quiet import DAY_MS
from simulator.demo import write_demo
from tests.bench.leaknights import TANK, Nights

H = HOUR_MS


@pytest.fixture(scope="module")
def stood(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, int]]:
    """A site file with 26 h of readings of a tank that loses nothing, and when they began."""
    folder = tmp_path_factory.mktemp("leak")
    path = write_demo(folder, [1, 2], "2 min")
    text = path.read_text(encoding="utf-8")
    named = f'[stock.leak]\ntanks = ["{TANK}"]\n'
    assert text.count(named) == 1
    path.write_text(text.replace(named, f'{named}averaging = ["{TANK}"]\n'), encoding="utf-8")
    nights = Nights(7, several=True, day=100)
    begun = nights.begun_ms
    nights.run_to(begun + 26 * H)
    with open_stores(load_site(path)) as stores:
        stores.readings.append(nights.readings())
        stores.book.commit([Entry("started", begun, 1, {"simulated": True})], {})
        stores.book.commit([Entry("note", begun + 26 * H, 2, {})], {})
    yield path, begun
    shutil.rmtree(folder)


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any]:
    status = main(["leak", *words, "--json"])
    out = capsys.readouterr().out
    return status, json.loads(out) if out else None


def at(begun: int, hours: float) -> str:
    return iso_ms(begun + round(hours * H))


def test_the_test_of_a_day_sees_no_loss_and_says_which_it_would_have_seen(stood, capsys):
    path, begun = stood
    status, (result,) = answer(capsys, str(path), "--from", at(begun, 1), "--to", at(begun, 25))
    assert status == 0, result
    assert result["verdict"] == "no_loss_seen"
    assert result["threshold_m3_per_h"] == pytest.approx(result["detectable_m3_per_h"] / 2)
    assert abs(result["loss_m3_per_h"]) < result["threshold_m3_per_h"]
    assert len(result["fit"]["hours"]) == 24
    main(["leak", str(path), "--from", at(begun, 1), "--to", at(begun, 25)])
    said = capsys.readouterr().out
    assert f"No loss larger than {1000 * result['detectable_m3_per_h']:.2f} L/h seen over 24 h." in said
    assert "tight " not in said
    assert "tightness test unless" in said


def test_a_signed_test_is_an_entry_and_a_paper(stood, capsys, tmp_path):
    path, begun = stood
    span = ("--from", at(begun, 1), "--to", at(begun, 25))
    status, (signed,) = answer(capsys, str(path), "--tank", TANK, *span, "--sign", "--by", "Ada", "--comment", "quiet")
    assert status == 0
    assert signed["by"] == "Ada"
    status, (record,) = answer(capsys, str(path), "--signed")
    assert record["comment"] == "quiet"
    assert record["simulated"] is True
    paper = tmp_path / "test.pdf"
    assert main(["leak", str(path), "--tank", TANK, "--pdf", str(paper)]) == 0
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.read_bytes())).pages)
    words = " ".join(text.split())
    for needed in ("No loss larger than", "Not a statutory tightness test", "Ada", f"LT-{record['number']}", "quiet"):
        assert needed in words
    assert "SIMULATED" in words
    with look_into_book(load_site(path)) as book:
        assert book.verify(None).unbroken


def _leak(path: Path, now: int, start: int | None = None, end: int | None = None, rules: LeakRules | None = None):
    site: Site = load_site(path)
    if rules is not None:
        site = replace(site, leak=rules)
    with look_into_readings(site) as store, look_into_book(site) as book:
        outcome = leak(site, store, book, TANK, now, start, end)
    assert json.dumps(outcome_json(site, outcome))
    return outcome


def test_without_a_time_the_newest_quiet_hours_are_taken_and_whole_days_of_them(stood):
    path, begun = stood
    outcome = _leak(path, begun + 26 * H)
    assert outcome.window is not None
    assert outcome.window.hours == 24
    assert outcome.verdict is Verdict.NO_LOSS_SEEN


def test_a_short_stretch_a_hole_and_an_hour_without_readings_are_refused_with_what_is_needed(stood):
    path, begun = stood
    short = _leak(path, begun, begun + H, begun + 5 * H)
    assert [(one.why, one.needs) for one in short.said] == [(Refusal.SHORT, 8.0)]
    hole = _leak(path, begun, begun + 12 * H, begun + 36 * H)
    assert [one.why for one in hole.said] == [Refusal.HOLES]
    early = _leak(path, begun + 5 * H)
    assert [(one.why, one.needs) for one in early.said] == [(Refusal.NO_QUIET_HOURS, 8.0)]
    assert early.smallest_m3_per_h == pytest.approx(hole.smallest_m3_per_h, rel=0.2)  # the tank could, on other days
    nothing = _leak(path, begun - 3 * DAY_MS)
    assert nothing.smallest_m3_per_h is None
    assert [one.why for one in nothing.said] == [Refusal.NO_QUIET_HOURS]
    assert nothing.said[0].needs == 8.0


def test_one_spot_is_told_what_temperature_it_would_need(stood):
    path, begun = stood
    strict = LeakRules(tanks=(TANK,), claim_at_most_m3_per_h=0.004)
    outcome = _leak(path, begun, begun + H, begun + 25 * H, strict)
    assert outcome.verdict is Verdict.CANNOT_TELL
    (said,) = outcome.said
    assert said.why is Refusal.TEMPERATURE
    assert said.needs < 0.1 < said.has
    assert outcome.smallest_m3_per_h is None or outcome.smallest_m3_per_h < 0.004


def test_tanks_that_no_window_can_mend(stood):
    path, _ = stood
    site = load_site(path)
    everywhere = replace(site, leak=LeakRules(tanks=tuple(tank.id for tank in site.tanks)))
    assert standing_of(everywhere, TANK) == []
    assert [one.why for one in standing_of(site, "north")] == [Refusal.NOT_DIGITAL]
    assert [one.why for one in standing_of(everywhere, "north")] == [Refusal.COARSE]
    avgas = standing_of(everywhere, "finch")
    assert [one.why for one in avgas] == [Refusal.NOT_DIGITAL, Refusal.VOLATILE]


def test_calls_that_make_no_sense_say_how_they_would(stood, capsys):
    path, begun = stood
    for words, mend in (
        (("--from", at(begun, 1)), "add --to"),
        (("--sign", "--by", "Ada"), "--tank and --by"),
        (("--tank", "nowhere"), "no tank 'nowhere'"),
        (("--pdf", "x.pdf"), "add --tank"),
        (("--tank", "north", "--pdf", "x.pdf"), "no signed test"),
    ):
        assert main(["leak", str(path), *words]) == 2
        assert mend in capsys.readouterr().err
    assert main(["leak", str(path), "--tank", "north"]) == 1
    assert "gauge's own digital figure" in capsys.readouterr().out
    assert main(["leak", str(path), "--tank", "north", "--sign", "--by", "Ada"]) == 3
    assert "nothing to sign" in capsys.readouterr().err


def test_a_water_draw_and_a_movement_in_the_record_book_disturb(stood, tmp_path):
    path, begun = stood
    folder = tmp_path / "copy"
    shutil.copytree(path.parent, folder)
    copy = folder / path.name
    with open_stores(load_site(copy)) as stores:
        day = Days(load_site(copy).zone, load_site(copy).day_starts_min).at(begun + 10 * H)
        paper = Document(
            1, DocumentKind.WATER_DRAW, day.date, begun + 10 * H, TANK, "jet", "", "W-1", -0.03, None, None, None, "Bo"
        )
        stores.book.commit([Entry("document", begun + 10 * H, 3, document_json(paper))], {})
    outcome = _leak(copy, begun, begun + H, begun + 25 * H)
    assert outcome.said[0].why is Refusal.DISTURBED
    assert str(outcome.said[0].has).startswith("water draw")
    later = _leak(copy, begun + 26 * H)
    assert later.window is not None
    assert later.window.start_ms >= begun + 12 * H
