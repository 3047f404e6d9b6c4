"""What is watched of a tank's status: fuel that goes out of a tank nobody released, or in and out at once.

Judged by the state of the tick before: the movements of this one come after the alarms.
"""

from collections.abc import Iterator

from alerts.conditions import TankFacts
from alerts.watched import Told
from gaugehouse.statusroom import StatusRoom
from models.reading import Instant


class StatusWatch:
    """One tank's. A tank of which nothing is known neither raises nor clears."""

    def __init__(self, tank: str, room: StatusRoom) -> None:
        self._tank, self._room = tank, room
        self._told: dict[str, bool | None] = {}

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        """A verdict once, when it changes; what is not known now again and again, as a reading that is Bad."""
        issues, both = self._room.issues_unreleased(self._tank), self._room.both_ways(self._tank)
        for condition, on in (("issue_not_released", issues), ("receipt_with_issue", both)):
            if on is None or self._told.get(condition) is not on:
                self._told[condition] = on
                yield Told(self._tank, condition, None, on)
