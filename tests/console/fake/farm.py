"""The state of the fake farm, which the parts that answer share."""

import asyncio

from console.facts import FactsUnavailable, Json, SiteFacts
from console.words import CONDITIONS
from tests.console.fake.book import FakeBook
from tests.console.fake.checks import FakeChecks
from tests.console.fake.dips import FakeDips
from tests.console.fake.documents import FakeDocuments
from tests.console.fake.loopbook import LoopBook
from tests.console.fake.people import FakePeople
from tests.console.fake.receipts import FakeReceipts
from tests.console.fake.reports import FakeReports
from tests.console.fake.status import FakeStatus
from tests.console.fake.tank import T0_MS, FakeTank, iso, tanks
from tests.console.fake.water import FakeWater


class FakeFarm:
    """What the farm is, and what tests do to it."""

    def __init__(self, *, simulated: bool = True, build: str = "7", now_ms: int = T0_MS) -> None:
        self.site = SiteFacts("marrowfield", "Marrowfield airfield", "Europe/Dublin", simulated, build)
        self.tanks = tanks()
        self.now_ms = now_ms
        self.seq = 1
        self.store_out = False
        self.starts = _starts(build)
        self.ill = ""
        self.people = FakePeople()
        self.asked: Json = {}
        self.loopbook = LoopBook()
        self.trials: dict[str, Json] = {}
        self.resets: dict[str, tuple[str, int]] = {}
        self.plans: dict[str, Json] = {}
        self.rows: list[Json] = []
        self.leaks: list[Json] = []
        self.suspected: dict[str, Json] = {}
        self.standing: dict[str, Json] = {}
        self.checks = FakeChecks()
        self.book = FakeBook()
        self.waterbook = FakeWater(iso, T0_MS)
        self.receiving = FakeReceipts()
        self.papers = FakeDocuments()
        self.dips = FakeDips(self)
        self.status = FakeStatus(now_ms)
        self.reports = FakeReports(self)
        self._newer = asyncio.Event()
        for tank in self.tanks:
            for rank, condition in enumerate(tank.alarms):
                self.raise_alarm(tank, condition, now_ms - 600_000 * (len(self.standing) + 1) - rank * 1000)
        self.standing["LI-fennock.signal_low"].update(
            state="acknowledged", acknowledged_by="Bo", acknowledged=iso(now_ms - 500_000), comment="cable crew called"
        )
        self.standing["harrowmead.high"]["state"] = "returned_unacknowledged"
        self.standing["harrowmead.high"]["returned"] = iso(now_ms - 60_000)

    def advance(self, ms: int = 1000) -> None:
        self.now_ms += ms
        self.seq += 1
        self.receiving.advance()
        self._newer.set()
        self._newer = asyncio.Event()

    def raise_alarm(self, tank: FakeTank, condition: str, at_ms: int) -> Json:
        source = f"LI-{tank.id}" if condition.startswith("signal") else tank.id
        alarm_id = f"{source}.{condition}"
        before = self.standing.get(alarm_id, {"occurrence": 0})
        alarm: Json = {
            "id": alarm_id,
            "source": source,
            "tank": tank.id,
            "condition": condition,
            "name": CONDITIONS[condition],
            "priority": {"critical_high": 1, "high_high": 1}.get(condition, 2 if condition != "low" else 3),
            "state": "unacknowledged",
            "occurrence": before["occurrence"] + 1,
            "raised": iso(at_ms),
            "returned": None,
            "acknowledged_by": "",
            "acknowledged": None,
            "comment": "",
            "action": "Stop the receipt at the loading valve, then dip the tank.",
            "cause": "More was delivered than fits.",
            "respond": "before high-high is reached",
            "consequence": "Overfill of the tank and a spill into the bund.",
            "not_independent": condition in ("critical_high", "high_high", "high"),
            "hides": [],
            "one_shot": False,
            "active": True,
        }
        self.standing[alarm_id] = alarm
        self._journal(alarm, "raised", at_ms)
        return alarm

    def _journal(self, alarm: Json, event: str, at_ms: int, by: str = "", comment: str = "") -> None:
        kept = ("id", "source", "condition", "name", "priority", "state", "occurrence")
        row = {key: alarm[key] for key in kept}
        self.rows.append({**row, "time": iso(at_ms), "event": event, "by": by, "comment": comment})

    def _tank(self, tank: str) -> FakeTank:
        return next(t for t in self.tanks if t.id == tank)

    def _ask_store(self) -> None:
        if self.store_out:
            raise FactsUnavailable("the store at secret/place.db is locked")


def _starts(build: str) -> list[Json]:
    """Entries of the record book: this start, what was changed before it, and a change before the start before."""
    told = (
        (9, "setting_changed", {"change": "notify[phone].url: added, https://h.example/T0/abcdef"}),
        (8, "setting_changed", {"change": "tank[ostler-n].limits.high.at_m: 10.9 -> 10.8"}),
        (7, "started", {"build": build}),
        (2, "setting_changed", {"change": "of old"}),
    )
    return [
        {"n": n, "time": iso(T0_MS), "kind": kind, "body": body, "hash": "", "corrected_by": []}
        for n, kind, body in told
    ]
