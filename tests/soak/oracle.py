"""Whether a stored reading may be what it is, by what the farm gave on the wire and what was really in the tank.

Its rules are written here anew, out of the layout of the demo's gauges and NAMUR NE 43 (2003): measuring information
from 3.8 to 20.5 mA, failure at 3.6 mA and below and at 21 mA and above. Nothing of `models` or `alerts` reckons here.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from models.reading import Bound, Quality, Reading, Reason
from simulator.demo.layout import DEMO
from simulator.faults import FaultKind
from tests.soak import mishaps
from tests.soak.gateways import ANSWERED, SILENT, Served

TOLERANCE_FRAC: Final = 0.0025
"""Of the span: so far beyond its ends a loop may be by its own tolerance (docs/site-file.md)."""
EDGE_MA: Final = 2e-5
"""Nearer to a limit than this either side may hold: the registers are 32-bit floats."""
CALM_MS: Final = 900_000
"""So long after its last fault a gauge is held to the truth: its damping and what remembers it have passed."""
NEAR_M: Final = 0.040
"""Setting, trim, mount, surface and damping of a healthy gauge while 260 m3/h come in (the farm's own figures)."""
NEAR_FRAC: Final = {"north": 0.01, "palm": 0.01, "ridge": 0.01, "finch": 0.015, "dune": 0.03, "slop": 0.03}
"""Of a volume: what table, tilt and expansion put between it and the truth; two tanks were never calibrated."""
FLAT: Final = frozenset({FaultKind.FROZEN, FaultKind.HELD, FaultKind.SATURATED, FaultKind.CEILING})
"""What a verdict "frozen" may come of; so may the end of it."""
FLAT_MS: Final = 3_600_000
PROBE_MS: Final = 600_000
"""A temperature or water is used for ten minutes (docs/site-file.md, `max_age`), from when its poll ended."""
MOST_PROBES: Final = 60
HONEST: Final = (mishaps.LATE, mishaps.REFUSED)
"""What was sent is true, and may have come in time: a reply that a busy machine waited for, or the last of a line."""
COMMUNICATION: Final = (Reason.NO_COMMUNICATION, Reason.COMMUNICATION_ERROR)
FAILED: Final = {fate: (Reason.NO_COMMUNICATION,) for fate in (SILENT, mishaps.DROPPED)}
"""What a request without an answer must be stored as; all others are a wrong reply, or none where it came too late."""

LEVEL_OF: Final = {
    "north": lambda v: v["level"] / 1000,
    "palm": lambda v: 0.2 + (v["current"] - 4) / 16 * (12.0 - 0.2),
    "ridge": lambda v: v["level"] / 1000,
    "dune": lambda v: v["level"] / 1000,
    "finch": lambda v: 5.6 - (5.6 + (v["current"] - 4) / 16 * (0.8 - 5.6)),
    "slop": lambda v: v["percent"] / 100 * 2.5,
}
"""Innage in m by the demo's own gauges (`simulator.demo.layout`)."""
RANGE_M: Final = {
    "north": (0.0, 12.5), "palm": (0.2, 12.0), "ridge": (0.0, 13.8), "dune": (0.0, 2.5), "finch": (0.0, 4.8),
    "slop": (0.0, 2.5),
}  # fmt: skip
INSTRUMENT: Final = {unit.tank: unit.id for unit in DEMO.units if unit.gauge}
PROBE: Final = {unit.tank: unit.id for unit in DEMO.units if unit.probe}


class Judge:
    """Judges one tank's readings in order. late_ms: how long an answer may be under way, on the site's clock.

    `wrong`: what may not be; `counts`: how many of which kind there were.
    """

    def __init__(self, tank: str, served: Iterable[Served], late_ms: float) -> None:
        self.tank, self._late_ms = tank, late_ms
        self.wrong: list[str] = []
        self.counts: Counter[str] = Counter()
        self.farthest_m = 0.0
        self.farthest_frac = 0.0
        of_all = sorted(served, key=lambda row: row.at_ms)
        self._of_level = [row for row in of_all if row.instrument == INSTRUMENT[tank]]
        self._of_probe = [
            row for row in of_all if row.instrument == PROBE[tank] and row.fate in (ANSWERED, *HONEST) and row.values
        ]
        self._place = self._probe_place = 0
        self._faulty_ms = self._flat_ms = -CALM_MS * 1000

    def judge(self, readings: Sequence[Reading]) -> None:
        for reading in readings:
            row = None
            while self._place < len(self._of_level) and self._of_level[self._place].at_ms <= reading.time_ms:
                row = self._of_level[self._place]
                self._place += 1
                if row.faults or row.fate not in (ANSWERED, SILENT):
                    self._faulty_ms = row.at_ms
                if not FLAT.isdisjoint(row.faults):
                    self._flat_ms = row.at_ms
            why = self._of(reading, row)
            if why:
                self.wrong.append(f"{self.tank} at {reading.time_ms}: {why}; read {reading}; given {row}")

    def _of(self, reading: Reading, row: Served | None) -> str:
        """Why a reading may not be what it is, "" where it may."""
        if row is None:
            self.counts["no request, the line was down"] += 1
            return "" if _nothing(reading, COMMUNICATION) else "a value although nothing was asked"
        if row.fate in HONEST and reading.current_mA is not None:
            self.counts["answered late or just before the line went, and it came in time"] += 1
        elif row.fate != ANSWERED:
            self.counts[f"not answered: {row.fate}"] += 1
            return "" if _nothing(reading, FAILED.get(row.fate, COMMUNICATION)) else f"a value of an answer {row.fate}"
        if reading.reason in COMMUNICATION:
            self.counts["answered, but too late for a machine held up"] += 1
            return "" if _nothing(reading, COMMUNICATION) else "a value beside the word that none came"
        return self._of_values(reading, row) or self._of_truth(reading, row)

    def _of_values(self, reading: Reading, row: Served) -> str:
        current, level_m = row.values["current"], LEVEL_OF[self.tank](row.values)
        if reading.current_mA is None or abs(reading.current_mA - current) > 1e-4:
            return f"current {reading.current_mA}, the wire said {current}"
        low_m, high_m = RANGE_M[self.tank]
        if current < 3.8 - EDGE_MA or current > 20.5 + EDGE_MA:
            self.counts["outside of the measuring range"] += 1
            if reading.quality is not Quality.BAD:
                return f"trusted at {current} mA"
            most = 20.5 + EDGE_MA < current < 21.0 - EDGE_MA
            if reading.level_m is not None and not (
                most and reading.bound is Bound.AT_LEAST and reading.level_m == high_m
            ):
                return f"a level at {current} mA"
            return ""
        if not (3.8 + EDGE_MA <= current <= 20.5 - EDGE_MA):
            self.counts["at an edge of the measuring range"] += 1
            return ""
        if reading.quality is Quality.BAD:
            self.counts[f"not believed: {reading.reason}"] += 1
            if reading.reason is Reason.DEVICE_FAILURE and row.at_ms - self._flat_ms <= FLAT_MS:
                return ""
            return f"not believed ({reading.reason}), the wire said {level_m:.4f} m at {current} mA"
        slack_m = TOLERANCE_FRAC * (high_m - low_m)
        if max(level_m, low_m + (current - 4) / 16 * (high_m - low_m)) > high_m + slack_m:
            self.counts["beyond the range"] += 1
            over = reading.quality is Quality.UNCERTAIN and reading.bound is Bound.AT_LEAST
            return "" if over and reading.level_m is not None and reading.level_m >= high_m else "not told as at least"
        self.counts[reading.quality.word] += 1
        if reading.level_m is None or abs(reading.level_m - level_m) > 2e-5:
            return f"level {reading.level_m}, the wire said {level_m}"
        return self._of_probes(reading)

    def _of_probes(self, reading: Reading) -> str:
        """Temperature and water are the newest that came, or not there."""
        while self._probe_place < len(self._of_probe) and self._of_probe[self._probe_place].at_ms <= reading.time_ms:
            self._probe_place += 1
        some = [
            row.values
            for row in self._of_probe[max(0, self._probe_place - MOST_PROBES) : self._probe_place]
            if reading.time_ms - row.at_ms <= PROBE_MS + self._late_ms
        ]
        if reading.temperature_degC is not None and not any(
            abs(reading.temperature_degC - values["temperature"]) < 1e-3 for values in some
        ):
            return f"temperature {reading.temperature_degC}, the wire said {[v['temperature'] for v in some]}"
        if reading.water_m is not None and not any(
            abs(reading.water_m - values.get("water", 0.0) / 1000) < 2e-5 for values in some
        ):
            return f"water {reading.water_m}, the wire said {[v.get('water') for v in some]} mm"
        return ""

    def _of_truth(self, reading: Reading, row: Served) -> str:
        """A gauge that was well for some time is near to what is really in the tank, and so are the volumes."""
        if reading.quality is not Quality.GOOD or row.at_ms - self._faulty_ms < CALM_MS or reading.level_m is None:
            return ""
        self.counts["held to the truth"] += 1
        off_m = abs(reading.level_m - row.level_m)
        self.farthest_m = max(self.farthest_m, off_m)
        if off_m > NEAR_M:
            return f"level {reading.level_m} in a healthy gauge, truly {row.level_m}"
        if reading.tov_m3 is not None:
            off = abs(reading.tov_m3 - row.volume_m3) / row.volume_m3
            self.farthest_frac = max(self.farthest_frac, off)
            if off > NEAR_FRAC[self.tank]:
                return f"volume {reading.tov_m3}, truly {row.volume_m3}"
        return ""


def _nothing(reading: Reading, reasons: Sequence[Reason]) -> bool:
    """Told as not known, for one of these reasons, and no figure in sight."""
    figures = (reading.level_m, reading.tov_m3, reading.gov_m3, reading.gsv_m3, reading.mass_kg, reading.current_mA)
    return reading.quality is Quality.BAD and reading.reason in reasons and all(one is None for one in figures)
