"""A channel's tray: what it has heard, what of it is told next, and what was told. Knows no sender and no clock.

The tray takes every transition of the record book in order and remembers up to which one (`n`); its state is kept in
that book, so that after a crash it goes on from there: what was not recorded as told is told again, nothing is lost.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from alerts.errors import BadSavedState
from alerts.lifecycle import State
from alerts.notify.case import Case, opened
from alerts.notify.chain import through
from alerts.notify.news import HIDDEN_STATES, News, Now
from alerts.notify.policy import Policy
from alerts.notify.retry import PACE, WORKING, Pace, Tries
from alerts.notify.stage import Item, Look, Reason, Verdict, Why


class Next(NamedTuple):
    """What a channel does now: tell `items`, or wait. elapsed_ms, wire_ms: how long at the most, None = for news."""

    items: Sequence[Item] = ()
    elapsed_ms: int | None = None
    wire_ms: int | None = None
    verdicts: Sequence[Verdict] = ()


class Tray:
    """One channel's."""

    def __init__(self, policy: Policy, n: int = 0, pace: Pace = PACE) -> None:
        self.policy = policy
        self.n = n
        self._pace = pace
        self.tries: Tries = WORKING
        self._cases: dict[str, Case] = {}
        self._sent_elapsed_ms: int | None = None
        self.dirty = False

    def __len__(self) -> int:
        return len(self._cases)

    @property
    def untold(self) -> int:
        """How many alarms have something that waits to be told."""
        return sum(case.untold or bool(case.follow_ups) for case in self._cases.values())

    def take(self, news: News, now: Now) -> None:
        """One transition. Those up to `n` were taken before."""
        if news.n <= self.n:
            return
        self.n = news.n
        self.dirty = True
        case = self._cases.get(news.id)
        if case is None:
            if not news.asks:
                return
            case = opened(news)
        self._keep(case.with_news(news, now))

    def looked_through(self, n: int) -> None:
        """Nothing else up to this entry concerns alarms."""
        self.n = max(self.n, n)

    def next(self, now: Now) -> Next:
        """What to do now. Items that are never told on this channel are settled here, with their reasons."""
        look = Look(self.policy, now, self._sent_elapsed_ms)
        passed = through(list(self._items(now)), look)
        for verdict in passed.verdicts:
            case = self._cases[verdict.alarm]
            if verdict.until_ms is None:
                self.dirty = True
                self._keep(case.settled())
            elif verdict.reason is Reason.NOBODY_ON_DUTY and not case.off_hours:
                self.dirty = True
                self._keep(case._replace(off_hours=True))
        self._sweep(now)
        waits = [verdict.until_ms for verdict in passed.verdicts if verdict.until_ms is not None]
        again = self._again_in(now)
        if again is not None:
            waits.append(now.elapsed_ms + again)
        wait_ms = max(0, min(waits) - now.elapsed_ms) if waits else None
        if passed.left and (wire_ms := self.tries.wait_ms(now)):
            held = [Verdict(item.case.id, Reason.TRYING, now.elapsed_ms + wire_ms) for item in passed.left]
            return Next((), wait_ms, wire_ms, [*passed.verdicts, *held])
        return Next(passed.left, wait_ms, None, passed.verdicts)

    def sent(self, items: Sequence[Item], now: Now) -> None:
        """These went out."""
        self.tries = WORKING
        self._sent_elapsed_ms = now.elapsed_ms
        self.dirty = True
        for item in items:
            case = self._cases.get(item.case.id)
            if case is not None:
                self._keep(case.after_telling(item.case, now))

    def works(self) -> None:
        """The channel took a message of whatever kind."""
        self.tries = WORKING

    def failed(self, now: Now, *, refused: bool) -> None:
        """The channel did not take a message."""
        self.tries = self.tries.failed(now, self._pace, refused=refused)

    def save(self) -> dict[str, Any]:
        """All of it as JSON values."""
        return {"n": self.n, "cases": [case.saved() for _, case in sorted(self._cases.items())]}

    def restore(self, saved: Mapping[str, Any], now: Now) -> None:
        """Take up what was saved. Raises `BadSavedState` for anything else."""
        try:
            self.n = int(saved["n"])
            self._cases = {one["id"]: Case.restored(one, now) for one in saved["cases"]}
        except (KeyError, TypeError, ValueError) as error:
            raise BadSavedState(
                f"saved state of channel {self.policy.id} cannot be read: {error!r}; restore a backup"
            ) from error

    def _items(self, now: Now) -> Iterator[Item]:
        for case in self._cases.values():
            if case.untold:
                yield Item(case, Why.RAISED)
            elif case.follow_ups:
                yield Item(case, Why.FOLLOW_UP)
            elif self._asks_again(case) and now.elapsed_ms >= case.told_elapsed_ms + (self.policy.again_ms or 0):
                yield Item(case, Why.AGAIN)

    def _asks_again(self, case: Case) -> bool:
        return self.policy.again_ms is not None and case.tellings > 0 and not case.untold and case.unacknowledged

    def _again_in(self, now: Now) -> int | None:
        """Until the next case is told again, if nothing changes."""
        again_ms = self.policy.again_ms
        if again_ms is None:
            return None
        asking = [case for case in self._cases.values() if self._asks_again(case)]
        waits = [case.told_elapsed_ms + again_ms - now.elapsed_ms for case in asking]
        return min((wait for wait in waits if wait > 0), default=None)

    def _keep(self, case: Case) -> None:
        wanted = tuple(one for one in case.follow_ups if one.what in self.policy.tells)
        self._cases[case.id] = case._replace(follow_ups=wanted)

    def _sweep(self, now: Now) -> None:
        """Forget the cases of which nothing is to be told, now or later."""
        gone = [alarm for alarm, case in self._cases.items() if not self._of_use(case, now)]
        for alarm in gone:
            del self._cases[alarm]

    def _of_use(self, case: Case, now: Now) -> bool:
        if case.untold or case.follow_ups:
            return True
        stands = case.state != State.NORMAL and case.state not in HIDDEN_STATES
        told_just_now = now.elapsed_ms < case.told_elapsed_ms + self.policy.same_alarm_ms
        return case.tellings > 0 and (stands or told_just_now)
