"""What is legal but unwise in the channels of a site: alarms that reach nobody, secrets that travel in the open."""

from collections.abc import Iterator
from typing import Final
from urllib.parse import urlsplit

from alerts.notify.policy import DAY_MIN, Hours
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.notifyschema import DAYS, EMAIL, WEBHOOK
from gaugehouse.sitefile.problems import Report

_LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")


def advise_notify(site: Site, report: Report) -> None:
    """Every warning of the channels; a site without channels is its own choice."""
    if not site.channels:
        return
    for channel in site.channels:
        _in_the_open(channel, report)
        _classes(channel, site, report)
    first = [one for one in site.channels if 1 in one.policy.priorities and not one.policy.unacknowledged_ms]
    first = [one for one in first if not one.policy.classes and not one.policy.sources]
    if not first:
        text = (
            "no channel is told of every alarm of priority 1 at once; give one without unacknowledged_for, classes and "
            "sources, or leave priorities out"
        )
        report.warn("notify", text)
    elif (gap := _gap([one.policy.hours for one in first])) is not None:
        text = f"nobody is told of an alarm of priority 1 {gap}: no channel is on duty then; add one, or lengthen hours"
        report.warn("notify", text)
    if all(one.policy.alive_every_ms is None for one in site.channels):
        text = "nobody outside would notice that the daemon itself has died; give a channel alive_every"
        report.warn("notify", text)


def _in_the_open(channel: NotifySpec, report: Report) -> None:
    key = f"notify[{channel.id}]"
    if channel.kind == EMAIL and channel.security == "none" and channel.password and channel.host not in _LOOPBACK:
        report.warn(f"{key}.security", "the password crosses the network in the clear", found="none", allowed="tls")
    if channel.kind == WEBHOOK and channel.url is not None:
        parts = urlsplit(channel.url)
        if parts.scheme == "http" and parts.hostname not in _LOOPBACK:
            what = "the token and the alarms cross" if channel.token else "the alarms cross"
            report.warn(f"{key}.url", f"{what} the network in the clear; use https", found="http", allowed="https")


def _classes(channel: NotifySpec, site: Site, report: Report) -> None:
    """Classes that no alarm has: such a channel is told of nothing."""
    known = {entry.alarm_class for entry in site.sheet.entries()}
    for name in sorted(channel.policy.classes - known):
        text = f'no alarm of the alarm sheet has the class "{name}"'
        report.warn(f"notify[{channel.id}].classes", text, found=name)


def _gap(duties: list[Hours | None]) -> str | None:
    """The first time of the week at which none of these is on duty, in words."""
    if any(hours is None for hours in duties):
        return None
    on_duty = set[int]()
    for hours in duties:
        assert hours is not None
        on_duty.update(_minutes(hours))
    week = range(7 * DAY_MIN)
    first = next((minute for minute in week if minute not in on_duty), None)
    if first is None:
        return None
    end = next((minute for minute in week if minute > first and minute in on_duty), 7 * DAY_MIN)
    return f"from {_words(first)} to {_words(end % (7 * DAY_MIN))}"


def _minutes(hours: Hours) -> Iterator[int]:
    """The minutes of a week, from Monday on, at which somebody is there."""
    length = (hours.end_min - hours.start_min) % DAY_MIN or DAY_MIN
    for day in hours.days:
        for minute in range(length):
            yield (day * DAY_MIN + hours.start_min + minute) % (7 * DAY_MIN)


def _words(minute: int) -> str:
    day, rest = divmod(minute, DAY_MIN)
    return f"{DAYS[day]} {rest // 60:02d}:{rest % 60:02d}"
