"""Two faults of one loop, a trace of each, what is written on them and what may be their causes."""

import math

from console.facts import ActAnswer, Json
from tests.console.fake.tank import T0_MS, iso

CAUSES: Json = {
    "verdict": "told",
    "causes": [
        {
            "cause": "fail_low",
            "name": "The transmitter reports a failure (low)",
            "best": True,
            "evidence_for": ["3.50 mA: NE 43 gives up to 3.6 mA to failures"],
            "evidence_against": [],
            "refuted_by": "Read the transmitter's own status.",
        }
    ],
    "caution": "A ranking of causes by the trace, not a finding.",
}
UNSAID = dict.fromkeys(("cause", "part", "action", "comment"), "") | {"found_by": "gaugehouse"}
UNDIPPED = dict.fromkeys(("dip_before_m", "dip_after_m"), None)


class LoopBook:
    """Two faults of one loop, a trace of each, and what is written on them."""

    def __init__(self) -> None:
        self.entries: dict[int, list[Json]] = {1: [], 2: []}

    def row(self, number: int) -> Json:
        goes_on = number == 2
        start, end = (T0_MS - 95_000, None) if goes_on else (T0_MS - 9_000_000, iso(T0_MS - 8_990_000))
        row: Json = {
            "instrument": "LI-fennock", "start": iso(start), "end": end,
            "class": "fail_low" if goes_on else "no_answer", "status": "F", "number": number,
            "min_mA": 3.4 if goes_on else None, "max_mA": 3.5 if goes_on else None,
            "entry_mA": 3.46 if goes_on else None, "before_mA": 11.2, "level_m": 1.204, "noise_before_m": 0.0027,
            "movement": "still", "blinded": ["fennock.high_high", "fennock.high"],
            "blinded_s": None if goes_on else 10.0, "around": {"supply": 24.1},
            "repeats_30d": number, "repeats_90d": number + 1,
        }  # fmt: skip
        replaced = {entry["corrects"] for entry in self.entries[number]}
        row |= UNSAID | UNDIPPED | {"closed_by": "", "closed": None}
        for entry in self.entries[number]:
            if entry["entry"] in replaced:
                continue
            row |= {name: entry[name] for name in (*UNSAID, *UNDIPPED) if entry.get(name)}
            if entry["close"]:
                row |= {"closed_by": entry["by"], "closed": entry["time"]}
        closed = "" if row["cause"] else "closed without cause"
        row["flag"] = "goes on" if goes_on else closed if row["closed_by"] else "not closed"
        return row | {"entries": list(self.entries[number])}

    def trace(self, number: int) -> list[Json]:
        start = T0_MS - 95_000
        out = []
        for second in range(-120, 90):
            current = 11.2 + 0.02 * math.sin(second) if second < 0 else 3.46 + 0.01 * (second % 3)
            told = {"current": current, "temperature": 14.5} if number == 2 else {}
            out.append(
                {
                    "time": iso(start + second * 1000),
                    "outcome": "ok" if told else "timeout",
                    "current_mA": told.get("current"),
                    "values": told,
                    "raw": {},
                }
            )
        return out

    def write(self, fields: Json, time: str) -> ActAnswer:
        number = fields["number"]
        if fields["instrument"] != "LI-fennock" or number not in self.entries:
            return ActAnswer("unknown", f"{fields['instrument']} has no fault {number}")
        row = self.row(number)
        if fields["close"] and row["flag"] == "goes on":
            return ActAnswer("refused", "it still goes on; close it when it has ended")
        if fields["close"] and row["closed_by"] and fields["corrects"] is None:
            return ActAnswer("already", "was closed", {"entry": 1, "by": row["closed_by"], "time": row["closed"]})
        entry = len(self.entries[number]) + 1
        self.entries[number].append({"entry": entry, "time": time, **fields})
        return ActAnswer("done", "", {"entry": entry, "by": fields["by"], "time": time})
