"""The alarm sheet: what each condition is called, why it matters, what the operator does about it, and by when.

Knows words and the settings that go with them. A site's own sheet is read elsewhere and handed in as `Sheet(own=...)`.
Source of the columns: ISA-18.2 rationalisation (from memory: cause, consequence, operator action, time to respond).
The words are the house's own: common practice, no source; a site replaces them by its own.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import Final, NamedTuple

from alerts.errors import BadSetup
from alerts.lifecycle import PLAIN, Kind
from alerts.spec import (
    CONCERN_CONDITIONS,
    LOSS_CONDITIONS,
    MOVEMENT_CONDITIONS,
    POINT_CONDITIONS,
    STATUS_CONDITIONS,
    Limit,
)
from alerts.watchtexts import WATCH_TEXTS

NOT_INDEPENDENT: Final = "not independent"
INDEPENDENT: Final = "independent"


def mark_of(condition: str) -> str:
    """Whether an alarm comes from the gauging instrument itself: when that fails, so does the alarm."""
    if condition in POINT_CONDITIONS:
        return INDEPENDENT
    own = (*LIMIT_DEFAULTS, *CONCERN_CONDITIONS, *MOVEMENT_CONDITIONS, *STATUS_CONDITIONS, *LOSS_CONDITIONS)
    return NOT_INDEPENDENT if condition in own else ""


class While(NamedTuple):
    """A rule of the design: the alarm is suppressed while a point of the site is on (or off)."""

    point: str
    on: bool = True

    def __str__(self) -> str:
        return f"while {self.point} is {'on' if self.on else 'off'}"


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """One line of the sheet. An alarm without an operator action is not an alarm, so no text may be empty.

    alarm_class: the class that the site puts it in, empty for none.
    ask_again_ms: how long after an acknowledgement it is raised again while it still stands (None: never).
    suppressed_while: when the alarm is suppressed by design.
    rationale: why it is set as it is. owner: who answers for it. test_method, last_test ("YYYY-MM-DD"), test_every_ms:
    how it is proved, when it last was, and how often it must be; empty or None where the site does not say.
    """

    name: str
    cause: str
    consequence: str
    action: str
    respond: str
    kind: Kind = PLAIN
    alarm_class: str = ""
    ask_again_ms: int | None = None
    suppressed_while: While | None = None
    rationale: str = ""
    owner: str = ""
    test_method: str = ""
    last_test: str = ""
    test_every_ms: int | None = None


class LimitDefaults(NamedTuple):
    """What a limit gets that the site file does not say. A rate has no deadband in metres: a tenth of the limit."""

    deadband_m: float | None
    on_delay_ms: int
    off_delay_ms: int
    priority: int


LIMIT_DEFAULTS: Final[Mapping[str, LimitDefaults]] = MappingProxyType(
    {
        "critical_high": LimitDefaults(0.010, 0, 5000, 1),
        "high_high": LimitDefaults(0.010, 0, 5000, 1),
        "high": LimitDefaults(0.010, 5000, 5000, 2),
        "low": LimitDefaults(0.010, 5000, 5000, 3),
        "low_low": LimitDefaults(0.010, 5000, 5000, 2),
        "rise_fast": LimitDefaults(None, 5000, 5000, 2),
        "fall_fast": LimitDefaults(None, 5000, 5000, 2),
    }
)
"""Defaults of limits. A deadband of 10 mm is common practice for a level at rest (10 to 25 mm), no source."""

WATCH_DEFAULTS: Final[Mapping[str, LimitDefaults]] = MappingProxyType(
    {
        "response_short": LimitDefaults(None, 10_000, 30_000, 1),
        "fill_rate_high": LimitDefaults(None, 10_000, 30_000, 2),
        "wrong_tank": LimitDefaults(None, 60_000, 60_000, 1),
        "no_rise": LimitDefaults(None, 0, 0, 2),
        "unordered_movement": LimitDefaults(None, 0, 0, 2),
        "receipt_divergence": LimitDefaults(None, 0, 0, 2),
        "issue_not_released": LimitDefaults(None, 10_000, 10_000, 1),
        "receipt_with_issue": LimitDefaults(None, 10_000, 10_000, 2),
        "leak_suspected": LimitDefaults(None, 0, 0, 2),
        "level_deviation": LimitDefaults(None, 60_000, 60_000, 2),
        "water_high": LimitDefaults(0.005, 60_000, 60_000, 2),
        "water_rising": LimitDefaults(None, 0, 0, 3),
        "temperature_high": LimitDefaults(None, 60_000, 60_000, 3),
        "temperature_low": LimitDefaults(None, 60_000, 60_000, 3),
        "condensation_risk": LimitDefaults(None, 300_000, 300_000, 3),
        "high_level_switch": LimitDefaults(None, 0, 5000, 1),
        "notification_failing": LimitDefaults(None, 0, 0, 2),
        "store_late": LimitDefaults(None, 0, 30_000, 2),
        "publisher_late": LimitDefaults(None, 0, 30_000, 3),
        "disk_filling": LimitDefaults(None, 0, 60_000, 2),
        "clock_wrong": LimitDefaults(None, 0, 0, 2),
        "check_overdue": LimitDefaults(None, 0, 0, 3),
        "store_damaged": LimitDefaults(None, 0, 0, 2),
    }
)
"""The same for conditions that are judged elsewhere; what they are judged by has no deadband of the house."""

WATCH_UNITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "response_short": "s",
        "fill_rate_high": "m3/s",
        "wrong_tank": "",
        "no_rise": "s",
        "unordered_movement": "m",
        "receipt_divergence": "",
        "issue_not_released": "",
        "receipt_with_issue": "",
        "leak_suspected": "",
        "level_deviation": "m",
        "water_high": "m",
        "water_rising": "m",
        "temperature_high": "degC",
        "temperature_low": "degC",
        "condensation_risk": "K",
        "high_level_switch": "",
        "notification_failing": "",
        "store_late": "s",
        "publisher_late": "s",
        "disk_filling": "%",
        "clock_wrong": "",
        "check_overdue": "",
        "store_damaged": "",
    }
)
"""The unit of the set point of each; empty for a verdict, which has none."""

RATE_DEADBAND_FRAC: Final = 0.1
"""Of the limit. Our choice: a rate has no common deadband."""


def default_limit(condition: str, at: float, per: str = "") -> Limit:
    """A limit with the house's defaults: `at` in m, or for a rate in the unit of `per`."""
    try:
        d = LIMIT_DEFAULTS[condition]
    except KeyError:
        raise BadSetup(f"no limit is called {condition!r}; use one of {', '.join(LIMIT_DEFAULTS)}") from None
    deadband = RATE_DEADBAND_FRAC * at if d.deadband_m is None else d.deadband_m
    return Limit(condition, at, deadband, d.on_delay_ms, d.off_delay_ms, d.priority, per)


BUILT_IN: Final[Mapping[str, SheetEntry]] = MappingProxyType(
    {
        "critical_high": SheetEntry(
            "Critical high level",
            "Filling was not stopped at high-high, or fuel runs in on a way nobody watches",
            "The next centimetres spill: fire, injury, fuel in the ground",
            "Stop all flow into the tank by the emergency stop, clear the bund of people, call the emergency contact",
            "at once",
        ),
        "high_high": SheetEntry(
            "High-high level",
            "Filling goes on above the maximum working level",
            "Left alone, the level reaches critical high within the response time of the tank",
            "Stop the receipt now: close the inlet, tell the sender; then find out why it was not stopped at high",
            "at once, always before critical high is reached",
        ),
        "high": SheetEntry(
            "High level (maximum working level)",
            "The receipt has filled the tank as far as it is meant to be filled",
            "The room kept for stopping a receipt is being used up",
            "End the receipt or change to another tank; watch until the level stands",
            "before high-high is reached; see the time shown for it",
        ),
        "low": SheetEntry(
            "Low level (minimum working level)",
            "Issues have emptied the tank as far as it is meant to be emptied",
            "Fuelling will soon have to change tanks; bottom water and dirt come closer to the outlet",
            "Plan a receipt or change to another tank",
            "this shift",
        ),
        "low_low": SheetEntry(
            "Low-low level",
            "Issues go on below the minimum working level, or the tank loses fuel",
            "The pump can draw air, water or sediment into the fuel going out",
            "Stop the issue from this tank; if nobody is drawing from it, look for a leak",
            "within minutes",
        ),
        "rise_fast": SheetEntry(
            "Level rises fast",
            "A receipt faster than planned, or two at once",
            "High-high and critical high come sooner than their response time allows for; static charge in the fuel",
            "Throttle the receipt to the agreed rate; check that only the planned line is open",
            "within minutes",
        ),
        "fall_fast": SheetEntry(
            "Level falls fast",
            "An issue faster than planned, a valve left open, a broken line or hose",
            "Fuel may be lost to the ground or go to the wrong place",
            "Find out who is drawing; if nobody is, close the tank's outlet and walk the line",
            "within minutes",
        ),
        "signal_low": SheetEntry(
            "Loop current failed low",
            "The transmitter reports a failure, or the loop is open, has lost its supply or leaks current",
            "The tank's level is not known and its level alarms cannot come",
            "Stop a receipt into the tank or gauge it by hand; have loop wiring, supply and transmitter looked at",
            "at once while the tank receives, else within the hour",
        ),
        "signal_high": SheetEntry(
            "Loop current failed high",
            "The transmitter reports a failure, or the loop is shorted",
            "The tank's level is not known and its level alarms cannot come",
            "Stop a receipt into the tank or gauge it by hand; have loop wiring and transmitter looked at",
            "at once while the tank receives, else within the hour",
        ),
        "out_of_range": SheetEntry(
            "Loop current out of range",
            "The current lies between measuring and failing, or stands at the end of its range: level beyond it, "
            "a starved loop, or a transmitter out of adjustment",
            "The level shown cannot be trusted; on the high side the tank may be full",
            "Gauge the tank by hand; on the high side stop a receipt first. Have range and supply checked",
            "at once while the tank receives, else within the hour",
        ),
        "no_answer": SheetEntry(
            "Indicator does not answer",
            "Bus line, gateway or supply is down; an indicator fed by its loop falls silent when the loop is open",
            "The tank's level is not known and its level alarms cannot come",
            "Stop a receipt into the tank or gauge it by hand; check if others on the line are silent too",
            "at once while the tank receives, else within the hour",
        ),
        "wrong_reply": SheetEntry(
            "Indicator answers wrongly",
            "Two units with one address, wrong register settings, a disturbed line, or a value that is not a number",
            "The tank's level is not known and its level alarms cannot come",
            "Stop a receipt into the tank or gauge it by hand; have addresses, settings and line checked",
            "at once while the tank receives, else within the hour",
        ),
        "frozen": SheetEntry(
            "Level signal is frozen",
            "The value repeats where its own noise should move it: stuck float, hung transmitter or indicator",
            "The level shown may be an old one: filling or loss would go unseen",
            "Stop a receipt into the tank or gauge it by hand; do not trust the shown level until it moves again",
            "at once while the tank receives, else within the hour",
        ),
        "noisy": SheetEntry(
            "Level signal is noisy",
            "The signal swings far more than it uses to: electrical pick-up, a bad contact or shield, moisture, "
            "unusual waves",
            "Level and rate are known less well; alarms near a limit come early, late or again and again",
            "Compare the level with another tank or a dip; have terminals, shield and earth of the loop looked at",
            "this shift",
        ),
        "rate_impossible": SheetEntry(
            "Level moves faster than the tank can",
            "The signal has jumped: a false echo, a surge, a changed range, another unit's value",
            "The level before or after the jump is wrong, and nobody knows which",
            "Stop a receipt into the tank or gauge it by hand; have range, settings and transmitter looked at",
            "at once while the tank receives, else within the hour",
        ),
        **{condition: SheetEntry(*texts) for condition, texts in WATCH_TEXTS.items()},
    }
)
"""One entry for each built-in condition; every text can be replaced by the site, none can be emptied."""


class Sheet:
    """The sheet in force. own: a site's lines by condition, or by (source, condition) where one alarm differs.

    Raises `BadSetup` naming every empty text at once.
    """

    __slots__ = ("_by_alarm", "_by_condition")

    def __init__(self, own: Mapping[str | tuple[str, str], SheetEntry] = MappingProxyType({})) -> None:
        self._by_condition = dict(BUILT_IN)
        self._by_alarm: dict[tuple[str, str], SheetEntry] = {}
        empty = []
        for key, entry in own.items():
            if isinstance(key, str):
                self._by_condition[key] = entry
            else:
                self._by_alarm[key] = entry
            where = key if isinstance(key, str) else ".".join(key)
            empty += [
                f"{where}: {f.name}" for f in fields(entry) if f.name in _TEXTS and not getattr(entry, f.name).strip()
            ]
        if empty:
            raise BadSetup(f"alarm sheet: empty text at {'; '.join(empty)}. An alarm that says nothing is not an alarm")

    def entries(self) -> Iterator[SheetEntry]:
        """Every line."""
        yield from self._by_condition.values()
        yield from self._by_alarm.values()

    def rules(self) -> set[While]:
        """Every rule by which an alarm is suppressed by design."""
        entries = (*self._by_condition.values(), *self._by_alarm.values())
        return {entry.suppressed_while for entry in entries if entry.suppressed_while is not None}

    def entry(self, source: str, condition: str) -> SheetEntry:
        """The line for one alarm. Raises `BadSetup` for a condition that no line speaks of."""
        found = self._by_alarm.get((source, condition)) or self._by_condition.get(condition)
        if found is None:
            raise BadSetup(
                f"alarm sheet: no line for {source}.{condition}; give cause, consequence and operator action"
            )
        return found


_TEXTS: Final = frozenset({"name", "cause", "consequence", "action", "respond"})
