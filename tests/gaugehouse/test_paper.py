"""Every printed paper is read back with pypdf, which shares no code with the library that writes it."""

import io
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from gaugehouse.caution import CAUTION
from gaugehouse.paper import Block, Column, Field, Fields, Note, Paper, Signatures, Table, pdf_of

MADE = datetime(2026, 3, 1, 9, 30, tzinfo=timezone(timedelta(hours=-5)))


def paper(*blocks: Block, **other: object) -> Paper:
    base = Paper("Record of a trial", "Palm Cove", "2026-02", "Ada Example", MADE, blocks, number="R-7")
    return base._replace(**other)  # type: ignore[arg-type]  # the tests below pass fields by name


def read(printed: Paper) -> PdfReader:
    return PdfReader(io.BytesIO(pdf_of(printed)), strict=True)


def text_of(printed: Paper) -> str:
    return " ".join(" ".join(page.extract_text() for page in read(printed).pages).split())


def test_title_site_period_number_maker_and_caution_stand_on_every_page() -> None:
    rows = [[str(n), "text"] for n in range(150)]
    pages = read(paper(Table([Column("n"), Column("what")], rows))).pages
    assert len(pages) > 2
    for number, page in enumerate(pages, 1):
        text = " ".join(page.extract_text().split())
        for part in ("Record of a trial", "Palm Cove", "2026-02", "R-7", "Made by Ada Example", CAUTION):
            assert part in text
        assert f"page {number} of {len(pages)}" in text
        assert "2026-03-01T09:30:00-05:00" in text


def test_a_table_runs_over_pages_with_its_heads_repeated_and_no_row_lost() -> None:
    rows = [[f"row-{n:03d}", "x"] for n in range(200)]
    pages = [page.extract_text() for page in read(paper(Table([Column("Alarm name"), Column("b")], rows))).pages]
    assert all("Alarm name" in page for page in pages)
    assert [f"row-{n:03d}" for n in range(200)] == [w for page in pages for w in page.split() if w.startswith("row-")]


@pytest.mark.parametrize(
    "text",
    [
        "36 m³ at −3.5 °C",
        "≥ 48 001 L ± 0.25 % of span, ≤ 12 µA, 5 kΩ",
        "Łódź, São Tomé, Győr, Çeşme, Ağrı, Iași, Đà Nẵng, Reykjavík, Kaunas–Šiauliai",
        "Αθήνα, Москва",
        "4 → 20 mA ✓ □",
    ],
)
def test_text_beyond_latin_1_is_printed_as_it_was_written(text: str) -> None:
    printed = text_of(paper(Note(text), Fields([Field("Remark", text)]), Table([Column(text)], [[text]]), site=text))
    assert printed.count(" ".join(text.split())) >= 4
    assert "lacks" not in printed


def test_what_the_font_lacks_is_marked_and_named() -> None:
    printed = text_of(paper(Note("by 中 of the shift")))
    assert "by � of the shift" in printed
    assert "lacks them: U+4E2D" in printed


def test_a_paper_of_many_pages_keeps_room_for_their_number() -> None:
    # A library's warning is an error in these tests: it warned when the number took more room than was kept for it.
    pages = read(paper(Table([Column("n")], [[str(n)] for n in range(900)]))).pages
    assert len(pages) >= 10
    assert f"page {len(pages)} of {len(pages)}" in " ".join(pages[-1].extract_text().split())


def test_a_letter_and_its_accent_written_apart_print_as_one() -> None:
    assert "Zoë" in text_of(paper(Note("Zoe\N{COMBINING DIAERESIS}")))


def test_the_same_paper_gives_the_same_bytes() -> None:
    one = paper(Table([Column("a", 2, "right")], [["1"], ["2"]]), Note("n", strong=True), Signatures(["Tester"]))
    assert pdf_of(one) == pdf_of(one)
    assert pdf_of(one) != pdf_of(one._replace(made_at=MADE + timedelta(seconds=1)))


def test_the_time_of_making_is_the_one_given() -> None:
    told = read(paper(made_at=datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC))).metadata
    assert told is not None
    assert told.creation_date == datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)
    assert told.title == "Record of a trial"
    assert told.author == "Ada Example"


def test_a_time_without_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="needs its offset"):
        pdf_of(paper(made_at=datetime(2026, 5, 4)))


# From memory: ISO 216, A4 is 210 x 297 mm; ANSI/ASME Y14.1, size A (Letter) is 8.5 x 11 in; ISO 32000-1, 8.3.2.3,
# a unit of a PDF page is 1/72 in.
@pytest.mark.parametrize(
    ("size", "landscape", "width_pt", "height_pt"),
    [
        ("A4", False, 210 / 25.4 * 72, 297 / 25.4 * 72),
        ("A4", True, 297 / 25.4 * 72, 210 / 25.4 * 72),
        ("Letter", False, 8.5 * 72, 11 * 72),
        ("Letter", True, 11 * 72, 8.5 * 72),
    ],
)
def test_sheets_are_of_the_standard_sizes(size: str, landscape: bool, width_pt: float, height_pt: float) -> None:
    box = read(paper(Note("x"), size=size, landscape=landscape)).pages[0].mediabox
    assert float(box.width) == pytest.approx(width_pt, abs=0.02)
    assert float(box.height) == pytest.approx(height_pt, abs=0.02)


def test_simulated_data_are_marked_on_every_page_and_real_ones_never() -> None:
    table = Table([Column("n")], [[str(n)] for n in range(120)])
    for page in read(paper(table, simulated=True)).pages:
        assert page.extract_text().count("SIMULATED") >= 2
    assert "SIMULATED" not in text_of(paper(table))


def test_the_edition_of_the_tables_and_the_head_of_the_book_stand_in_the_foot_where_given() -> None:
    printed = text_of(paper(Note("x"), tables_edition="API MPMS 11.1-2004", head="12:abcd"))
    assert "Volume correction: API MPMS 11.1-2004" in printed
    assert "Record book: 12:abcd" in printed
    assert "Volume correction" not in text_of(paper(Note("x")))


def test_a_cell_longer_than_a_page_is_cut_over_pages_with_every_word_kept() -> None:
    words = " ".join(f"word{n}" for n in range(3000))
    printed = text_of(paper(Table([Column("a"), Column("b", 4)], [["one", words]])))
    assert [w for w in printed.split() if w.startswith("word")] == words.split()


def test_an_empty_table_says_so_and_an_empty_field_leaves_a_line_to_write_on() -> None:
    printed = text_of(paper(Table([Column("a")], [], title="Alarms", empty="no alarm stood")))
    assert "Alarms no alarm stood" in printed
    filled = pdf_of(paper(Fields([Field("Remarks", "")])))
    assert "Remarks" in PdfReader(io.BytesIO(filled)).pages[0].extract_text()


def test_a_value_longer_than_a_page_runs_over_pages_with_every_word_kept() -> None:
    words = " ".join(f"word{n}" for n in range(2500))
    printed = text_of(paper(Fields([Field("Short", "kept"), Field("Remarks", words)])))
    assert [w for w in printed.split() if w.startswith("word")] == words.split()
    assert "Short kept" in printed


def test_a_line_that_is_too_long_is_set_smaller_and_cut_only_at_the_end_of_that() -> None:
    name = "Maximiliana Featherstonehaugh-Cholmondeley-Majoribanks of Upper Wallop"
    printed = text_of(paper(Signatures(["Tester"], [name]), made_by=name, period=name * 2, number=name))
    assert printed.count(name) >= 4
    assert "…" in text_of(paper(Note("x"), number=name * 20))


def test_text_that_looks_like_markup_or_a_page_count_is_printed_as_it_is() -> None:
    assert "**a** {nb} <b> __c__" in text_of(paper(Note("**a** {nb} <b> __c__")))


def test_a_row_with_too_few_cells_is_a_bug_that_is_told() -> None:
    with pytest.raises(ValueError, match="argument"):
        pdf_of(paper(Table([Column("a"), Column("b")], [["only one"]])))


@settings(max_examples=12, deadline=None)
@given(st.text(max_size=60))
def test_no_text_keeps_a_paper_from_being_printed(text: str) -> None:
    one = paper(Note(text, text), Fields([Field(text, text)]), Table([Column(text)], [[text]]), Signatures([text]))
    assert len(read(one._replace(title=text, made_by=text, number=text)).pages) >= 1
