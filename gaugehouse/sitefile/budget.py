"""The latency budget of high-high: what passes until the flow stands still, against the time that the tank leaves.

Response time is the rise from high-high to critical high. Each part is named, so that nobody forgets one.
"""

from typing import NamedTuple

from gaugehouse.sitefile.facts import Site


class Budget(NamedTuple):
    """Times in s. `parts`: what adds up to `total_s`; `available_s`: the rise from high-high at the largest flow."""

    parts: tuple[tuple[str, float], ...]
    total_s: float
    available_s: float
    rise_m: float


def budget_of(site: Site, tank_id: str) -> Budget | None:
    """The budget of a tank, None where its site file does not give both limits and a `response`.

    Source: common practice, no source, for the list of parts; a lag counts with its full time constant. One missed poll
    with its timeout is counted beside the poll itself.
    """
    tank, response = site.tank(tank_id), site.extras[tank_id].response
    limits = {limit.condition: limit for limit in site.alarms_of(tank_id).limits}
    if response is None or "high_high" not in limits or "critical_high" not in limits:
        return None
    high, critical = limits["high_high"], limits["critical_high"]
    bus = next(bus for bus in site.buses if any(i.id == tank.instrument for i in bus.instruments))
    milliseconds = (
        ("transmitter damping", response.damping_ms),
        ("indicator refresh", response.refresh_ms),
        ("poll", bus.period_ms),
        ("one missed poll", bus.period_ms + bus.timeout_ms),
        ("on-delay", high.on_delay_ms),
        ("notification", response.notification_ms),
        ("reaction and travel", response.reaction_ms),
        ("valve closing", response.valve_closing_ms),
        ("line run-on", response.run_on_ms),
    )
    parts = tuple((name, ms / 1000) for name, ms in milliseconds)
    room_m3 = tank.table.volume_m3(critical.at) - tank.table.volume_m3(high.at)
    return Budget(
        parts, sum(seconds for _, seconds in parts), room_m3 / response.max_fill_m3_per_s, critical.at - high.at
    )
