"""The letters of a printed sheet, texts broken into lines, and tables that run over pages.

Knows widths and lines; refuses to know what stands on a paper. A text is broken once for a width, however often it is
asked for: a month's account has thousands of cells, and the same few words in most of them.
"""

import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal, NamedTuple

from fpdf import FPDF
from fpdf.fonts import TTFFont

FONTS: Final = Path(__file__).parent / "fonts"
FACE: Final = "paper"
INK: Final = 20
RULE: Final = 165
HEAD_FILL: Final = 228
LACKING: Final = "\N{REPLACEMENT CHARACTER}"
SMALLEST_PT: Final = 4.5
SOFT_HYPHEN: Final = "\N{SOFT HYPHEN}"
ABOVE_MM: Final = 0.7
BESIDE_MM: Final = 1.2
PT_MM: Final = 25.4 / 72

Align = Literal["left", "right", "center"]


class Broken(NamedTuple):
    """A text as lines, and how wide each is, in thousandths of the letters' size."""

    lines: tuple[str, ...]
    widths: tuple[float, ...]


class Letters:
    """How wide the letters of a face are, and where texts in it are broken. advance: by code point, in thousandths."""

    def __init__(self, advance: dict[int, float]) -> None:
        self._advance = advance
        self._broken: dict[tuple[str, float, bool], Broken] = {}

    def width(self, text: str) -> float:
        return sum(self._advance[ord(sign)] for sign in text)

    def broken(self, text: str, most: float, *, whole: bool = False) -> Broken:
        """The lines of a text, none wider than `most`: parted at spaces and line ends, a longer word where it must.

        whole: such a word stays in one piece, and is wider.
        """
        key = text, most, whole
        found = self._broken.get(key)
        if found is None:
            lines = [
                line for part in text.replace(SOFT_HYPHEN, "").split("\n") for line in self._lines(part, most, whole)
            ]
            found = self._broken[key] = Broken(tuple(lines), tuple(map(self.width, lines)))
        return found

    def _lines(self, text: str, most: float, whole: bool) -> list[str]:
        if self.width(text) <= most:
            return [text]
        lines: list[str] = []
        line = ""
        for word in text.split(" "):
            longer = f"{line} {word}" if line else word
            if self.width(longer) <= most:
                line = longer
                continue
            if line:
                lines.append(line)
            *full, line = [word] if whole else self._cut(word, most)
            lines += full
        return [*lines, line]

    def _cut(self, word: str, most: float) -> list[str]:
        """A word that no line holds, in pieces; at least a letter each."""
        pieces = [""]
        for sign in word:
            if pieces[-1] and self.width(pieces[-1] + sign) > most:
                pieces.append("")
            pieces[-1] += sign
        return pieces


class Place(NamedTuple):
    """A column: where it begins, how wide its text may be, and how it is set. In mm."""

    left: float
    wide: float
    align: Align


class LetteredSheet(FPDF):
    """A sheet with the house's letters: text made printable, lines, tables. `lettering`: kept over two drawings."""

    def __init__(self, orientation: Literal["portrait", "landscape"], size: str, lettering: dict[str, Letters]) -> None:
        super().__init__(orientation, "mm", size)
        self.lacking: dict[str, None] = {}
        for style, name in (("", "DejaVuSansCondensed.ttf"), ("B", "DejaVuSansCondensed-Bold.ttf")):
            self.add_font(FACE, style, FONTS / name)
            font = self.fonts[FACE + style]
            assert isinstance(font, TTFFont)
            if style not in lettering:
                lettering[style] = Letters(font.cw)
            if not style:
                self._known = frozenset(font.cmap)
        self._lettering = lettering

    def clean(self, text: str) -> str:
        """Text as this font can print it: composed, without control signs, a mark for what it lacks."""
        if text.isascii() and text.isprintable():
            return text
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

    def places(self, shares: Sequence[float], aligns: Sequence[Align]) -> list[Place]:
        """Columns over the whole width, by their shares of it."""
        total, left, found = sum(shares), self.l_margin, []
        for share, align in zip(shares, aligns, strict=True):
            wide = self.epw * share / total
            found.append(Place(left + BESIDE_MM, wide - 2 * BESIDE_MM, align))
            left += wide
        return found

    def row_of(self, cells: Sequence[str], places: Sequence[Place], size_pt: float, *, bold: bool) -> list[Broken]:
        """A row's cells as lines in their columns. A figure is never parted: where it has no room it is set smaller."""
        letters = self._lettering["B" if bold else ""]
        unit_mm = size_pt * PT_MM / 1000
        return [
            letters.broken(self.clean(text), place.wide / unit_mm, whole=place.align == "right")
            for text, place in zip(cells, places, strict=True)
        ]

    def table_of(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        places: Sequence[Place],
        strong: frozenset[int],
        size_pt: float,
        line_mm: float,
    ) -> None:
        """Heads and rows below each other; the heads again on every page. A row is parted by a page's end only where it
        is higher than half a page."""
        head = self.row_of(heads, places, size_pt - 0.5, bold=True)
        most = max(1, int(self.eph * 0.5 / line_mm))
        for place, cells in enumerate(rows):
            row = self.row_of(cells, places, size_pt, bold=place in strong)
            for at in range(0, height_of(row), most):
                part = [Broken(one.lines[at : at + most], one.widths[at : at + most]) for one in row]
                high = height_of(part) * line_mm + 2 * ABOVE_MM
                first = place == 0 and at == 0
                if self.will_page_break(high + (height_of(head) * line_mm + 2 * ABOVE_MM if first else 0.0)):
                    self.add_page()
                    first = True
                if first:
                    self._head(head, places, size_pt - 0.5, line_mm)
                self.face(size_pt, bold=place in strong)
                self._row(part, places, size_pt, line_mm)
                self._below(high)
        self.x = self.l_margin

    def _head(self, head: Sequence[Broken], places: Sequence[Place], size_pt: float, line_mm: float) -> None:
        high = height_of(head) * line_mm + 2 * ABOVE_MM
        self.set_fill_color(HEAD_FILL)
        self.rect(self.l_margin, self.y, self.epw, high, style="F")
        self.face(size_pt, bold=True)
        self._row(head, places, size_pt, line_mm)
        self._below(high)

    def _below(self, high: float) -> None:
        """Go below a row, with a line under it."""
        self.y += high
        self.set_draw_color(RULE)
        self.line(self.l_margin, self.y, self.w - self.r_margin, self.y)

    def _row(self, row: Sequence[Broken], places: Sequence[Place], size_pt: float, line_mm: float) -> None:
        unit_mm = size_pt * PT_MM / 1000
        base = self.y + ABOVE_MM + 0.5 * line_mm + 0.3 * size_pt * PT_MM
        for cell, place in zip(row, places, strict=True):
            for number, (line, width) in enumerate(zip(cell.lines, cell.widths, strict=True)):
                if not line:
                    continue
                spare = place.wide - width * unit_mm
                if spare < 0:
                    self.set_font_size(size_pt * place.wide / (width * unit_mm))
                    spare = 0.0
                left = place.left + {"left": 0.0, "right": spare, "center": spare / 2}[place.align]
                self.text(left, base + number * line_mm, line)
                self.set_font_size(size_pt)


def height_of(row: Sequence[Broken]) -> int:
    """How many lines the highest cell of a row has."""
    return max((len(one.lines) for one in row), default=1)
