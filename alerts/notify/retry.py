"""When a channel that failed is tried again, and when its failing is itself an alarm.

Waits double from 5 s to 5 min and there is no last try: what waits is bounded (one case an alarm) and is told in the
end. A refusal (a wrong password, an unknown address) is tried as rarely as the longest wait allows: only a person can
mend it.
"""

from typing import Final, NamedTuple

from alerts.notify.news import Now

ALARM_AFTER: Final = 2
"""Failures in a row from which on it is an alarm; a refusal is one at once."""


class Pace(NamedTuple):
    """The first wait after a failure and the longest one, in real ms."""

    first_ms: int = 5_000
    longest_ms: int = 300_000


PACE: Final = Pace()


class Tries(NamedTuple):
    """failures: in a row. next_wire_ms: the real clock's time of the next try. refused: the last one was a refusal."""

    failures: int = 0
    next_wire_ms: int = 0
    refused: bool = False

    @property
    def failing(self) -> bool:
        """Whether people must know."""
        return self.refused or self.failures >= ALARM_AFTER

    def failed(self, now: Now, pace: Pace = PACE, *, refused: bool = False) -> "Tries":
        """After one more failure."""
        failures = self.failures + 1
        wait_ms = pace.longest_ms if refused else min(pace.longest_ms, pace.first_ms << min(failures - 1, 20))
        return Tries(failures, now.wire_ms + wait_ms, refused)

    def wait_ms(self, now: Now) -> int:
        """How long the channel is still left alone, 0 where it may be tried."""
        return max(0, self.next_wire_ms - now.wire_ms) if self.failures else 0


WORKING: Final = Tries()
