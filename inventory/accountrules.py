"""What a site says of its stock accounts: the rule of tolerance, what the parts of a variance rest on, who shares it.

Immutable values in SI. Knows no site file, no clock, no I/O.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from inventory.tolerances import Rule
from inventory.variance import SplitRules

METER_FRAC: Final = 0.002
METER_SOURCE: Final = "limits of 0.2 % at the yearly proving, UFC 3-460-03 10.3.12.2, taken as rectangular"


class SharedBy(StrEnum):
    """What gains and losses of commingled fuel are shared by among its owners."""

    THROUGHPUT = "throughput"
    BOOK = "book"


@dataclass(frozen=True, slots=True)
class AccountRules:
    """The `[stock.accounts]` of a site. rule: None where the site names none.

    max_age_ms, dip_age_ms: a reading or a dip older than this at a day's boundary measures nothing. meter_frac: limits
    of error of metered volumes. line_fill_m3: fuel in the line between a tank and its meter. samples_m3: taken each day
    without a paper.
    """

    rule: Rule | None = None
    max_age_ms: int = 600_000
    dip_age_ms: int = 7_200_000
    shared_by: SharedBy = SharedBy.THROUGHPUT
    meter_frac: float = METER_FRAC
    meter_given: bool = False
    evaporation_frac: float | None = None
    line_fill_m3: float | None = None
    samples_m3: float | None = None

    @property
    def split(self) -> SplitRules:
        limit = f"limits of {100 * self.meter_frac:g} % by the site file, taken as rectangular"
        return SplitRules(
            self.meter_frac / math.sqrt(3), limit if self.meter_given else METER_SOURCE, self.evaporation_frac,
            self.line_fill_m3, self.samples_m3,
        )  # fmt: skip
