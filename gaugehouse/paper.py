"""One printed paper: what it is made of as plain values, and the same values as a PDF.

Knows a sheet's look: head, fields, tables that run over pages, notes, lines to sign on, the foot with the caution. It
refuses to know what a paper says: no units, no rounding, no words of the trade. The same paper gives the same bytes:
the time in it is the one it was given.

Text is printed in the font that lies in `gaugehouse/fonts` (all Latin, Greek and Cyrillic letters, signs of units). A
character that it lacks is printed as a mark, and a note at the end names it: never dropped in silence.
"""

import logging
from collections.abc import Sequence
from datetime import datetime
from math import ceil
from typing import Final, Literal, NamedTuple

from fpdf.enums import CellBordersLayout, MethodReturnValue, TableBordersLayout
from fpdf.fonts import FontFace, TTFFont

from gaugehouse import __version__
from gaugehouse.caution import CAUTION
from gaugehouse.papertable import ABOVE_MM, INK, LACKING, RULE, Align, LetteredSheet, Letters, height_of

SIMULATED: Final = "SIMULATED DATA · an invented site · not a record of any real tank"
MARGIN_MM: Final = 16.0
GREY: Final = 95
LINE_OF_PT: Final = 0.46
"""Millimetres of a line of a table for each point of its letters."""
HAIRLINE_MM: Final = 0.15
GUTTER: Final = 5.0
"""mm between a field and the label of the one beside it."""
LONG: Final = 900
"""Signs from which on a field's value is set as a paragraph, which a page's end may part."""
_PAGES: Final = "\ufdd0"  # stands for a digit of the number of pages until it is known; no text can hold it
MOST_DIGITS: Final = 4

Size = Literal["A4", "Letter"]


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
    lettering: dict[str, Letters] = {}
    digits = 0
    while True:
        sheet = _Sheet(paper, lettering)
        digits = max(digits + 1, len(str(sheet.least_pages())))
        try:
            sheet.leave_room_for(digits)
            sheet.add_page()
            for block in paper.blocks:
                sheet.block(block)
            sheet.say_what_lacks()
            if sheet.pages_count < 10**digits or digits >= MOST_DIGITS:
                break
        finally:
            for font in sheet.fonts.values():
                assert isinstance(font, TTFFont)
                font.ttfont.close()  # fpdf2 leaves the file open
    return bytes(sheet.output())


class _Sheet(LetteredSheet):
    """The drawing of one paper. fpdf2 calls `header` and `footer` for each page."""

    def __init__(self, paper: Paper, lettering: dict[str, Letters]) -> None:
        super().__init__("landscape" if paper.landscape else "portrait", paper.size, lettering)
        self.paper = paper
        self._pages = _PAGES
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

    def least_pages(self) -> int:
        """So many pages at the least: each row of a table has a line."""
        high = sum(
            len(block.rows) * (block.size_pt * LINE_OF_PT + 2 * ABOVE_MM)
            for block in self.paper.blocks if isinstance(block, Table)
        )  # fmt: skip
        return max(1, int(high / self.eph))

    def leave_room_for(self, digits: int) -> None:
        """How long the number of all pages will be: only at the end it is known."""
        self._pages = _PAGES * digits
        self.alias_nb_pages(self._pages)

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
                for place, one in enumerate(fields[at : at + beside]):
                    padding = (0.6, 1.5, 0.6, GUTTER) if place else None
                    row.cell(self.clean(one.label), style=label, border=CellBordersLayout.NONE, padding=padding)
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
        line = block.size_pt * LINE_OF_PT
        heads = [column.head for column in block.columns]
        places = self.places([column.share for column in block.columns], [column.align for column in block.columns])
        if block.together:
            cells = [heads, *block.rows]
            high = sum(height_of(self.row_of(row, places, block.size_pt, bold=False)) * line + 1.4 for row in cells)
            if high + 8.0 < self.eph * 0.8 and self.will_page_break(high + 8.0):
                self.add_page()
        if block.title:
            self._title(block.title, 16.0)
        self.table_of(heads, block.rows, places, block.strong, block.size_pt, line)

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
