"""One alarm in the eyes of one channel: what of it was not told yet, what was, and how it stands.

A case holds one alarm whatever its number of occurrences, so a channel that is away for days fills no memory; the
occurrences that it missed are counted and told as a stretch. Immutable; knows no channel's wishes.
"""

from typing import Any, NamedTuple

from alerts.notify.news import UNACKNOWLEDGED, News, Now
from alerts.notify.policy import ACKNOWLEDGED, RETURNED

_ACKNOWLEDGED_BY = "acknowledged"


class FollowUp(NamedTuple):
    """What happened to an alarm after it had been told: it returned, or a person acknowledged it."""

    what: str
    time_ms: int
    by: str = ""


class Case(NamedTuple):
    """first, last: oldest and newest occurrence that was not told, 0 where all were. asked_ms, last_asked_ms: when they
    asked, on the site's clock; asked_elapsed_ms: the first on the monotonic one. told: the newest occurrence told (0:
    none), tellings: how often that one, told_elapsed_ms: when last, told_priority: how urgent it was then. changed_ms:
    of the state. by: who acknowledged. off_hours: it has waited for somebody to be on duty.
    """

    id: str
    source: str
    condition: str
    priority: int
    alarm_class: str
    state: str
    changed_ms: int
    value: float | None = None
    by: str = ""
    first: int = 0
    last: int = 0
    asked_ms: int = 0
    asked_elapsed_ms: int = 0
    last_asked_ms: int = 0
    told: int = 0
    tellings: int = 0
    told_ms: int = 0
    told_elapsed_ms: int = 0
    told_priority: int = 0
    follow_ups: tuple[FollowUp, ...] = ()
    off_hours: bool = False

    @property
    def untold(self) -> bool:
        return self.first > 0

    @property
    def more_urgent(self) -> bool:
        """Whether it has become more urgent since it was told."""
        return self.priority < self.told_priority

    @property
    def unacknowledged(self) -> bool:
        """Whether people are still asked to look."""
        return self.state in UNACKNOWLEDGED

    def with_news(self, news: News, now: Now) -> "Case":
        """The case after one more transition. An occurrence that was told already, or waits, is not taken again."""
        case = self._replace(state=news.state, changed_ms=news.time_ms, priority=news.priority)
        if news.asks and news.occurrence > max(self.told, self.last):
            case = case._replace(
                last=news.occurrence,
                last_asked_ms=news.time_ms,
                value=news.value if news.value is not None else self.value,
                by="",
                follow_ups=(),
            )
            if not self.untold:
                age_ms = max(0, now.time_ms - news.time_ms)
                case = case._replace(
                    first=news.occurrence, asked_ms=news.time_ms, asked_elapsed_ms=now.elapsed_ms - age_ms
                )
        elif news.event == _ACKNOWLEDGED_BY:
            case = case._replace(by=news.by)
            if self.told and not self.untold:
                case = case._followed(FollowUp(ACKNOWLEDGED, news.time_ms, news.by))
        elif news.event == "returned" and self.told and not self.untold:
            case = case._followed(FollowUp(RETURNED, news.time_ms))
        return case

    def _followed(self, what: FollowUp) -> "Case":
        kept = tuple(one for one in self.follow_ups if one.what != what.what)
        return self._replace(follow_ups=(*kept, what))

    def after_telling(self, told: "Case", now: Now) -> "Case":
        """The case once the message made of `told`, an earlier look of it, has gone out. What came since stays."""
        case = self._replace(
            follow_ups=tuple(one for one in self.follow_ups if one not in told.follow_ups), off_hours=False
        )
        if told.follow_ups and not told.untold:
            return case
        return case._replace(
            told=max(self.told, told.last),
            tellings=1 if told.untold else self.tellings + 1,
            told_ms=now.time_ms,
            told_elapsed_ms=now.elapsed_ms,
            told_priority=told.priority,
        )._without(told, now)

    def settled(self) -> "Case":
        """The case once it is decided that none of this is told."""
        return self._replace(
            told=max(self.told, self.last), first=0, last=0, follow_ups=(), off_hours=False
        )  # fmt: skip

    def _without(self, told: "Case", now: Now) -> "Case":
        if self.last <= told.last:
            return self._replace(first=0, last=0)
        age_ms = max(0, now.time_ms - self.last_asked_ms)
        return self._replace(
            first=told.last + 1, asked_ms=self.last_asked_ms, asked_elapsed_ms=now.elapsed_ms - age_ms
        )  # fmt: skip

    def saved(self) -> dict[str, Any]:
        """JSON values; what is as at the beginning is left out."""
        blank = Case._field_defaults
        kept = {name: value for name, value in self._asdict().items() if name not in blank or value != blank[name]}
        kept["follow_ups"] = [list(one) for one in self.follow_ups]
        for name in ("asked_elapsed_ms", "told_elapsed_ms"):
            kept.pop(name, None)  # that clock begins anew with each start
        return kept

    @classmethod
    def restored(cls, saved: dict[str, Any], now: Now) -> "Case":
        """Times on the monotonic clock are found again from those of the site's clock. Raises TypeError, KeyError."""
        case = cls(**{**saved, "follow_ups": tuple(FollowUp(*one) for one in saved["follow_ups"])})
        return case._replace(
            asked_elapsed_ms=now.elapsed_ms - max(0, now.time_ms - case.asked_ms),
            told_elapsed_ms=now.elapsed_ms - max(0, now.time_ms - case.told_ms),
        )


def opened(news: News) -> Case:
    """A case for an alarm that the channel has not heard of."""
    return Case(
        news.id, news.source, news.condition, news.priority, news.alarm_class, news.state, news.time_ms, news.value
    )  # fmt: skip
