"""The latency budget of high-high: what passes until the flow stands still, against the time that the tank leaves.

Response time is the rise from high-high to critical high. Each part is named, so that nobody forgets one.
"""

from typing import NamedTuple

from gaugehouse.sitefile.facts import Response, Site
from models.concern import LATENCY_WORDS, Latency, rise_s


class Budget(NamedTuple):
    """Times in s. `available_s`: the rise from high-high to critical high at the largest flow; `given_s`: the response
    time that the site file gives, if it does."""

    latency: Latency
    available_s: float
    rise_m: float
    given_s: float | None = None

    @property
    def total_s(self) -> float:
        return self.latency.total_s

    @property
    def parts(self) -> tuple[tuple[str, float], ...]:
        return tuple(zip(LATENCY_WORDS, self.latency, strict=True))


def latency_of(r: Response, period_ms: int, timeout_ms: int, on_delay_ms: int) -> Latency:
    """The budget's parts. One missed poll with its timeout is counted beside the poll itself."""
    milliseconds = (
        r.damping_ms, r.refresh_ms, period_ms, period_ms + timeout_ms, r.filter_ms, on_delay_ms, r.notification_ms,
        r.reaction_ms, r.valve_closing_ms, r.run_on_ms,
    )  # fmt: skip
    return Latency(*(ms / 1000 for ms in milliseconds))


def budget_of(site: Site, tank_id: str) -> Budget | None:
    """The budget of a tank, None where its site file does not give both limits and a `response`."""
    tank, response = site.tank(tank_id), site.extras[tank_id].response
    limits = {limit.condition: limit for limit in site.alarms_of(tank_id).limits}
    if response is None or "high_high" not in limits or "critical_high" not in limits:
        return None
    high, critical = limits["high_high"], limits["critical_high"]
    bus = next(bus for bus in site.buses if any(i.id == tank.instrument for i in bus.instruments))
    return Budget(
        latency_of(response, bus.period_ms, bus.timeout_ms, high.on_delay_ms),
        rise_s(tank.table, high.at, critical.at, response.max_fill_m3_per_s),
        critical.at - high.at,
        None if response.given_ms is None else response.given_ms / 1000,
    )
