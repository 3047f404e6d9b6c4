"""The innages of a tank's level limits: as given, or worked out where the site file says "computed".

Knows which keys each one needs and names those that are missing; the arithmetic is in `models.concern`.
"""

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from gaugehouse.sitefile.budget import latency_of
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Response
from gaugehouse.sitefile.fields import COMPUTED
from gaugehouse.sitefile.schema import ResponseTable, TankTable
from models import concern
from models.capacity import CapacityTable
from models.errors import OutOfRange

FROM_TOP: Final = ("critical_high", "high_high", "high", "low", "low_low")
"""Level limits, highest first."""

AT_ONCE: Final = frozenset({"critical_high", "high_high"})
ON_DELAY_MS: Final = 5_000

_NEEDS: Final = {
    "high_high": ("limits.critical_high", "response.max_fill_rate"),
    "high": ("limits.high_high", "response.max_fill_rate", "response.operator_time"),
    "low": ("response.max_issue_rate", "response.operator_time"),
}
"""What a level is worked out from, beside the tank itself."""

_EXAMPLES: Final = {"max_fill_rate": '"1000 L/min"', "max_issue_rate": '"1000 L/min"', "operator_time": '"10 min"'}


_HIGHS: Final = FROM_TOP[:3]
_EPSILON_M: Final = 1e-9


class LevelMistake(NamedTuple):
    """A limit that could never do what it is for."""

    condition: str
    text: str
    found: str
    allowed: str


def level_mistakes(
    levels: Mapping[str, float], table: CapacityTable | None, reach: tuple[float, str] | None
) -> Iterator[LevelMistake]:
    """Limits out of order, off the table or beyond the gauge. levels: innages, highest first; reach: how high the gauge
    reaches in m, and the words for it."""
    previous: tuple[str, float] | None = None
    for name, at in levels.items():
        found = f"{at:g} m"
        if previous is not None and not _in_order(previous, (name, at)):
            text = f"{at:g} m is not below {previous[0]} ({previous[1]:g} m); the order is {' > '.join(FROM_TOP)}"
            yield LevelMistake(name, text, found, f"below {previous[1]:g} m")
        elif table is not None and at > table.top_m + _EPSILON_M:
            text = f"{at:g} m is above the top of the capacity table ({table.top_m:g} m); lower it or mend the table"
            yield LevelMistake(name, text, found, f"up to {table.top_m:g} m")
        elif name in _HIGHS and reach is not None and at > reach[0] + _EPSILON_M:
            text = (
                f"{at:g} m is beyond {reach[1]} {reach[0]:g} m, so this alarm could never come; lower the limit, or "
                "use an instrument that reaches it"
            )
            yield LevelMistake(name, text, found, f"up to {reach[0]:g} m")
        elif name in _HIGHS and table is not None and at < table.bottom_m - _EPSILON_M:
            text = f"{at:g} m is below the first row of the capacity table ({table.bottom_m:g} m); raise it"
            yield LevelMistake(name, text, found, f"from {table.bottom_m:g} m")
        previous = (name, at)


def _in_order(above: tuple[str, float], below: tuple[str, float]) -> bool:
    """Two high limits may lie at one level (that is told as unwise); any other two may not."""
    if above[0] in _HIGHS and below[0] in _HIGHS:
        return below[1] <= above[1]
    return below[1] < above[1]


def on_delay_ms(name: str, given: int | None) -> int:
    """The on-delay of a level limit, with its default."""
    return given if given is not None else 0 if name in AT_ONCE else ON_DELAY_MS


def response_of(table: ResponseTable) -> Response:
    """What passes until the flow stands still, as plain values."""
    return Response(
        table.max_fill_rate, table.damping, table.refresh, table.notification, table.reaction, table.valve_closing,
        table.run_on, table.filter, table.response_time,
    )  # fmt: skip


def concern_levels(
    draft: Draft, key: str, tank: TankTable, table: CapacityTable | None, reach_m: float | None
) -> dict[str, float]:
    """Innages of the limits that are known, highest first. What cannot be worked out is told, with what it lacks."""
    levels: dict[str, float] = {}
    for name in FROM_TOP:
        limit = getattr(tank.limits, name)
        if limit is None or limit.at is None:
            continue
        if limit.at != COMPUTED:
            levels[name] = float(limit.at)
        elif table is not None and _has_all(draft, key, name, tank, levels):
            try:
                levels[name] = concern.set_down(_computed(draft, name, tank, table, levels, reach_m))
            except OutOfRange as exc:
                draft.report.error(f"{key}.limits.{name}", f'"computed": {exc}', found=COMPUTED)
    return levels


def _has_all(draft: Draft, key: str, name: str, tank: TankTable, levels: dict[str, float]) -> bool:
    here = f"{key}.limits.{name}"
    if name == "low_low":
        text = "nothing is known to work it out from: pump, roof and sediment set it; write the level"
        draft.report.error(here, text, found=COMPUTED, allowed="a length")
        return False
    lacking = []
    for need in _NEEDS.get(name, ()):
        section, _, field = need.partition(".")
        if section == "limits":
            found = field in levels
        else:
            found = tank.response is not None and getattr(tank.response, field) is not None
        if not found and draft.report_is_clean(f"{key}.{need}"):
            lacking.append(f"{field} in [tank.{section}]")
        elif not found:
            return False  # told already
    if name == "low" and tank.suction is None and tank.limits.low_low is None:
        lacking.append("suction, or low_low in [tank.limits]")
    if lacking:
        mend = f"add {' and '.join(lacking)}, or write the level"
        draft.report.error(here, f'"computed" lacks what it is worked out from; {mend}', found=COMPUTED)
    return not lacking


def _computed(
    draft: Draft, name: str, tank: TankTable, table: CapacityTable, levels: dict[str, float], reach_m: float | None
) -> float:
    if name == "critical_high":
        return concern.critical_high(tank.overflow_level, table.top_m, reach_m)
    response = tank.response
    assert response is not None, "it was asked for"
    if name == "high_high":
        return concern.high_high(
            table, levels["critical_high"], response.max_fill_rate, _response_s(draft, tank, response)
        )
    operator_s = (response.operator_time or 0) / 1000
    if name == "high":
        return concern.maximum_working(table, levels["high_high"], response.max_fill_rate, operator_s)
    low_low = tank.limits.low_low
    given = None if low_low is None or low_low.at in (None, COMPUTED) else float(low_low.at)
    floors = [floor for floor in (tank.suction, given) if floor is not None]
    if not floors:
        raise OutOfRange("there is no sound floor; write suction or low_low as lengths")
    return concern.minimum_working(table, max(floors), response.max_issue_rate or 0.0, operator_s)


def _response_s(draft: Draft, tank: TankTable, response: ResponseTable) -> float:
    """The response time that is given, or all of the latency budget."""
    if response.response_time is not None:
        return response.response_time / 1000
    bus = draft.bus(getattr(draft.instrument(tank.level.instrument), "bus", None))
    limit = tank.limits.high_high
    assert limit is not None, "it is the one that is computed"
    period, timeout = (0, 0) if bus is None else (bus.period or 0, bus.timeout or 0)
    return latency_of(response_of(response), period, timeout, on_delay_ms("high_high", limit.on_delay)).total_s
