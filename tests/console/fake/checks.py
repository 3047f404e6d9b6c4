"""Loop checks of the fake farm: a check goes from step to step as a real one does, with a made-up record at its end."""

from typing import Any

from console.facts import ActAnswer, Json

SEQUENCE = [(p, "up") for p in (4.0, 8.0, 12.0, 16.0, 20.0)] + [(p, "down") for p in (20.0, 16.0, 12.0, 8.0, 4.0)]


class FakeChecks:
    """By instrument what is under way, and the records."""

    def __init__(self) -> None:
        self.under_way: dict[str, Json] = {}
        self.records: list[Json] = []
        self.asked: list[Json] = []

    def act(self, name: str, fields: Json, now: str, until: str) -> ActAnswer:
        self.asked.append({"name": name, **fields})
        loop = fields["instrument"]
        if not loop.startswith("LI-"):
            return ActAnswer("unknown", f"there is no instrument {loop!r}")
        check = self.under_way.get(loop)
        if name == "start_loop_check":
            return self._start(loop, check, fields, now, until)
        if check is None:
            return ActAnswer("unknown", f"no loop check of {loop!r} is under way")
        if name == "take_loop_step":
            return self._step(check, fields)
        if name == "finish_loop_check" and check["next"] is not None and check["next"]["run"] == "as_found":
            return ActAnswer("refused", "as found is not whole, missing: 8 mA up; take them, or abort the check")
        how = "finished" if name == "finish_loop_check" else "aborted"
        del self.under_way[loop]
        record = {"number": check["number"], "instrument": loop, "started": check["since"], "ended": now}
        record |= {"by": check["by"], "how": how, "as_found": True, "as_left": None, "passes": True}
        self.records.insert(0, record)
        return ActAnswer("done", "", {"record": record})

    def _start(self, loop: str, check: Json | None, fields: Json, now: str, until: str) -> ActAnswer:
        if check is not None:
            return ActAnswer("already", "under way", check)
        if loop == "LI-ostler-n":
            return ActAnswer("refused", "tank ostler-n receives: its level must not be lost now")
        names = ["High-high level", "High level", "Level signal failed low"]
        self.under_way[loop] = {
            "number": len(self.records) + 1, "instrument": loop, "by": fields["by"], "since": now, "until": until,
            "blinds": ["ostler-s.high_high", "ostler-s.high", "LI-ostler-s.signal_low"], "blinded_names": names,
            "covered_by": fields["covered_by"], "before_m": {"ostler-s": 6.402, "pipit": None}, "limit_percent": 0.25,
            "taken": 0, "steps": [], "next": {"run": "as_found", "point_mA": 4.0, "direction": "up"}, "verdict": {},
        }  # fmt: skip
        return ActAnswer("done", "", self.under_way[loop])

    def _step(self, check: Json, fields: Json) -> ActAnswer:
        following = check["next"]
        point = fields["point_mA"] or following["point_mA"]
        shown = fields["shown_mA"]
        live = shown is None
        step: dict[str, Any] = {
            "run": fields["run"] or following["run"], "point_mA": point, "by": fields["by"], "time_ms": 0,
            "direction": fields["direction"] or following["direction"], "applied_mA": fields["applied_mA"] or point,
            "shown_mA": point + 0.012 if live else shown, "how": "live" if live else "typed",
            "samples": 5 if live else None, "spread_mA": 0.002 if live else None, "level_m": None, "expected_m": None,
        }  # fmt: skip
        check["steps"].append(step)
        check["taken"] += 1
        found = [s for s in check["steps"] if s["run"] == "as_found"]
        place = len(check["steps"]) % 10
        run = "as_found" if len(found) < 10 else "as_left"
        check["next"] = {"run": run, "point_mA": SEQUENCE[place][0], "direction": SEQUENCE[place][1]}
        beyond = any(abs(s["shown_mA"] - s["applied_mA"]) > 0.04 for s in found)
        check["verdict"]["as_found"] = False if beyond else None if run == "as_found" else True
        return ActAnswer("done", "", {**check, "step": step})
