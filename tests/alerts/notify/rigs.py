"""A channel's tray on a clock of the test's own, driven as the daemon drives it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from alerts.notify.news import News, Now
from alerts.notify.policy import Policy
from alerts.notify.stage import Item, Reason, Why
from alerts.notify.tray import Tray

T0_MS = 1_795_608_000_000  # 2026-11-25T12:00:00Z, a Wednesday
S = 1000
MIN = 60 * S


@dataclass
class Rig:
    """`at`: milliseconds since the beginning. Both clocks run alike unless `clock_ms` is moved."""

    policy: Policy
    at: int = 0
    clock_ms: int = T0_MS
    n: int = 0
    occurrences: dict[str, int] = field(default_factory=dict)
    told: list[tuple[int, list[str]]] = field(default_factory=list)
    reasons: list[tuple[str, Reason]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.tray = Tray(self.policy)

    @property
    def now(self) -> Now:
        return Now(self.clock_ms + self.at, 7_000_000 + self.at, 5 + self.at)

    def news(
        self, alarm: str, event: str, state: str, *, priority: int = 2, by: str = "", alarm_class: str = ""
    ) -> None:
        """The next entry of the record book."""
        self.n += 1
        source, _, condition = alarm.partition(".")
        if state == "unacknowledged":
            self.occurrences[alarm] = self.occurrences.get(alarm, 0) + 1
        news = News(
            self.n, self.now.time_ms, source, condition, priority, alarm_class, event, state,
            self.occurrences.get(alarm, 0), by, 9.2,
        )  # fmt: skip
        self.tray.take(news, self.now)

    def raised(self, alarm: str = "t1.high", priority: int = 2, alarm_class: str = "") -> None:
        self.news(alarm, "raised", "unacknowledged", priority=priority, alarm_class=alarm_class)

    def returned(self, alarm: str = "t1.high", state: str = "returned_unacknowledged") -> None:
        self.news(alarm, "returned", state)

    def acknowledged(self, alarm: str = "t1.high", state: str = "acknowledged") -> None:
        self.news(alarm, "acknowledged", state, by="Ana")

    def ask(self) -> Sequence[Item]:
        """What is told now; it is noted as sent."""
        what = self.tray.next(self.now)
        self.reasons += [(verdict.alarm, verdict.reason) for verdict in what.verdicts]
        if what.items:
            self.told.append((self.at, [marked(item) for item in what.items]))
            self.tray.sent(what.items, self.now)
        return what.items

    def until(self, end: int) -> None:
        """Go on to `end` as the channel's task does: sleep as long as the tray says, then ask again."""
        while True:
            what = self.tray.next(self.now)
            self.reasons += [(verdict.alarm, verdict.reason) for verdict in what.verdicts]
            if what.items:
                self.told.append((self.at, [marked(item) for item in what.items]))
                self.tray.sent(what.items, self.now)
                continue
            waits = [wait for wait in (what.elapsed_ms, what.wire_ms) if wait is not None]
            wait = min(waits, default=None)
            assert wait is None or wait > 0, f"the tray asks again at once: {what}"
            if wait is None or self.at + wait > end:
                self.at = end
                return
            self.at += wait


def marked(item: Item) -> str:
    """`t1.high#3` for a raised alarm, `t1.high#1-3` for several occurrences, `t1.high again`, `t1.high returned`."""
    case = item.case
    if item.why is Why.RAISED:
        return f"{case.id}#{case.first}" if case.first == case.last else f"{case.id}#{case.first}-{case.last}"
    if item.why is Why.AGAIN:
        return f"{case.id} again"
    return f"{case.id} {'+'.join(one.what for one in case.follow_ups)}"
