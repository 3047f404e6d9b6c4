"""What the alarm engine and the fault tracker are told of a site. Plain values, SI units."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from models.signal import NE43_2003, Ne43

LEVEL_HIGH_CONDITIONS: Final = ("critical_high", "high_high", "high")
LEVEL_LOW_CONDITIONS: Final = ("low", "low_low")
UNDAMPED_CONDITIONS: Final = ("critical_high", "high_high")
"""Conditions that are judged on the undamped level, whatever filter a tank has."""

RATE_CONDITIONS: Final = ("rise_fast", "fall_fast")
SIGNAL_CONDITIONS: Final = (
    "signal_low", "signal_high", "out_of_range", "no_answer", "wrong_reply", "frozen", "noisy",
    "rate_impossible",
)  # fmt: skip
CONCERN_CONDITIONS: Final = ("response_short", "fill_rate_high")
"""Conditions of a receipt that leaves less time than the levels of concern were set for."""

MOVEMENT_CONDITIONS: Final = ("wrong_tank", "no_rise", "unordered_movement", "receipt_divergence")
"""Conditions of a level that moves where nobody wants it to, or does not where somebody does."""

CONTENT_CONDITIONS: Final = (
    "level_deviation", "water_high", "water_rising", "temperature_high", "temperature_low", "condensation_risk",
)  # fmt: skip
"""Other conditions of a tank."""

STATUS_CONDITIONS: Final = ("issue_not_released", "receipt_with_issue")
"""Conditions of fuel that flows where a tank's status does not let it."""

LOSS_CONDITIONS: Final = ("leak_suspected",)
"""Conditions that a signed test of a quiet tank tells."""

POINT_CONDITIONS: Final = ("high_level_switch",)
"""Conditions that a point outside the gauging instruments tells."""

SYSTEM_CONDITIONS: Final = (
    "store_late",
    "publisher_late",
    "disk_filling",
    "clock_wrong",
    "check_overdue",
    "store_damaged",
)
"""Conditions of the system itself, which the daemon finds out; a failed check's source is its instrument."""

CHANNEL_CONDITIONS: Final = ("notification_failing",)
"""Conditions of the channels by which people are told."""

WATCHED_CONDITIONS: Final = (
    *CONCERN_CONDITIONS, *MOVEMENT_CONDITIONS, *STATUS_CONDITIONS, *LOSS_CONDITIONS, *CONTENT_CONDITIONS,
    *POINT_CONDITIONS, *CHANNEL_CONDITIONS, *SYSTEM_CONDITIONS,
)  # fmt: skip
"""Conditions that are judged outside the engine, which is told of them (`alerts.watched`)."""

LOW_SIDE: Final = frozenset((*LEVEL_LOW_CONDITIONS, "response_short", "temperature_low", "condensation_risk"))
"""Conditions that come on when a value is at or below its limit."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a tank. Level limits: `at` and `deadband` are innages in m. Rate limits: both in the unit of `per`.

    per: "m/s" (level) or "m3/s" (volume) for rise_fast and fall_fast, `at` being positive for both; the unit of what is
    judged elsewhere ("" for a verdict).
    """

    condition: str
    at: float
    deadband: float
    on_delay_ms: int
    off_delay_ms: int
    priority: int
    per: str = ""


@dataclass(frozen=True, slots=True)
class TankAlarms:
    """A tank and its limits, highest level first. `instrument` is the one that measures its level."""

    tank: str
    instrument: str
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class SwitchAlarm:
    """An independent high-level switch of a tank (None: it does not say of which), read by an instrument."""

    point: str
    instrument: str
    tank: str | None
    limit: Limit


@dataclass(frozen=True, slots=True)
class LoopFacts:
    """An instrument as the fault tracker sees it.

    current_signal: name of the signal in mA, None when the instrument does not tell it, with the factor and constant
    from its declared unit. level_signals: those that a tank's level is made of; without any of them the poll has
    failed. possible: between what such a signal must lie, in its declared unit, to be a level at all. percent_signal:
    percent of the range, judged by NE 43 where no current is told. watched: the signals, finest first, on which a
    frozen register can be seen, each with the size of one step in its declared unit (None = learn it).
    frozen_after_ms: a flat stretch shorter than this is never called frozen. m_per_unit: by watched signal, the metres
    of level of one declared unit of it, absent where the instrument gauges no tank. noisy_above_m: noise of the level
    below this is never called noisy. fastest_m_per_s: the fastest that the level can move, None where it is not judged;
    waves_m: by how much the surface differs from one reading to the next without any flow.
    """

    instrument: str
    current_signal: str | None
    current_factor: float = 1.0
    current_constant: float = 0.0
    level_signals: tuple[str, ...] = ()
    possible: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    percent_signal: str | None = None
    watched: tuple[tuple[str, float | None], ...] = ()
    ne43: Ne43 = NE43_2003
    frozen_after_ms: int = 300_000
    m_per_unit: Mapping[str, float] = field(default_factory=dict)
    noisy_above_m: float | None = None
    fastest_m_per_s: float | None = None
    waves_m: float = 0.0

    def noise_m(self, signal: str, sd: float) -> float | None:
        """A noise of the loop as noise of the level in m: `sd` in mA for the current, else in the declared unit."""
        factor = self.m_per_unit.get(signal)
        if factor is None:
            return None
        return abs(sd * factor / (self.current_factor if signal == self.current_signal else 1.0))
