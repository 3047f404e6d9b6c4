"""What the keys of `[stock.dips]` mean together, and what is unwise in them."""

from typing import Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report

SAFE_WAIT_MS: Final = 1_800_000
"""API RP 2003, NFPA 77 (from memory)."""


def check_dips(draft: Draft) -> None:
    """Every mistake of the table that is not one of a single key."""
    stock = draft.file.stock
    dips = None if stock is None else stock.dips
    if dips is None or not draft.report_is_clean("stock.dips"):
        return
    key = "stock.dips.limit_source"
    if dips.limit is not None and dips.limit_source is None:
        draft.report.error(key, "missing; a limit of the site's own names the rule that it comes from")
    if dips.limit is None and dips.limit_source is not None:
        text = "belongs to a `limit` of the site's own; add it, or remove this"
        draft.report.error(key, text, found=dips.limit_source)


def advise_dips(site: Site, report: Report) -> None:
    """What is legal but unwise."""
    rules = site.dip_rules
    if rules.relaxation_ms < SAFE_WAIT_MS:
        text = (
            f"static electricity: {rules.relaxation_ms / 60_000:g} min after flow is less than the 30 min of API RP "
            "2003 and NFPA 77 (from memory); follow your local code"
        )
        report.warn("stock.dips.relaxation", text, found=f"{rules.relaxation_ms / 60_000:g} min", allowed="30 min")
    if rules.limit_m < rules.doubt_m:
        text = (
            f"a dip is in doubt by {1000 * rules.doubt_m:g} mm itself; it cannot show that a gauge is within "
            f"{1000 * rules.limit_m:g} mm"
        )
        report.warn("stock.dips.limit", text, found=f"{1000 * rules.limit_m:g} mm")
