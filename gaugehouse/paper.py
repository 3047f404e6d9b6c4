"""One printed paper: what it is made of as plain values, and the same values as a PDF.

Knows a sheet's look: head, fields, tables that run over pages, notes, lines to sign on, the foot with the caution. It
refuses to know what a paper says: no units, no rounding, no words of the trade. The same paper gives the same bytes:
the time in it is the one it was given.

Text is printed in the font that lies in `gaugehouse/fonts` (all Latin, Greek and Cyrillic letters, signs of units). A
character that it lacks is printed as a mark, and a note at the end names it: never dropped in silence.
"""

import logging
import unicodedata
from collections.abc import Sequence
from datetime import datetime
from math import ceil
from pathlib import Path
from typing import Final, Literal, NamedTuple

from fpdf import FPDF
from fpdf.enums import CellBordersLayout, MethodReturnValue, TableBordersLayout
from fpdf.fonts import FontFace, TTFFont

from gaugehouse import __version__
from gaugehouse.cli import CAUTION

FONTS: Final = Path(__file__).parent / "fonts"
FACE: Final = "paper"
SIMULATED: Final = "SIMULATED DATA · an invented site · not a record of any real tank"
MARGIN_MM: Final = 16.0
INK: Final = 20
GREY: Final = 95
RULE: Final = 165
HAIRLINE_MM: Final = 0.15
LACKING: Final = "\N{REPLACEMENT CHARACTER}"
SMALLEST_PT: Final = 4.5
LONG: Final = 900
"""Signs from which on a field's value is set as a paragraph, which a page's end may part."""
_PAGES: Final = "\ufdd0"  # stands for a digit of the number of pages until it is known; no text can hold it
MOST_DIGITS: Final = 4

Size = Literal["A4", "Letter"]
Align = Literal["left", "right", "center"]


class Field(NamedTuple):
    """A label and its value. An empty value prints as a line to write on."""

    label: str
    value: str


class Fields(NamedTuple):
    """Label and value, two beside each other; `wide` puts one on each line."""

    fields: Sequence[Field]
    title: str = ""
    wide: bool = False


class Column(NamedTuple):
    """A column's head, its share of the width beside the others', and how its cells are set."""

    head: str
    share: float = 1.0
    align: Align = "left"


class Table(NamedTuple):
    """Rows under heads that are repeated on every page. `strong` rows are set in bold (sums, verdicts). `together`: on
    one page where one page can hold it."""

    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]
    title: str = ""
    empty: str = "none"
    strong: frozenset[int] = frozenset()
    size_pt: float = 8.5
    together: bool = False


class Note(NamedTuple):
    """A paragraph; `strong` puts it in a frame."""

    text: str
    title: str = ""
    strong: bool = False


class Signatures(NamedTuple):
    """A line to sign on for each label, with name, date and signature; the names that are known are printed on theirs.
    Never parted by a page's end."""

    labels: Sequence[str]
    names: Sequence[str] = ()


Block = Fields | Table | Note | Signatures


class Paper(NamedTuple):
    """A paper before it is printed. `made_at` must carry its offset; `number` and `head` (of the record book: its count
    and hash) stand on every page, `period` may be a time."""

    title: str
    site: str
    period: str
    made_by: str
    made_at: datetime
    blocks: Sequence[Block]
    number: str = ""
    head: str = ""
    tables_edition: str = ""
    simulated: bool = False
    size: Size = "A4"
    landscape: bool = False


def pdf_of(paper: Paper) -> bytes:
    """The paper as a PDF file: the same bytes for the same paper, with this version and its libraries.

    Raises ValueError when `made_at` has no offset.
    """
    if paper.made_at.tzinfo is None:
        raise ValueError(f"{paper.title}: the time at which a paper is made needs its offset, got {paper.made_at}")
    logging.getLogger("fontTools").setLevel(logging.WARNING)  # it tells every table that it cuts
    for digits in range(1, MOST_DIGITS + 1):
        sheet = _Sheet(paper, digits)
        try:
            sheet.add_page()
            for block in paper.blocks:
                sheet.block(block)
            sheet.say_what_lacks()
            if sheet.pages_count < 10**digits or digits == MOST_DIGITS:
                break
        finally:
            for font in sheet.fonts.values():
                assert isinstance(font, TTFFont)
                font.ttfont.close()  # fpdf2 leaves the file open
    return bytes(sheet.output())


class _Sheet(FPDF):
    """The drawing of one paper. fpdf2 calls `header` and `footer` for each page."""

    def __init__(self, paper: Paper, digits: int) -> None:
        super().__init__("landscape" if paper.landscape else "portrait", "mm", paper.size)
        self.paper = paper
        self.lacking: dict[str, None] = {}
        self.add_font(FACE, "", FONTS / "DejaVuSansCondensed.ttf")
        regular = self.fonts[FACE]
        assert isinstance(regular, TTFFont)
        self._known = frozenset(regular.cmap)
        self.add_font(FACE, "B", FONTS / "DejaVuSansCondensed-Bold.ttf")
        self._pages = _PAGES * digits
        self.alias_nb_pages(self._pages)
        self.set_creation_date(paper.made_at)
        self.set_title(self.clean(paper.title))
        self.set_author(self.clean(paper.made_by))
        self.set_subject(self.clean(f"{paper.site}, {paper.period}"))
        self.set_creator(f"gaugehouse {__version__}")
        self.set_producer(f"gaugehouse {__version__}")
        self.set_lang("en")
        self.set_margins(MARGIN_MM, MARGIN_MM, MARGIN_MM)
        self.c_margin = 0.0
        self._foot_lines = self._foot()
        self.face(6.8)
        caution_lines = ceil(self.get_string_width(CAUTION) / (self.epw * 0.97))
        self._foot_mm = 3.2 * (caution_lines + len(self._foot_lines)) + 9.0
        self.set_auto_page_break(True, self._foot_mm + 3.0)
        self.set_text_color(INK)

    def clean(self, text: str) -> str:
        """Text as this font can print it: composed, without control signs, a mark for what it lacks."""
        kept: list[str] = []
        for sign in unicodedata.normalize("NFC", text):
            if sign == "\n" or ord(sign) in self._known:
                kept.append(sign)
            elif unicodedata.category(sign) == "Cc":
                kept.append(" ")
            else:
                self.lacking[sign] = None
                kept.append(LACKING)
        return "".join(kept)

    def fitted(self, text: str, wide_mm: float) -> str:
        """Text for one line of that width: set smaller where it is too long, cut where even that does not help."""
        line = " ".join(self.clean(text).split())
        while self.get_string_width(line) > wide_mm and self.font_size_pt > SMALLEST_PT:
            self.set_font_size(self.font_size_pt - 0.25)
        if self.get_string_width(line) <= wide_mm:
            return line
        while line and self.get_string_width(f"{line}…") > wide_mm:
            line = line[:-1]
        return f"{line}…"

    def face(self, size_pt: float, *, bold: bool = False, grey: int = INK) -> None:
        """Choose the letters for what is written next."""
        self.set_font(FACE, "B" if bold else "", size_pt)
        self.set_text_color(grey)

    # head and foot ----------------------------------------------------------------------------------------------

    def header(self) -> None:
        """The mark of simulated data, title and site, a rule, period and number."""
        first = self.page_no() == 1
        if self.paper.simulated:
            self._simulated_mark()
        self.set_xy(MARGIN_MM, MARGIN_MM + (4.0 if self.paper.simulated else 0.0))
        self.face(15 if first else 10.5, bold=True)
        top, high = self.y, 7.0 if first else 5.2
        self.multi_cell(self.epw * 0.62, high, self.clean(self.paper.title), align="L", new_x="LMARGIN", new_y="NEXT")
        below = self.y
        self.set_xy(MARGIN_MM + self.epw * 0.62, top)
        self.face(10 if first else 9)
        self.multi_cell(self.epw * 0.38, high, self.clean(self.paper.site), align="R", new_x="LMARGIN", new_y="NEXT")
        self.y = max(below, self.y) + 0.8
        self._rule(0.5, INK)
        self.y += 1.2
        self.face(8.5, grey=GREY)
        high = 4.4
        number = f"No. {self.paper.number}" if self.paper.number else ""
        self.cell(self.epw * 0.62, high, self.fitted(self.paper.period, self.epw * 0.6))
        self.face(8.5, grey=GREY)
        wide = self.epw * 0.38
        self.cell(wide, high, self.fitted(number, wide), align="R", new_x="LMARGIN", new_y="NEXT")
        self.y += 3.0
        self.face(9)

    def _simulated_mark(self) -> None:
        """Nobody may take a page of the demo for a record: a black band on top and the word across the page."""
        self.set_fill_color(0)
        self.rect(0, 0, self.w, 10, style="F")
        self.set_xy(0, 2.4)
        self.face(10, bold=True, grey=255)
        self.cell(self.w, 5.2, SIMULATED, align="C")
        with self.local_context(), self.rotation(52 if self.h > self.w else 33, self.w / 2, self.h / 2):
            self.face(76, bold=True, grey=236)
            wide = self.get_string_width("SIMULATED")
            self.text((self.w - wide) / 2, self.h / 2 + 10, "SIMULATED")

    def _foot(self) -> list[str]:
        paper = self.paper
        lines = []
        if paper.tables_edition:
            lines.append(f"Volume correction: {paper.tables_edition}")
        if paper.head:
            lines.append(f"Record book: {paper.head}")
        made = paper.made_at.isoformat(timespec="seconds")
        lines.append(f"Made by {paper.made_by}, {made}, gaugehouse {__version__}")
        return list(map(self.clean, lines))

    def footer(self) -> None:
        """The caution, who made it and when, the edition of the tables, page x of y."""
        self.set_y(-self._foot_mm)
        self._rule(HAIRLINE_MM, INK)
        self.y += 1.0
        self.face(6.8, grey=GREY)
        self.multi_cell(self.epw, 3.2, CAUTION, align="L", new_x="LMARGIN", new_y="NEXT")
        for line in self._foot_lines[:-1]:
            self.cell(self.epw, 3.2, self.fitted(line, self.epw), new_x="LMARGIN", new_y="NEXT")
            self.face(6.8, grey=GREY)
        self.cell(self.epw * 0.8, 3.2, self.fitted(self._foot_lines[-1], self.epw * 0.79))
        self.face(7.5, bold=True)
        self.cell(self.epw * 0.2, 3.2, f"page {self.page_no()} of {self._pages}", align="R")
        self.face(9)

    def _rule(self, thick_mm: float, grey: int) -> None:
        self.set_draw_color(grey)
        self.set_line_width(thick_mm)
        self.line(MARGIN_MM, self.y, self.w - MARGIN_MM, self.y)
        self.set_line_width(HAIRLINE_MM)
        self.set_draw_color(RULE)

    # blocks -----------------------------------------------------------------------------------------------------

    def block(self, block: Block) -> None:
        """Draw one block below what is there."""
        if isinstance(block, Fields):
            self._fields(block)
        elif isinstance(block, Table):
            self._table(block)
        elif isinstance(block, Note):
            self._note(block)
        else:
            self._signatures(block)
        self.y += 3.4

    def _title(self, title: str, room_mm: float) -> None:
        """A block's title, kept together with what follows it."""
        if self.will_page_break(room_mm + (6.0 if title else 0.0)):
            self.add_page()
        if title:
            self.face(10, bold=True)
            self.cell(self.epw, 5.6, self.clean(title), new_x="LMARGIN", new_y="NEXT")

    def _fields(self, block: Fields) -> None:
        self._title(block.title, 8.0)
        short = [field for field in block.fields if len(field.value) < LONG]
        if short:
            self._short_fields(short, 1 if block.wide else 2)
        for label, value in block.fields:
            if len(value) >= LONG:
                self.y += 1.0
                self.face(7.5, grey=GREY)
                self.cell(self.epw, 4.4, self.fitted(label, self.epw), new_x="LMARGIN", new_y="NEXT")
                self.face(9)
                self.multi_cell(self.epw, 4.4, self.clean(value), align="L", new_x="LMARGIN", new_y="NEXT")

    def _short_fields(self, fields: Sequence[Field], beside: int) -> None:
        label = FontFace(color=GREY, size_pt=7.5)
        self.face(9)
        self.set_draw_color(RULE)
        shares = (1, 4.4) if beside == 1 else (1, 1.7, 1, 1.7)
        with self.table(
            borders_layout=TableBordersLayout.NONE,
            col_widths=shares,
            first_row_as_headings=False,
            line_height=4.4,
            padding=(0.6, 1.5, 0.6, 0.01),  # fpdf2 takes a left padding of nothing for "not given"
            text_align="LEFT",
            v_align="TOP",
        ) as table:
            for at in range(0, len(fields), beside):
                row = table.row()
                for one in fields[at : at + beside]:
                    row.cell(self.clean(one.label), style=label, border=CellBordersLayout.NONE)
                    row.cell(self.clean(one.value) or " ", border=CellBordersLayout.BOTTOM)
                for _ in range(beside - len(fields[at : at + beside])):
                    row.cell("", border=CellBordersLayout.NONE)
                    row.cell("", border=CellBordersLayout.NONE)

    def _table(self, block: Table) -> None:
        if not block.rows:
            self._title(block.title, 16.0)
            self.face(9, grey=GREY)
            self.cell(self.epw, 5.0, self.clean(block.empty), new_x="LMARGIN", new_y="NEXT")
            return
        self.face(block.size_pt)
        line = block.size_pt * 0.46
        total = sum(column.share for column in block.columns)
        if block.together:
            high = self._height(block, total, line)
            if high < self.eph * 0.8 and self.will_page_break(high):
                self.add_page()
        if block.title:
            self._title(block.title, 16.0)
            self.face(block.size_pt)
        self.set_draw_color(RULE)
        bold = FontFace(emphasis="BOLD")
        with self.table(
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            col_widths=tuple(column.share for column in block.columns),
            headings_style=FontFace(emphasis="BOLD", fill_color=228, size_pt=block.size_pt - 0.5),
            line_height=line,
            padding=(0.7, 1.2),
            text_align=tuple(column.align.upper() for column in block.columns),
            v_align="TOP",
        ) as table:
            table.row([self.clean(column.head) for column in block.columns])
            for place, row in enumerate(block.rows):
                for part in self._parts(block, row, total, line):
                    table.row(part, style=bold if place in block.strong else None)

    def _lines(self, block: Table, row: Sequence[str], total: float, line_mm: float) -> list[list[str]]:
        """Each cell of a row as the lines into which its column breaks it."""
        cells: list[list[str]] = []
        for text, column in zip(row, block.columns, strict=True):
            wide = self.epw * column.share / total - 2.6
            lines = self.multi_cell(wide, line_mm, self.clean(text), dry_run=True, output=MethodReturnValue.LINES)
            assert isinstance(lines, list)
            cells.append(lines)
        return cells

    def _height(self, block: Table, total: float, line_mm: float) -> float:
        """How high a table is, with its title and heads, to within a line or two."""
        rows = [[column.head for column in block.columns], *block.rows]
        return sum(max(map(len, self._lines(block, row, total, line_mm))) * line_mm + 1.4 for row in rows) + 8.0

    def _parts(self, block: Table, row: Sequence[str], total: float, line_mm: float) -> list[list[str]]:
        """A row as it is, or cut into several where its text is higher than half a page: no page might hold it."""
        most = max(1, int(self.eph * 0.5 / line_mm))
        cells = self._lines(block, row, total, line_mm)
        if max(map(len, cells)) <= most:
            return [[self.clean(text) for text in row]]
        parts = range(0, max(map(len, cells)), most)
        return [["\n".join(lines[at : at + most]) for lines in cells] for at in parts]

    def _note(self, block: Note) -> None:
        self._title(block.title, 8.0)
        self.face(9, bold=False)
        text = self.clean(block.text)
        if not block.strong:
            self.multi_cell(self.epw, 4.4, text, align="L", new_x="LMARGIN", new_y="NEXT")
            return
        high = self.multi_cell(self.epw, 4.4, text, padding=2, dry_run=True, align="L", output=MethodReturnValue.HEIGHT)
        assert isinstance(high, float)
        if self.will_page_break(high):
            self.add_page()
        self.set_draw_color(INK)
        self.set_line_width(0.4)
        self.multi_cell(self.epw, 4.4, text, border=1, padding=2, align="L", new_x="LMARGIN", new_y="NEXT")
        self.set_line_width(HAIRLINE_MM)

    def _signatures(self, block: Signatures) -> None:
        if self.will_page_break(13.0 * len(block.labels)):
            self.add_page()
        names = [*block.names, *[""] * (len(block.labels) - len(block.names))]
        for label, name in zip(block.labels, names, strict=True):
            self.y += 8.0
            self.set_draw_color(INK)
            left = MARGIN_MM
            columns = ((0.2, "", label), (0.34, "name", name), (0.16, "date", ""), (0.3, "signature", ""))
            for share, below, above in columns:
                wide = self.epw * share - 3.0
                self.face(9, bold=not below)
                self.text(left, self.y - (1.0 if below else 0.0), self.fitted(above, wide))
                if below:
                    self.line(left, self.y, left + wide, self.y)
                    self.face(7, grey=GREY)
                    self.text(left, self.y + 3.2, below)
                left += wide + 3.0
            self.set_x(MARGIN_MM)
            self.y += 5.0

    def say_what_lacks(self) -> None:
        """Name the characters that were printed as a mark, so that nobody takes the mark for the text."""
        if self.lacking:
            names = ", ".join(f"U+{ord(sign):04X}" for sign in sorted(self.lacking))
            self.block(Note(f"Printed as {LACKING} because the font of this paper lacks them: {names}."))
