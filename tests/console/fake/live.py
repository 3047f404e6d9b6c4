"""The newest state of the fake farm, made from its clock."""

from console.facts import Json
from tests.console.fake.farm import FakeFarm
from tests.console.fake.tank import T0_MS, FakeTank, iso


class FakeLive(FakeFarm):
    """Implements `console.facts.live`."""

    def live(self) -> Json:
        return {
            "time": iso(self.now_ms),
            "seq": self.seq,
            "build": self.site.build,
            "tanks": [self._entry(tank) for tank in self.tanks],
            "alarms": [dict(a) for a in self.standing.values() if a["state"] != "normal"],
            "tests": list(self.trials),
            "loops": [self._loop(tank) for tank in self.tanks],
            "buses": [self._bus()],
            "points": [{"id": "air", "name": "Air", "what": "ambient", "value": 11.25, "unit": "degC", "age_s": 2.0}],
        }

    async def newer_live(self, seq: int) -> Json:
        while self.seq == seq:
            await self._newer.wait()
        return self.live()

    def _entry(self, tank: FakeTank) -> Json:
        at_ms = self.now_ms if tank.stale_from_ms is None else tank.stale_from_ms
        level = None if tank.quality == "Bad" else tank.level_at(at_ms)
        tov = None if level is None else tank.volume_m3(level)
        gsv = None if tov is None or tank.water_m is None else (tov - tank.volume_m3(tank.water_m)) * 0.9963
        rate = None
        if level is not None:
            rate = tank.m_per_h * (tank.volume_m3(level + 0.005) - tank.volume_m3(level - 0.005)) / 0.01
        high = next(limit for limit in tank.limits() if limit["condition"] == "high")
        reset = self.resets.get(tank.id)
        return {
            "time": iso(at_ms),
            "tank": tank.id,
            "quality": tank.quality,
            "reason": tank.reason,
            "current_mA": self._current(tank, at_ms),
            "level_m": level,
            "temperature_degC": 11.4 if tank.id != "fennock" else None,
            "water_m": tank.water_m,
            "tov_m3": tov,
            "gov_m3": None if tov is None or tank.water_m is None else tov - tank.volume_m3(tank.water_m),
            "gsv_m3": gsv,
            "mass_kg": None if gsv is None else gsv * 804.0,
            "volume_percent": None if tov is None else 100 * tov / tank.volume_m3(tank.top_m),
            "level_percent": None if level is None else 100 * level / tank.top_m,
            "ullage_m": None if level is None else tank.top_m + 0.4 - level,
            "rate_m3_per_h": None if tank.bound else rate,
            "stock_quality": tank.quality if gsv is not None else "Bad",
            "bound": tank.bound,
            "rate_sd_m3_per_h": None if rate is None else 0.4,
            "gsv_u95_m3": None if gsv is None else gsv * 0.0031,
            "name": tank.name,
            "product": tank.product,
            "age_s": (self.now_ms - at_ms) / 1000 + 0.3,
            "last_good_level_m": tank.level_m,
            "last_good_tov_m3": tank.volume_m3(tank.level_m),
            "last_good_time": iso(self.now_ms - 95_000 if level is None else at_ms),
            "flow": self._flow(tank, level),
            "next_limit": self._next_limit(tank, level),
            "plan": self.plans.get(tank.id),
            "room_m3": None if tov is None else high["volume_m3"] - tov,
            "usable_m3": None if tov is None else max(0.0, tov - tank.volume_m3(0.3)),
            "dead_m3": None if tov is None else min(tov, tank.volume_m3(0.3)),
            "water_age_s": None if tank.water_source == "none" else 4.0 if tank.water_source == "signal" else 27_000.0,
            "water_source": tank.water_source,
            "dip": self.dips.state(tank.id),
            "day_low_m": tank.level_m - 0.4,
            "day_high_m": tank.level_m,
            "since_reset_low_m": tank.level_m - 1.4 if reset is None else level,
            "since_reset_high_m": tank.level_m if reset is None else level,
            "since_reset_time": iso(reset[1]) if reset else iso(T0_MS - 6 * 86_400_000),
            "alarms": [a["id"] for a in self.standing.values() if a["tank"] == tank.id and a["state"] != "normal"],
            "torn": {"status": tank.torn[0], "word": tank.torn[1]} if tank.torn else None,
            "status": self.status.of(tank.id, self.now_ms),
        }

    @staticmethod
    def _flow(tank: FakeTank, level: float | None) -> str:
        if level is None or tank.bound:
            return ""
        return "filling" if tank.m_per_h > 0 else "emptying" if tank.m_per_h < 0 else "still"

    @staticmethod
    def _next_limit(tank: FakeTank, level: float | None) -> Json | None:
        if level is None or not tank.m_per_h:
            return None
        ahead = [limit for limit in tank.limits() if (limit["at_m"] - level) * tank.m_per_h > 0]
        if not ahead:
            return None
        nearest = min(ahead, key=lambda limit: abs(limit["at_m"] - level))
        return {
            "condition": nearest["condition"],
            "at_m": nearest["at_m"],
            "seconds": abs((nearest["at_m"] - level) / tank.m_per_h) * 3600,
            "volume_m3": abs(nearest["volume_m3"] - tank.volume_m3(level)),
        }

    @staticmethod
    def _current(tank: FakeTank, ms: int) -> float:
        if tank.quality == "Bad":
            return 3.412
        return 20.3 if tank.bound else 4 + 16 * tank.level_at(ms) / tank.top_m

    def _loop(self, tank: FakeTank) -> Json:
        current = self._current(tank, self.now_ms)
        band = "fail_low" if current < 3.6 else "over_range" if current > 20 else "normal"
        stale = tank.stale_from_ms is not None
        return {
            "instrument": f"LI-{tank.id}",
            "name": f"Level indicator {tank.name}",
            "tanks": [tank.id],
            "outcome": "timeout" if stale else "ok",
            "current_mA": None if stale else current,
            "band": None if stale else band,
            "fault": "fail_low" if current < 3.6 else "no_answer" if stale else "",
            "fault_since": iso(T0_MS - 95_000) if current < 3.6 or stale else None,
            "age_s": 95.0 if stale else 0.3,
            "check": self.checks.under_way.get(f"LI-{tank.id}"),
            "noise_now_m": None if stale else 0.0031,
            "noise_usual_m": None if stale else 0.0024,
            "noise_loud_m": None if stale else 0.0112,
        }

    def _bus(self) -> Json:
        units = [
            {
                "instrument": f"LI-{tank.id}",
                "name": f"Level indicator {tank.name}",
                "unit": 10 + place,
                "polls": 1000 + self.seq,
                "ok": 990 + self.seq,
                "no_answer": 7,
                "wrong_reply": 2,
                "exceptions": 1,
                "missed_ticks": 4,
                "spared_ticks": 3,
                "failures_in_a_row": 0,
                "failure": "",
                "latency_ms": 12.5,
                "latency_p50_ms": 11.0,
                "latency_p95_ms": None,
                "timeout_ms": 80.0,
                "last_good": iso(self.now_ms),
            }
            for place, tank in enumerate(self.tanks)
        ]
        return {
            "bus": "west",
            "kind": "tcp",
            "where": "192.0.2.7:502",
            "period_s": 1.0,
            "connected": True,
            "fault": "",
            "connects": 1,
            "refused": 0,
            "requests": 6000 + self.seq,
            "utilisation": 0.123,
            "strays": 0,
            "errors": {"timeout": 7},
            "units": units,
        }
