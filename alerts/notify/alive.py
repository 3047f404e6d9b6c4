"""The message that must keep coming: when it is due, and when it is withheld.

It vouches for the whole way from the wire to the record book, so it is withheld when the core has decided nothing new
for too long: a message from a daemon that only looks alive would be worse than none.
"""

from typing import Final, NamedTuple

from alerts.notify.news import Now

LEAST_QUIET_MS: Final = 60_000
"""How old the core's newest tick may be, at least. Our choice: several polls of any farm that is being watched."""


class Alive(NamedTuple):
    """every_ms: how often. quiet_ms: the oldest that the core's last tick may be. sent_ms: when the last one went out
    (None: none did in this run), on the monotonic clock."""

    every_ms: int
    quiet_ms: int = LEAST_QUIET_MS
    sent_ms: int | None = None

    def due_in_ms(self, now: Now) -> int:
        return 0 if self.sent_ms is None else max(0, self.sent_ms + self.every_ms - now.elapsed_ms)

    def withheld(self, now: Now, core_time_ms: int) -> bool:
        """Whether the core has been silent for too long. core_time_ms: the site's time of its newest tick."""
        return now.time_ms - core_time_ms > self.quiet_ms

    def sent(self, now: Now) -> "Alive":
        return self._replace(sent_ms=now.elapsed_ms)
