"""Water, forecast and the due list of the fake farm: two tanks with a past, others without; checks can be written."""

import math
from typing import Any

from console.facts import ActAnswer, Json
from gaugehouse.drainacts import check_act_of, withdraw_of
from gaugehouse.errors import CallError
from inventory.draincheck import DrainCheck, check_json

DAY_MS = 86_400_000
CHECK = check_json(DrainCheck(0, "", "", 0, "", check_act_of({"tank": "t", "result": "clear", "by": "b", "appearance":
                   "hazy"}).result))  # fmt: skip


def iso_day(iso: str) -> str:
    return iso[:10]


class FakeWater:
    """Accounts by arithmetic, checks by what was written."""

    def __init__(self, iso: Any, t0_ms: int) -> None:
        self._iso, self._t0_ms = iso, t0_ms
        self.rows: list[Json] = []
        self._write({"tank": "ostler-n", "by": "Bo", "result": "water", "appearance": "cloudy", "water_m3": 0.00025}, 3)
        self._write({"tank": "pipit", "by": "Cy", "result": "not done", "why": "thunderstorm"}, 1)

    def _write(self, fields: Json, days_ago: int = 0) -> Json:
        at_ms = self._t0_ms - days_ago * DAY_MS
        row = CHECK | {"result": "clear", "appearance": ""} | fields
        row |= {"number": len(self.rows) + 1, "time": self._iso(at_ms), "withdrawn": None}
        row["day"] = fields.get("day") or iso_day(row["time"])
        row.pop("time_ms", None)
        self.rows.append(row)
        return row

    def act(self, name: str, fields: Json) -> ActAnswer:
        try:
            if name == "withdraw_drain_check":
                told = withdraw_of(fields)
            else:
                check_act_of(fields)
                row = self._write(fields)
                return ActAnswer("done", "", row | {"next_due": None if row["result"] == "not done" else "2026-11-26"})
        except CallError as error:
            return ActAnswer("wrong", str(error))
        for row in self.rows:
            if row["number"] == told.number and row["withdrawn"] is None:
                row["withdrawn"] = {"by": told.by, "time": self._iso(self._t0_ms), "comment": told.comment}
                return ActAnswer("done", "", {"number": told.number, "tank": row["tank"], "by": told.by})
        return ActAnswer("unknown", f"there is no drain check {told.number} among the newest")

    def checks(self, tank: str | None) -> list[Json]:
        return [dict(row) for row in reversed(self.rows) if tank in (None, row["tank"])]

    def account(self, tank: str) -> Json:
        wet = tank == "ostler-n"
        more = tank == "quillmoor"
        days = range(30)
        cuts = [
            {"time": self._iso(self._t0_ms - (30 - day) * DAY_MS), "source": "signal",
             "water_m": 0.011 + 0.0004 * day + 0.001 * math.sin(day)}
            for day in days if wet and day not in (12, 13, 14)
        ]  # fmt: skip
        cuts += [{"time": self._iso(self._t0_ms - 9 * DAY_MS), "water_m": 0.019, "source": "dip"}] if wet else []
        drained = [
            {"time": self._iso(self._t0_ms - 20 * DAY_MS), "day": "2026-11-05", "water_m3": 0.012 if more else 0.00025,
             "by": "Bo", "how": "drain check 1"}
        ] if wet or more else []  # fmt: skip
        terms = [
            ("carried in by receipts", 0.0, 0.0042, "140.0 m3 received, 0 to 30 ppm of it"),
            ("shed by receipts that cool in the tank", 0.0001, 0.0009, "4 receipts with their temperature"),
            ("shed by the fuel in the tank as it cools", 0.0, 0.0021, "12.1 degC at first, 11.4 degC at last"),
            ("breathed in with the air of warm days and cool nights", 0.0, 0.0007, "310 m3 of air on 30 days"),
            ("drawn in with the air that follows an issue", 0.0, 0.0006, "120 m3 of air drawn in on 30 days"),
            ("rain through roof, hatch and fittings", 0.0, 0.0, "a sound roof lets none in"),
        ]
        expected = (sum(t[1] for t in terms), sum(t[2] for t in terms))
        volume = sum(one["water_m3"] for one in drained)
        return {
            "tank": tank, "from": "2026-10-26", "to": "2026-11-24", "days": 30, "unmeasured_days": 0,
            "flows_by": "gauge" if wet else "",
            "terms": [dict(zip(("term", "low_m3", "high_m3", "note"), term, strict=True)) for term in terms],
            "expected_low_m3": expected[0], "expected_high_m3": expected[1],
            "drained_low_m3": 0.9 * volume, "drained_high_m3": 1.1 * volume,
            "lying_low_m3": -0.0004 if wet else None, "lying_high_m3": 0.0018 if wet else None,
            "found_low_m3": 0.9 * volume, "found_high_m3": 1.1 * volume,
            "verdict": "more than expected" if more else "within" if wet else "cannot tell",
            "why": "look at hatch, roof, vents and fittings, and at what the receipts brought" if more
            else "what was found is no more than these ways in explain" if wet
            else "what lies on the bottom is not known: no water cut at the beginning and at the end",
            "trend": {
                "slope_m_per_day": 0.0004 if wet else None, "standard_error_m_per_day": 0.00005 if wet else None,
                "rises": True if wet else None, "cuts": len(cuts), "stretches": 1, "days": 30.0,
                "why": "" if wet else "0 cuts over 0.0 days; a slope is told from 5 over 3 days on",
            },
            "cuts": sorted(cuts, key=lambda cut: cut["time"]),
            "drained": drained,
        }  # fmt: skip

    def forecast(self) -> list[Json]:
        def part(tank: str, m3: float | None, **more: Any) -> Json:
            return {
                "tank": tank, "usable_m3": m3, "held_m3": 0.0, "status": None, "until": None, "minimum_m3": 31.0,
                "above": "low", "notes": [], "known": m3 is not None, "seen": None,
            } | more  # fmt: skip

        waits = "ostler-s is settling: its 55.1 m3 do not count as usable"
        held = part(
            "ostler-s", 0.0, held_m3=55.1, status="settling", until=self._iso(self._t0_ms + DAY_MS), notes=[waits]
        )
        told: Json = {
            "of": "product", "id": "Jet A-1", "tanks": ["ostler-n", "ostler-s"], "time": self._iso(self._t0_ms),
            "usable_m3": 812.4, "held_m3": 55.1, "parts": [part("ostler-n", 812.4), held],
            "above": "low of ostler-n, low of ostler-s", "missing": [], "days_known": 50,
            "days_asked": 56, "days_by_papers": 31, "days_by_gauge": 19, "mean_m3_per_day": 42.5, "sd_m3": 6.1,
            "by_weekday_m3": [50.0, 40.0, 38.0, 41.0, 66.0, 40.0, 22.5], "cover_days": 19.2,
            "cover_earliest_days": 15.0, "cover_latest_days": 24.7, "lead_days": 4.75, "order_point_m3": 288.1,
            "order_in_days": 12.3, "order_by": "2026-12-07", "order_earliest_in_days": 9.4, "order_now": False,
            "notes": [waits, "settling of a full tank by the site's rule: 42.0 h"], "why": "",
        }  # fmt: skip
        now = {
            "of": "tank",
            "id": "ostler-s",
            "parts": [held],
            "order_now": True,
            "order_in_days": 0.0,
            "order_by": "2026-11-25",
        }
        blank = dict.fromkeys(
            ("usable_m3", "mean_m3_per_day", "sd_m3", "by_weekday_m3", "cover_days", "cover_earliest_days",
             "cover_latest_days", "lead_days", "order_point_m3", "order_in_days", "order_by", "order_earliest_in_days",
             "order_now")
        )  # fmt: skip
        few = "only 9 of the last 56 days are known; a forecast is told from 14 on"
        return [
            told,
            told | now,
            told
            | blank
            | {
                "of": "tank",
                "id": "pipit",
                "days_known": 9,
                "why": few,
                "notes": [],
                "held_m3": 0.0,
                "parts": [part("pipit", None, notes=["the level of pipit is not known now"])],
            },
        ]

    def due(self) -> Json:
        def row(state: str, kind: str, about: str, what: str, days: int | None, **more: str) -> Json:
            until = None if days is None else self._iso(self._t0_ms + days * DAY_MS)
            plain = {"who": "operator", "link": "/water", "rule": "every 1 d", "last": "never done", "note": ""}
            start = None if days is None else self._iso(self._t0_ms + (days - 1) * DAY_MS)
            known = {"state": state, "kind": kind, "about": about, "what": what, "from": start, "until": until}
            return known | plain | more

        look = "look for water at the drain"
        rows = [
            row("overdue", "drain check", "pipit", look, None, link="/water?tank=pipit#check",
                note="not done on 2026-11-24 (Cy): thunderstorm"),
            row("overdue", "drain check", "ostler-n", look, -1, last="2026-11-22 by Bo: water",
                link="/water?tank=ostler-n#check"),
            row("due", "dip", "ostler-s", "dip: gauge against dip", 1, last="2026-10-25 by Ada"),
            row("coming", "alarm test", "ostler-n.high", "test the alarm High level", 5, who="maintainer",
                link="/alarms/every"),
            row("later", "calibration", "harrowmead", "calibrate the tank anew: certificate K-7 ends", 200,
                who="maintainer", link="/tank/harrowmead"),
        ]  # fmt: skip
        counts = {state: sum(r["state"] == state for r in rows) for state in ("overdue", "due", "coming", "later")}
        return {"time": self._iso(self._t0_ms), "counts": counts, "dues": rows}
