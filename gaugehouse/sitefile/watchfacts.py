"""Which conditions a site has that are judged outside the alarm engine, with their limits and delays.

Runs on a site without mistakes; decides nothing new. Who judges them is in `gaugehouse.watching`.
"""

from alerts.sheet import WATCH_DEFAULTS
from alerts.spec import Limit
from alerts.watched import Watched
from gaugehouse.sitefile.facts import Site


def watched_of(site: Site) -> tuple[Watched, ...]:
    """In the order of the site file."""
    return tuple(_switch(point.id) for point in site.points if point.role == "high_level_switch")


def _switch(point: str) -> Watched:
    return Watched(point, (verdict("high_level_switch"),))


def verdict(condition: str, priority: int | None = None) -> Limit:
    """A condition that is there or not, with the house's delays: what it is judged by is no single value."""
    default = WATCH_DEFAULTS[condition]
    return Limit(condition, 1.0, 0.0, default.on_delay_ms, default.off_delay_ms, priority or default.priority)
