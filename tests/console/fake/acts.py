"""What people do to the fake farm."""

from console.facts import AckAnswer, AckStatus, ActAnswer, Json
from tests.console.fake.documents import ACTS as DOCUMENT_ACTS
from tests.console.fake.farm import FakeFarm
from tests.console.fake.reports import ACTS as REPORT_ACTS
from tests.console.fake.status import SAYS
from tests.console.fake.tank import iso

ALARM_STATE_AFTER = {
    "shelve": ("shelved", "shelved"),
    "unshelve": ("unacknowledged", "unshelved"),
    "reset_latch": ("normal", "latched_reset"),
    "remove_from_service": ("out_of_service", "removed_from_service"),
    "return_to_service": ("unacknowledged", "returned_to_service"),
}


class FakeActs(FakeFarm):
    """Implements `console.facts.acts`."""

    async def acknowledge(self, alarm_id: str, occurrence: int, by: str, comment: str) -> AckAnswer:
        self._ask_store()
        alarm = self.standing.get(alarm_id)
        if alarm is None:
            return AckAnswer(AckStatus.UNKNOWN)
        if occurrence != alarm["occurrence"]:
            return AckAnswer(AckStatus.OUTDATED, occurrence=alarm["occurrence"])
        if alarm["acknowledged_by"]:
            return AckAnswer(AckStatus.ALREADY, alarm["acknowledged_by"], alarm["acknowledged"])
        state = "normal" if alarm["state"] == "returned_unacknowledged" else "acknowledged"
        alarm.update(state=state, acknowledged_by=by, acknowledged=iso(self.now_ms), comment=comment)
        self._journal(alarm, "acknowledged", self.now_ms, by, comment)
        self.advance(0)
        return AckAnswer(AckStatus.ACCEPTED, by, iso(self.now_ms))

    async def act(self, name: str, fields: Json) -> ActAnswer:
        self._ask_store()
        if name in REPORT_ACTS:
            return self.reports.act(name, fields)
        if name == "release_tank" or name in SAYS:
            told = self.status.act(name, fields, self.now_ms, iso(self.now_ms))
            self.advance(0)
            return told
        if name == "reset_extremes":
            self.resets[fields["tank"]] = (fields["by"], self.now_ms)
            self.advance(0)
            return ActAnswer("done", "", {**fields, "time": iso(self.now_ms)})
        if name.endswith(("_loop_check", "_loop_step")):
            said = self.checks.act(name, fields, iso(self.now_ms), iso(self.now_ms + 3_600_000))
            self.advance(0)
            return said
        if name in DOCUMENT_ACTS:
            return self.papers.act(name, fields)
        if "drain_check" in name:
            return self.waterbook.act(name, fields)
        if "receipt" in name:
            return self.receiving.act(name, fields)
        if name in ("add_dip", "add_density_sample", "withdraw_dip"):
            return self.dips.act(name, fields)
        if name == "sign_leak_test":
            if fields["result"]["verdict"] == "refused":
                return ActAnswer("refused", "there was no test, so there is nothing to sign")
            told = {**fields["result"], "by": fields["by"], "comment": fields["comment"], "signed": iso(self.now_ms)}
            if told["verdict"] == "loss":
                names = ("loss_m3_per_h", "threshold_m3_per_h", "from", "to", "by", "signed")
                self.suspected[told["tank"]] = {name: told[name] for name in names}
            self.leaks.insert(0, told | {"number": len(self.leaks) + 1, "head": "1:abc", "simulated": True})
            return ActAnswer("done", "", told)
        if name == "decide_leak":
            stands = self.suspected.pop(fields["tank"], None)
            text = "" if stands else f"tank {fields['tank']}: no loss is suspected"
            return ActAnswer("done" if stands else "already", text, {**fields, "suspected": stands})
        if name == "fault_entry":
            return self.loopbook.write(fields, iso(self.now_ms))
        if name == "requalify":
            return ActAnswer("done", "", {**fields, "time": iso(self.now_ms)})
        if name in ("plan_movement", "end_plan"):
            return self._order(name, fields)
        if name == "correct":
            return ActAnswer("done", "", {"entry": fields["entry"], "by": fields["by"], "time": iso(self.now_ms)})
        if name == "begin_alarm_test":
            until = iso(self.now_ms + round(fields["limit_s"] * 1000))
            run = {"by": fields["by"], "means": fields["means"], "begun": iso(self.now_ms), "until": until}
            self.trials[fields["alarm"]] = run
            self.advance(0)
            return ActAnswer("done", "", run)
        if name == "end_alarm_test":
            given_up = self.trials.pop(fields["alarm"], None)
            if given_up is None:
                return ActAnswer("unknown", f"no test of {fields['alarm']} is under way")
            return ActAnswer("done", "", given_up)
        if name == "tell_alarm_test":
            return ActAnswer("done", "", {**fields, "ended": iso(self.now_ms)})
        assert name in ALARM_STATE_AFTER, name
        return self._hide(name, fields)

    def _order(self, name: str, fields: Json) -> ActAnswer:
        """Orders as the page sees them; more than 100 m3 never fit."""
        tank = fields["tank"]
        if name == "end_plan":
            plan = self.plans.pop(tank, None)
            return (
                ActAnswer("unknown", f"tank {tank} has no plan to end") if plan is None else ActAnswer("done", "", plan)
            )
        if fields["quantity_m3"] > 100:
            return ActAnswer("refused", "it does not fit")
        rate = fields["rate_m3_per_s"]
        plan = {
            **fields, "made": iso(self.now_ms), "begun": False, "moved_m3": 0.0,
            "rate_m3_per_h": None if rate is None else rate * 3600,
        }  # fmt: skip
        self.plans[tank] = plan
        return ActAnswer("done", "", plan)

    def _hide(self, name: str, fields: Json) -> ActAnswer:
        """Shelved and out of service as the page sees them; a refusal for a shelf of more than 8 h."""
        alarm = self.standing.get(fields["alarm"])
        if alarm is None:
            return ActAnswer("unknown", f"there is no alarm {fields['alarm']}")
        if fields.get("span_s", 0) > 8 * 3600:
            return ActAnswer("refused", "an alarm may be shelved for 8 h at most on this site")
        state, event = ALARM_STATE_AFTER[name]
        if alarm["state"] == state:
            return ActAnswer("already", "it is so already", {"by": fields["by"]})
        until = iso(self.now_ms + round(fields["span_s"] * 1000)) if name == "shelve" else None
        word = {"shelve": "shelved", "remove_from_service": "out_of_service"}.get(name)
        alarm["hides"] = [] if word is None else [
            {"state": word, "by": fields["by"], "reason": fields["reason"], "since": iso(self.now_ms), "until": until}
        ]  # fmt: skip
        alarm["state"] = state
        self._journal(alarm, event, self.now_ms, fields["by"], fields.get("reason", fields.get("comment", "")))
        self.advance(0)
        return ActAnswer("done", "", {"alarms": [fields["alarm"]], "by": fields["by"], "until": until})
