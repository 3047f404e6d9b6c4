"""Single tanks of the fake farm: shapes, steps of a reading, a past made of waves, two movements."""

import math
from typing import Any

from console.facts import Json
from tests.console.fake.live import FakeLive
from tests.console.fake.tank import T0_MS, FakeTank, iso

MOVED = {
    "tank": "fennock", "number": 7, "kind": "transfer_out", "stage": "final", "start": "2026-11-25T10:00:00.000Z",
    "end": "2026-11-25T10:30:00.000Z", "level_start_m": 6.2, "level_end_m": 5.8, "gov_m3": -30.12, "gsv_m3": -29.84,
    "gsv_u95_m3": 0.85, "gov_u95_m3": 0.55, "tov_m3": -30.2, "tov_u95_m3": 0.6, "ordered": "yes", "pair": "pipit:3",
    "start_u95_s": 12.0, "end_u95_s": 12.0, "mean_m3_per_h": -60.24, "peak_m3_per_h": -63.0, "blind_s": 0.0,
    "faults": "", "rough": "", "revision": 2, "ordered_at": "2026-11-25T10:12:00.000Z", "ordered_by": "Ann",
    "ordered_product": "jet", "ordered_m3": -25.0, "ordered_m3_per_h": 45.0, "more_m3": 5.2, "rate_ratio": 1.34,
    "early_s": 720.0, "differs": "quantity rate time",
}  # fmt: skip
RUNS = MOVED | {
    "number": 8, "kind": "receipt", "stage": "moving", "start": "2026-11-25T11:50:00.000Z", "end": None, "gov_m3": None,
    "gsv_m3": None, "gsv_u95_m3": None, "gov_u95_m3": None, "tov_m3": 8.4, "ordered": "no", "pair": "",
    "mean_m3_per_h": 50.4, "blind_s": 95.0, "faults": "no_answer", "start_u95_s": None, "end_u95_s": None,
    "ordered_at": None, "ordered_by": "", "ordered_product": "", "ordered_m3": None, "ordered_m3_per_h": None,
    "more_m3": None, "rate_ratio": None, "early_s": None, "differs": "tank",
}  # fmt: skip
MOVEMENTS: list[dict[str, Any]] = [RUNS, MOVED]


class FakeTanks(FakeLive):
    """Implements `console.facts.tanks`."""

    def tank_facts(self, tank: str) -> Json:
        t = self._tank(tank)
        steps = [t.top_m * i / 60 for i in range(61)]
        return {
            "id": t.id,
            "name": t.name,
            "product": t.product,
            "instrument": f"LI-{t.id}",
            "reference_height_m": t.top_m + 0.4,
            "top_m": t.top_m,
            "capacity_m3": t.volume_m3(t.top_m),
            "range_m": [0.0, t.top_m],
            "reach_m": t.top_m,
            "stale_after_s": 5.0,
            "limits": t.limits(),
            "profile": [[h, self._width(t, h)] for h in steps],
            "suction": {"level_m": 0.3, "volume_m3": t.volume_m3(0.3)},
            "safe_fill": {"level_m": 0.9 * t.top_m, "volume_m3": t.volume_m3(0.9 * t.top_m), "rule": "a rule"},
        }

    @staticmethod
    def _width(t: FakeTank, level_m: float) -> float:
        """Litres per millimetre at a level: the surface's area."""
        if t.high_m:
            return math.pi * t.diameter_m**2 / 4
        return 2 * t.length_m * math.sqrt(max(0.0, level_m * (t.diameter_m - level_m)))

    def chain(self, tank: str) -> Json:
        entry = self._entry(self._tank(tank))
        q = entry["quality"]
        steps: list[tuple[str, str, Any, str, str, str]] = [
            (
                "raw",
                "Register, as read",
                "0x4155 0x0000",
                "",
                "input register 7, 32-bit float, high word first",
                "Good",
            ),
            ("I", "Loop current", entry["current_mA"], "mA", "raw as it stands", "Good"),
            ("i", "Innage", entry["level_m"], "m", "h₄ + (I − 4) / 16 × (h₂₀ − h₄)", q),
            ("TOV", "Total observed volume", entry["tov_m3"], "m³", "capacity table at the innage, straight lines", q),
            ("FW", "Free water", 0.0123456, "m³", "capacity table at the water innage", "Good"),
            ("CTL", "Correction for temperature", 0.99631, "", "API MPMS 11.1-2004, product B", "Good"),
            ("GSV", "Gross standard volume", entry["gsv_m3"], "m³", "(TOV − FW) × CTSh × CTL", q),
        ]
        keys = ("symbol", "name", "value", "unit", "rule", "quality")
        return {
            "tank": tank,
            "time": entry["time"],
            "quality": q,
            "reason": entry["reason"],
            "steps": [dict(zip(keys, step, strict=True)) for step in steps],
            "result": {key: entry[key] for key in ("level_m", "tov_m3", "gsv_m3")},
        }

    async def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Json:
        self._ask_store()
        t = self._tank(tank)
        step = span_ms / points
        out: Json = {"unit": {"level_m": "m", "tov_m3": "m3"}.get(quantity, ""), "t": [], "good": []}
        out |= {"min": [], "mean": [], "max": []}
        for i in range(points):
            ms = round(start_ms + i * step)
            out["t"].append(ms)
            value = self._past(t, quantity, ms)
            spike = 0.04 * t.top_m if ms % 3_600_000 < step and ms // 3_600_000 % 5 == 0 else 0.0
            out["min"].append(value)
            out["mean"].append(value)
            out["max"].append(None if value is None else value + spike)
            out["good"].append(0.0 if value is None else 0.4 if ms // 900_000 % 40 == 3 else 1.0)
        return out

    async def aggregate(self, tank: str, asked: Json) -> Json:
        self._ask_store()
        if asked["quantity"] == "water_m":
            raise ValueError("its single readings are no longer kept")
        starts = list(range(asked["start_ms"], asked["end_ms"], asked["interval_ms"]))
        self.asked = asked
        return {
            "unit": "m",
            "start_ms": starts,
            "value": [None, *[5.25] * (len(starts) - 1)],
            "status": ["BadNoData", *["Good, Calculated"] * (len(starts) - 1)],
            "good_percent": [0.0, *[100.0] * (len(starts) - 1)],
        }

    def _past(self, t: FakeTank, quantity: str, ms: int) -> float | None:
        """No history before ten days ago, none of the future, and a hole of 20 min every 7 h."""
        if ms > self.now_ms or ms < T0_MS - 10 * 86_400_000 or ms // 1_200_000 % 21 == 5:
            return None
        level = t.level_m - 1.5 + 1.5 * math.sin((ms - T0_MS) / 15_000_000 + 1.5)
        level = min(max(level, 0.1), t.top_m)
        values = {"level_m": level, "tov_m3": t.volume_m3(level), "current_mA": 4 + 16 * level / t.top_m}
        return values.get(quantity, 10.0 + math.sin(ms / 20_000_000))

    async def movements(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        self._ask_store()
        return [
            row for row in MOVEMENTS
            if tank in (None, row["tank"])
            and str(row["start"]) < iso(to_ms) and (row["end"] is None or str(row["end"]) >= iso(from_ms))
        ]  # fmt: skip
