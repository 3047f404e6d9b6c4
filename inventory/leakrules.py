"""How a site does the leak test of a quiet tank: waits, lengths, what is not known of its temperatures.

Values only, each with its source; no rule hangs on this file.
"""

from typing import Final, NamedTuple

GALLON_M3: Final = 0.003785411784
HOUR_MS: Final = 3_600_000


class LeakRules(NamedTuple):
    """tanks: those whose level register is the gauge's own digital figure, never one reckoned from the loop.
    averaging: of these, the ones with a thermometer of several spots over the height; standing: the ones whose gauge
    hangs from nothing that the dry shell moves. volatile: products beside the gasolines that evaporate.

    The three figures in K are standard uncertainties of a change over 24 h: of the dry shell at the same hour of two
    days, of the liquid's mean beside what one spot, or what several spots tell. They were set by simulation in a warm
    place's weather; common practice knows no figure.
    """

    tanks: tuple[str, ...] = ()
    averaging: tuple[str, ...] = ()
    standing: tuple[str, ...] = ()
    volatile: tuple[str, ...] = ()
    wait_after_receipt_ms: int = 24 * HOUR_MS
    wait_after_issue_ms: int = 2 * HOUR_MS
    shortest_ms: int = 8 * HOUR_MS
    longest_ms: int = 72 * HOUR_MS
    dry_shell_K: float = 3.0
    unseen_spot_K: float = 0.10
    unseen_average_K: float = 0.02
    claim_at_most_m3_per_h: float = 2 * GALLON_M3
    """2 US gal/h: the largest rate that a rule for field-built tanks asks a test to see (South Carolina on 40 CFR 280
    subpart K: with a tightness test every two years)."""
