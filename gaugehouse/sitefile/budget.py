"""The latency budget of high-high: what passes until the flow stands still, against the time that the tank leaves.

Response time is the rise from high-high to critical high. Each part is named, so that nobody forgets one. High-high and
critical high are judged on the undamped level; a tank's filter delays the milder limits only.
"""

from typing import NamedTuple

from alerts.spec import UNDAMPED_CONDITIONS, Limit
from gaugehouse.sitefile.facts import Response, Site
from models.concern import LATENCY_WORDS, Latency, rise_s
from models.filters import FilterKind, FilterSpec


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


class Damped(NamedTuple):
    """A limit that is judged on the damped level. `raised`: what passes until its alarm, at the worst. rise_m: how far
    the level rises meanwhile at the largest flow, None where that is not told. room_m: up to high-high, for `high`."""

    limit: Limit
    words: str
    raised: Latency
    rise_m: float | None
    room_m: float | None

    @property
    def parts(self) -> tuple[tuple[str, float], ...]:
        return tuple(zip(LATENCY_WORDS, self.raised, strict=True))

    @property
    def text(self) -> str:
        parts = ", ".join(f"{name} {seconds:g}" for name, seconds in self.parts if seconds)
        rise = "" if self.rise_m is None else f"; at the largest flow it rises {1000 * self.rise_m:.0f} mm meanwhile"
        return (
            f"{self.limit.condition} sees the level damped ({self.words}): raised within {self.raised.total_s:g} s "
            f"({parts}){rise}"
        )


def damped_of(site: Site, tank_id: str) -> list[Damped]:
    """The limits of a tank that its filter delays; none without a filter."""
    tank, spec, response = site.tank(tank_id), site.extras[tank_id].filter, site.extras[tank_id].response
    if spec is None:
        return []
    bus = next(bus for bus in site.buses if any(i.id == tank.instrument for i in bus.instruments))
    levels = {limit.condition: limit for limit in site.alarms_of(tank_id).limits if not limit.per}
    found = []
    for limit in levels.values():
        if limit.condition in UNDAMPED_CONDITIONS:
            continue
        until = latency_of(response or Response(0.0), bus.period_ms, bus.timeout_ms, limit.on_delay_ms)
        lag_s = until.filter_s + filter_s(spec, bus.period_ms / 1000)
        raised = Latency(*until[:6])._replace(filter_s=lag_s)
        rise = room = None
        if limit.condition == "high":
            above = levels.get("high_high")
            room = None if above is None else above.at - limit.at
            if response is not None and tank.table.bottom_m <= limit.at <= tank.table.top_m:
                rise = raised.consumed_m(response.max_fill_m3_per_s / tank.table.area_m2(limit.at))
        found.append(Damped(limit, spec.words, raised, rise, room))
    return found


def filter_s(spec: FilterSpec, period_s: float) -> float:
    """The lag of a filter as it counts in a budget: a first-order one with its full time constant."""
    return spec.time_constant_s if spec.kind is FilterKind.FIRST_ORDER else spec.lag_s(period_s)
