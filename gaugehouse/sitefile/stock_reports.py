"""The `[stock.reports]` table of the site file: how long a shift is, and on what paper reports are printed."""

from typing import Annotated, Literal

from gaugehouse.sitefile.fields import milliseconds
from gaugehouse.sitefile.table import Table

HOUR_S = 3600


class ReportsTable(Table):
    """Everything has a default."""

    shift: Annotated[int, milliseconds("12 h", HOUR_S, 24 * HOUR_S)] = 12 * HOUR_S * 1000
    paper: Literal["A4", "Letter"] = "A4"
