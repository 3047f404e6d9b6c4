"""Which period a report is of, by what a person asks: a day, a month, from and to, or nothing."""

from collections.abc import Callable
from enum import StrEnum
from typing import Final, NamedTuple

from gaugehouse.bookwork import period_of, today_of
from gaugehouse.closeroom import DAY, MONTH
from gaugehouse.errors import CallError
from gaugehouse.looking import moment_ms
from gaugehouse.reports.model import Period
from gaugehouse.site import Site

DAY_MS: Final = 86_400_000
LONGEST_MS: Final = 400 * DAY_MS


class Takes(StrEnum):
    """What a kind of report is of."""

    DAY = "day"
    MONTH = "month"
    SPAN = "span"  # also a day or a month
    NOW = "now"


class Asked(NamedTuple):
    """What a person wrote, each None or "" for nothing; times without an offset are the site's."""

    day: str | None = None
    month: str | None = None
    start: str | None = None
    end: str | None = None


def period_asked(
    site: Site, kind: str, takes: Takes, default_ms: Callable[[Site], int], asked: Asked, now_ms: int
) -> Period:
    """default_ms: how long a span is of which nothing is said. Raises `CallError` for what there is not."""
    given = [name for name, value in zip(("day", "month", "from", "to"), asked, strict=True) if value]
    wrong = [name for name in given if name not in ALLOWED[takes]]
    if wrong:
        what = f"give its {' or '.join(ALLOWED[takes])}" if ALLOWED[takes] else "leave it out"
        raise CallError(f"{wrong[0]}: the report {kind} is {WORDS[takes]}; {what}")
    if len({"span" if name in ("from", "to") else name for name in given}) > 1:
        raise CallError(f"{' and '.join(given)} are two questions; give a day, or a month, or from and to")
    if takes is Takes.NOW:
        return Period(now_ms, now_ms)
    if takes is Takes.DAY or asked.day:
        return _named(site, DAY, asked.day or today_of(site, now_ms), now_ms)
    if takes is Takes.MONTH or asked.month:
        return _named(site, MONTH, asked.month or today_of(site, now_ms)[:7], now_ms)
    return _span(site, asked, default_ms(site), now_ms)


ALLOWED: Final = {
    Takes.DAY: ("day",),
    Takes.MONTH: ("month",),
    Takes.SPAN: ("day", "month", "from", "to"),
    Takes.NOW: (),
}
WORDS: Final = {
    Takes.DAY: "of a day", Takes.MONTH: "of a month", Takes.SPAN: "of a span of time", Takes.NOW: "of this moment",
}  # fmt: skip


def _named(site: Site, kind: str, name: str, now_ms: int) -> Period:
    found = period_of(site, kind, name, now_ms)
    if found.start_ms > now_ms:
        raise CallError(f"{name} is still to come; ask for a {kind} that has begun")
    return Period(found.start_ms, found.end_ms, found.name, not found.over)


def _span(site: Site, asked: Asked, default_ms: int, now_ms: int) -> Period:
    start, end = moment_ms(asked.start or None, site), moment_ms(asked.end or None, site)
    to_ms = end if end is not None else now_ms if start is None else min(now_ms, start + default_ms)
    from_ms = start if start is not None else to_ms - default_ms
    if from_ms > now_ms:
        raise CallError(f"from {asked.start} is still to come; ask for a time that has begun")
    if from_ms >= to_ms:
        raise CallError(f"from {asked.start} is not before to {asked.end}; turn them round")
    if to_ms - from_ms > LONGEST_MS:
        raise CallError(f"from {asked.start} to {asked.end} is longer than {LONGEST_MS // DAY_MS} days; ask for less")
    if from_ms < 0:
        raise CallError(f"from {asked.start} is before 1970; ask for a later time")
    return Period(from_ms, to_ms, "", to_ms > now_ms)
