"""What one channel is for: which alarms, at which hours, how long after, and how often. Plain values, no I/O."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

DAY_MIN: Final = 24 * 60
EVERY_DAY: Final = frozenset(range(7))

RAISED: Final = "raised"
RETURNED: Final = "returned"
ACKNOWLEDGED: Final = "acknowledged"
TELLS: Final = (RAISED, RETURNED, ACKNOWLEDGED)
"""What a channel can be told of an alarm. That it was raised is always told."""


class Hours(NamedTuple):
    """When a channel is on duty: minutes after local midnight, start <= t < end, over midnight where end <= start.

    days: 0 is Monday; the day on which the hours begin.
    """

    zone: str
    start_min: int = 0
    end_min: int = DAY_MIN
    days: frozenset[int] = EVERY_DAY

    def open_at(self, time_ms: int) -> bool:
        """Whether somebody is there at a moment of the site's clock."""
        local = datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(ZoneInfo(self.zone))
        minute, day = 60 * local.hour + local.minute, local.weekday()
        if self.start_min < self.end_min:
            return self.start_min <= minute < self.end_min and day in self.days
        before_midnight = minute >= self.start_min and day in self.days
        return before_midnight or (minute < self.end_min and (day - 1) % 7 in self.days)

    def opens_in_ms(self, time_ms: int) -> int:
        """How long until somebody is there, 0 where somebody is; a week where no day is named."""
        if self.open_at(time_ms):
            return 0
        zone = ZoneInfo(self.zone)
        today = datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(zone).replace(tzinfo=None)
        midnight = today.replace(hour=0, minute=0, second=0, microsecond=0)
        for day in range(9):
            local = midnight + timedelta(days=day, minutes=self.start_min)
            if local.weekday() in self.days:
                # A start that the clock leaps over in spring is taken an hour later, when the hours have begun.
                begins_ms = round(local.replace(tzinfo=zone).timestamp() * 1000)
                if begins_ms > time_ms:
                    return begins_ms - time_ms
        return 7 * DAY_MIN * 60_000


@dataclass(frozen=True, slots=True)
class Policy:
    """One channel as the site wants it.

    priorities: those that it is told of (none: it only shows that the daemon lives). classes, sources: empty for all.
    tells: of `TELLS`. unacknowledged_ms: it is told only of what nobody has acknowledged for so long; 0: at once.
    again_ms: told again so often until it is acknowledged. gather_ms: how long an alarm below priority 1 waits for
    others to share a message with. same_alarm_ms: an alarm that was told is not told anew sooner.
    """

    id: str
    priorities: frozenset[int] = frozenset({1, 2, 3})
    classes: frozenset[str] = frozenset()
    sources: frozenset[str] = frozenset()
    tells: frozenset[str] = frozenset({RAISED})
    unacknowledged_ms: int = 0
    again_ms: int | None = None
    gather_ms: int = 10_000
    same_alarm_ms: int = 60_000
    hours: Hours | None = None
    alive_every_ms: int | None = None

    @property
    def source(self) -> str:
        """What the channel's own failure is called as a source of alarms."""
        return source_of(self.id)


def source_of(channel: str) -> str:
    return f"notify-{channel}"
