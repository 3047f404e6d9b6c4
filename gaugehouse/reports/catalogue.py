"""Every report there is. A new one is a file of its own beside this one, and one line here."""

from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

from gaugehouse.errors import CallError
from gaugehouse.reports import account, dips, due, handover, movements, stock
from gaugehouse.reports.model import Period, Report
from gaugehouse.reports.periods import DAY_MS, Asked, Takes, period_asked
from gaugehouse.reports.sources import Sources
from gaugehouse.site import Site

Make = Callable[[Sources, Period], Report]


def _one_day(site: Site) -> int:
    return DAY_MS


def _quarter(site: Site) -> int:
    return 92 * DAY_MS


def _shift(site: Site) -> int:
    return site.shift_ms


class ReportKind(NamedTuple):
    """words: what it is for, in a sentence. default_ms: of a span of which nothing is said."""

    name: str
    title: str
    words: str
    takes: Takes
    make: Make
    default_ms: Callable[[Site], int] = _one_day


REPORTS: Final[Mapping[str, ReportKind]] = {
    one.name: one
    for one in (
        ReportKind("stock", stock.TITLE, "What each tank holds at the end of a day, and the day's book.", Takes.DAY,
                   stock.report),
        ReportKind("movements", movements.TITLE, "What went in and out of the tanks, as the gauges saw it.",
                   Takes.SPAN, movements.report),
        ReportKind("account", account.TITLE, "The stock account of a month, as it is signed at its end.",
                   Takes.MONTH, account.report),
        ReportKind("dips", dips.TITLE, "Hand dips beside the gauges, and what they say of them.", Takes.SPAN,
                   dips.report, _quarter),
        ReportKind("handover", handover.TITLE, "What one shift hands to the next.", Takes.SPAN, handover.report,
                   _shift),
        ReportKind("due", due.TITLE, "What somebody has to do, and what was never done.", Takes.NOW, due.report),
    )
}  # fmt: skip


def kind_of(name: str) -> ReportKind:
    """Raises `CallError` for a report that there is not."""
    if name not in REPORTS:
        raise CallError(f"there is no report {name!r}; there are {', '.join(REPORTS)}")
    return REPORTS[name]


def make(name: str, sources: Sources, asked: Asked) -> Report:
    """A report by its name and by what a person asks of it. Raises `CallError` for what there is not."""
    kind = kind_of(name)
    period = period_asked(sources.site, name, kind.takes, kind.default_ms, asked, sources.now_ms)
    return kind.make(sources, period)
