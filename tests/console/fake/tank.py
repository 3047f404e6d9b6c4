"""The six invented tanks: their shapes, where they stand, how fast they move."""

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime

from console.facts import Json
from console.words import CONDITIONS

T0_MS = 1_795_608_000_000  # 2026-11-25T12:00:00Z


def iso(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{ms % 1000:03d}Z"


@dataclass
class FakeTank:
    """A tank with its shape, where it stands and how fast it moves."""

    id: str
    name: str
    product: str
    diameter_m: float
    high_m: float  # height of an upright tank, 0 for a lying one
    length_m: float
    level_m: float
    m_per_h: float = 0.0
    quality: str = "Good"
    reason: str = ""
    bound: str = ""
    torn: tuple[str, str] | None = None
    water_m: float | None = 0.012
    water_source: str = "signal"
    stale_from_ms: int | None = None
    alarms: list[str] = field(default_factory=list)

    @property
    def top_m(self) -> float:
        return self.high_m or self.diameter_m

    def volume_m3(self, level_m: float) -> float:
        if self.high_m:
            return math.pi * self.diameter_m**2 / 4 * level_m
        r, h = self.diameter_m / 2, min(max(level_m, 0.0), self.diameter_m)
        return self.length_m * (r * r * math.acos((r - h) / r) - (r - h) * math.sqrt(max(0.0, 2 * r * h - h * h)))

    def limits(self) -> list[Json]:
        parts = {"critical_high": 0.97, "high_high": 0.95, "high": 0.9, "low": 0.15, "low_low": 0.08}
        return [
            {"condition": c, "at_m": p * self.top_m, "name": CONDITIONS[c], "volume_m3": self.volume_m3(p * self.top_m)}
            for c, p in parts.items()
        ]

    def level_at(self, ms: int) -> float:
        hours = (ms - T0_MS) / 3_600_000
        wave = 0.0006 * math.sin(ms / 41_000) + 0.02 * math.sin(ms / 9_000_000)
        return min(max(self.level_m + self.m_per_h * hours + wave, 0.05), self.top_m)


def tanks() -> list[FakeTank]:
    jet = "Jet A-1"
    return [
        FakeTank("ostler-n", "Ostler north", jet, 10.0, 12.0, 0, 10.83, 0.31, alarms=["high"]),
        FakeTank("ostler-s", "Ostler south", jet, 10.0, 12.0, 0, 6.402),
        FakeTank("quillmoor", "Quillmoor", jet, 2.6, 0, 11.0, 1.712, -0.22, "Uncertain", "UncertainSubNormal"),
        FakeTank(
            "fennock", "Fennock", jet, 2.6, 0, 11.0, 1.204, 0.0, "Bad", "BadSensorFailure", torn=("F", "failure"),
            water_m=None, water_source="none", alarms=["signal_low"],
        ),
        FakeTank(
            "harrowmead", "Harrowmead", jet, 2.9, 0, 14.0, 2.9, 0.0, "Uncertain", "UncertainEngineeringUnitsExceeded",
            "ge", alarms=["critical_high", "high_high", "high"], water_source="dips",
        ),
        FakeTank("pipit", "Pipit", "Avgas 100LL", 2.0, 0, 5.0, 0.912, stale_from_ms=T0_MS - 95_000),
    ]  # fmt: skip
