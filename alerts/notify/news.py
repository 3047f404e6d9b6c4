"""What a channel learns: one alarm transition as the record book keeps it, and the three clocks of the moment.

Knows names and shapes only.
"""

from typing import Final, NamedTuple

from alerts.lifecycle import HIDDEN, State
from alerts.nuisance import asks


class Now(NamedTuple):
    """The moment at which something is judged.

    time_ms: the site's clock, UTC, for people. elapsed_ms: monotonic, at the site's speed, for delays that people set.
    wire_ms: monotonic and real, for tries at a channel.
    """

    time_ms: int
    elapsed_ms: int
    wire_ms: int


class News(NamedTuple):
    """One transition. n: its number in the record book, which rises and is never used twice."""

    n: int
    time_ms: int
    source: str
    condition: str
    priority: int
    alarm_class: str
    event: str
    state: str
    occurrence: int
    by: str = ""
    value: float | None = None

    @property
    def id(self) -> str:
        return f"{self.source}.{self.condition}"

    @property
    def asks(self) -> bool:
        """Whether it asks people to look."""
        return asks(self.event, self.state)


UNACKNOWLEDGED: Final = frozenset(
    {State.UNACKNOWLEDGED.value, State.RETURNED_UNACKNOWLEDGED.value, State.LATCHED_UNACKNOWLEDGED.value}
)
HIDDEN_STATES: Final = frozenset(state.value for state in HIDDEN)
