"""Tank status of the fake farm: real states of `inventory.tankstate`, each tank in another one, and made-up batches."""

from console.facts import ActAnswer, Json
from gaugehouse.statusroom import status_json
from inventory.settling import Countdown, SettlingRule, SettlingRules
from inventory.status import Event, NoMove, S
from inventory.tankstate import CLEAR, PASSED, Release, SampleResult, TankState

HOUR = 3_600_000
RULES = SettlingRules(SettlingRule("site manual 4.2", per_m_ms=HOUR, words="1 h/m of depth"))
NEEDED = ("appearance", "water test")
SAYS = {
    "quarantine_tank": Event.QUARANTINE,
    "lift_quarantine": Event.LIFT,
    "remove_tank": Event.REMOVE,
    "return_tank": Event.RETURN,
}
LEADS = {Event.QUARANTINE: S.QUARANTINED, Event.REMOVE: S.OUT_OF_SERVICE}


class FakeStatus:
    """By tank its state; what was done, newest first."""

    def __init__(self, now_ms: int) -> None:
        self.states: dict[str, TankState] = {}
        self.rows: list[Json] = []
        for tank, status in (
            ("ostler-n", S.RECEIVING), ("ostler-s", S.SETTLING), ("quillmoor", S.IN_USE), ("fennock", S.QUARANTINED),
            ("harrowmead", S.AWAITING_TEST), ("pipit", S.RELEASED),
        ):  # fmt: skip
            self.states[tank] = state = TankState(12.0, RULES, 60_000, status=status, since_ms=now_ms - 2 * HOUR)
            if status in (S.IN_USE, S.RELEASED):
                result = SampleResult(CLEAR, PASSED, 802.4, None, "C-2041")
                state.release = Release("Ada", now_ms - 2 * HOUR, result, not_done=("conductivity",))
        north, south, fennock = (self.states[tank] for tank in ("ostler-n", "ostler-s", "fennock"))
        north.flow_in = ("the gauge", "meter m2")
        south.countdown = Countdown(
            23_040_000, now_ms - 2 * HOUR, 6.4, counted_ms=6_600_000, blind_ms=600_000, down_ms=2_400_000, restarts=1
        )
        fennock.by, fennock.reason = "Bo", "water in the sample"

    def status(self, now_ms: int) -> list[Json]:
        return [status_json(tank, state, now_ms) for tank, state in self.states.items()]

    def of(self, tank: str, now_ms: int) -> Json:
        return status_json(tank, self.states[tank], now_ms)

    def batches(self, tank: str, now: str) -> Json:
        told = {"document": 12, "since": now, "age_days": 0.5, "origin": "", "via": ""}
        heel = {"batch": "", "certificate": "", "document": None, "since": now, "age_days": 30.0, "via": ""}
        release = self.states[tank].release
        return {
            "tank": tank,
            "mixing": "mixed",
            "model": "fully mixed: an issue takes of each batch its share",
            "content_m3": 240.0,
            "lack_m3": 1.2 if tank == "fennock" else 0.0,
            "batches": [
                {**heel, "volume_m3": 60.0, "share_percent": 25.0, "origin": "unknown origin"},
                {**told, "batch": "B-17", "certificate": "C-2041", "volume_m3": 180.0, "share_percent": 75.0},
            ],
            "release": None if release is None else {"by": release.by, "time": now, "certificate": "C-2041"},
            "recertify_due": None if release is None else now,
            "recertify_overdue": release is not None,
            "recertify_source": "site manual 9.1",
        }

    def act(self, name: str, fields: Json, now_ms: int, now: str) -> ActAnswer:
        tank = fields["tank"]
        state = self.states.get(tank)
        if state is None:
            return ActAnswer("unknown", f"there is no tank {tank!r}")
        if name == "release_tank":
            result = SampleResult(*(fields[key] for key in SampleResult._fields))
            early = fields["by"] == "Chief"
            why = state.why_not(result, NEEDED, fields["comment"], early=early)
            if why:
                return ActAnswer("refused", f"tank {tank}: {why}")
            change = state.let_go(result, fields["by"], now_ms, fields["comment"], early=early)
        else:
            event = SAYS[name]
            said = state.say(event, fields["by"], fields["reason"], now_ms)
            if isinstance(said, NoMove):
                how = "already" if LEADS.get(event) is state.status else "refused"
                return ActAnswer(how, f"tank {tank}: {said.why}", {"tank": tank, "now": self.of(tank, now_ms)})
            change = said
        row: Json = {
            "tank": tank, "event": change.event.value, "from": change.before.value, "to": change.after.value,
            "why": change.why, "by": change.by, "time": now, "settling": None, "release": None,
        }  # fmt: skip
        self.rows.insert(0, row)
        return ActAnswer("done", "", {"tank": tank, "now": self.of(tank, now_ms)})
