"""What a site lays down for its receipts: limits, prompts, and what is to be done before flow starts.

Plain values with their sources; the keys of the site file are in `gaugehouse.sitefile.stock_receipts`.
"""

from dataclasses import dataclass
from typing import Final

CHECKS: Final = (
    "free water drained from the tank",
    "tank dipped by hand",
    "water of the tank checked",
    "tank status allows a receipt",
    "sample of the delivery clear, bright and free of water",
    "valves lined up to this tank only",
    "vehicle bonded, static led off",
    "agreed who stops the flow, and how",
)
"""Source: UK HSE, Process Safety Leadership Group final report (2009), appendix 5, para 199 for the line-up and who can
stop the flow; the rest is common practice, no source. A site names its own."""

FIRST_CHECK_MS: Final = 900_000
"""Source: the same, para 217: first check that the movement is as expected after 15 to 20 minutes."""

CHECK_EVERY_MS: Final = 1_200_000
"""Checks at set periods within a tolerance: the same, para 219; the period is ours."""

GRACE_MS: Final = 300_000
"""Within so long a check that is due may be done: 15 to 20 minutes."""


@dataclass(frozen=True, slots=True)
class ReceiptRules:
    """density_limit_kgpm3: sample against paper at 15 degC; temperature_limit_degC: delivery against paper.

    quantity_limit_frac: of the paper's quantity, what counts as agreement. paper_u95_frac: expanded uncertainty of the
    paper's quantity. divergence_frac: of the line's figure, while it runs. slow_start_ms: how long the rate is not held
    against the agreed one. source: who says so, printed beside the limits.
    """

    density_limit_kgpm3: float = 3.0
    temperature_limit_degC: float = 3.0
    quantity_limit_frac: float = 0.005
    paper_u95_frac: float = 0.002
    divergence_frac: float = 0.02
    slow_start_ms: int = 600_000
    first_check_ms: int = FIRST_CHECK_MS
    check_every_ms: int = CHECK_EVERY_MS
    checks: tuple[str, ...] = CHECKS
    source: str = ""
