"""A month's table on paper: drawn by the house beside the table of the library that writes the PDF, in one run.

Both print the same rows in the same letters; what is compared is the CPU time of a whole paper. `--short`: fewer turns.
"""

import argparse
import statistics
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from gaugehouse.paper import Column, Paper, Table, pdf_of
from gaugehouse.papertable import FACE, FONTS

DAYS: Final = 31
HEADS: Final = (
    "Tank", "Day", "Opening", "Receipts", "Issues", "Book", "Physical", "Variance", "±", "Measured by", "Missing"
)  # fmt: skip
MADE: Final = datetime(2026, 1, 31, 12, tzinfo=UTC)


def rows_of(tanks: int) -> list[list[str]]:
    return [
        [f"Tank {tank}", f"{day} Jan 2026", f"{400 - day}.123", "0.000", f"−{day % 7}.014", f"{395 - day}.109",
         f"{395 - day}.1{day:02d}", f"+0.0{day % 10}4", "0.153", "gauge", "" if day % 9 else "book incomplete"]
        for tank in range(tanks) for day in range(1, DAYS + 1)
    ]  # fmt: skip


def by_house(rows: list[list[str]]) -> bytes:
    columns = [Column(head, align="left" if place < 2 else "right") for place, head in enumerate(HEADS)]
    return pdf_of(
        Paper("Account", "Bench", "2026-01", "Ada", MADE, [Table(columns, rows, size_pt=7.0)], landscape=True)
    )


def by_library(rows: list[list[str]]) -> bytes:
    pdf = FPDF("landscape", "mm", "A4")
    for style, name in (("", "DejaVuSansCondensed.ttf"), ("B", "DejaVuSansCondensed-Bold.ttf")):
        pdf.add_font(FACE, style, FONTS / name)
    pdf.set_font(FACE, "", 7.0)
    pdf.add_page()
    with pdf.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        headings_style=FontFace(emphasis="BOLD", fill_color=228, size_pt=6.5),
        line_height=3.22,
        padding=(0.7, 1.2),
        text_align=("LEFT", "LEFT", *["RIGHT"] * (len(HEADS) - 2)),
    ) as table:
        table.row(HEADS)
        for row in rows:
            table.row(row)
    return bytes(pdf.output())


def seconds(draw: Callable[[list[list[str]]], bytes], rows: list[list[str]]) -> float:
    start = time.process_time()
    draw(rows)
    return time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    turns = 3 if parser.parse_args().short else 7
    for tanks in (1, 4, 12):
        rows = rows_of(tanks)
        ratios = [seconds(by_library, rows) / seconds(by_house, rows) for _ in range(turns)]
        print(f"{len(rows):4d} rows: the library's table takes {statistics.median(ratios):.1f} times the house's "
              f"(of {turns} turns {min(ratios):.1f} to {max(ratios):.1f})")  # fmt: skip


if __name__ == "__main__":
    main()
