"""One tank's status with all that hangs on it: the countdown, the release, what flows, and what a person said.

Takes what each tick tells of a tank, asks `inventory.status` where that leads, and keeps the countdown by the site's
rule. Saved and restored as JSON values. Knows no gauge and no clock; times come in two kinds, `_ms` of people (UTC) and
`elapsed_ms` of the core, which stands still while the program does not run.
"""

from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

from inventory.settling import Countdown, SettlingRules
from inventory.status import E, Event, Facts, NoMove, S, TankStatus, move

GAUGE: Final = "the gauge"
"""The evidence of a flow that can be taken back: a movement found from the level turned out to be none."""

CLEAR: Final = "clear and bright"
NOT_CLEAR: Final = "not clear"
APPEARANCES: Final = (CLEAR, NOT_CLEAR)
PASSED, FAILED = "passed", "failed"
WATER_TESTS: Final = (PASSED, FAILED)

RESULTS: Final = ("appearance", "water test", "density", "conductivity", "certificate")
"""What a release may tell, in the order of the form."""


class SampleResult(NamedTuple):
    """What a person found in the sample. density_kg_m3: at 15 degC; "" and None: not done."""

    appearance: str = ""
    water_test: str = ""
    density_kg_m3: float | None = None
    conductivity_pS_m: float | None = None
    certificate: str = ""

    def not_done(self) -> list[str]:
        """Names of `RESULTS` that nobody gave."""
        return [name for name, value in zip(RESULTS, self, strict=True) if value in ("", None)]


@dataclass(frozen=True, slots=True)
class Release:
    """A release as it was made. early: before settling was over. settling: the countdown as it stood then, {} where
    none was running or seen; not_done: what the sample result lacks, and what nobody watched."""

    by: str
    time_ms: int
    result: SampleResult
    early: bool = False
    comment: str = ""
    settling: dict[str, Any] = field(default_factory=dict)
    not_done: tuple[str, ...] = ()

    def json(self) -> dict[str, Any]:
        return {
            "by": self.by, "time_ms": self.time_ms, **self.result._asdict(), "early": self.early,
            "comment": self.comment, "settling": self.settling, "not_done": list(self.not_done),
        }  # fmt: skip


def release_of(saved: dict[str, Any]) -> Release:
    """What `Release.json` gave."""
    result = SampleResult(**{name: saved[name] for name in SampleResult._fields})
    return Release(
        saved["by"], saved["time_ms"], result, saved["early"], saved["comment"], saved["settling"],
        tuple(saved["not_done"]),
    )  # fmt: skip


class Seen(NamedTuple):
    """What one tick tells of a tank. trusted: its level is; flow_in, flow_out: what speaks for a flow, in words.

    final: the gauge's movement has become final, so that it is none to be taken back; withdrawn: it was none after all.
    """

    elapsed_ms: int
    time_ms: int
    level_m: float | None
    trusted: bool
    flow_in: tuple[str, ...] = ()
    flow_out: tuple[str, ...] = ()
    final: bool = False
    withdrawn: bool = False


class Change(NamedTuple):
    """One thing that became of a tank's status: an entry of the record book. why: evidence, or a person's reason."""

    event: Event
    before: TankStatus
    after: TankStatus
    why: str
    by: str = ""


SETTLING_NOT_SEEN: Final = "settling (nobody watched it)"


@dataclass(slots=True)
class TankState:
    """A tank that nobody has said anything of yet awaits its test: nothing in it was released.

    since_ms: site's time of the newest move; by, reason: of a person's, "" where the flow made it. full_m: height of
    the tank, taken for the depth where the level is not known. flow_in, flow_out: evidence of what flows now.
    hole_ms: so long without a reading is time that nobody watched.
    """

    full_m: float
    rules: SettlingRules
    hole_ms: int
    status: TankStatus = S.AWAITING_TEST
    since_ms: int = 0
    by: str = ""
    reason: str = ""
    countdown: Countdown | None = None
    release: Release | None = None
    flow_in: tuple[str, ...] = ()
    flow_out: tuple[str, ...] = ()
    known: bool = False
    _in_level_m: float | None = None
    _left_ms: int = 0
    _before: dict[str, Any] | None = None
    _seen_ms: int | None = None
    _seen_time_ms: int = 0
    _down_ms: int = 0
    _restored: bool = False

    # What the tank itself tells

    def see(self, seen: Seen) -> list[Change]:
        """Take one tick in. The same ticks give the same changes."""
        self._pass_time(seen)
        self.known = seen.trusted or bool(seen.flow_in or seen.flow_out)
        changes: list[Change] = []
        if seen.final:
            self._before = None
        if seen.withdrawn and self._before is not None:
            changes += self._take_back(seen)
        if bool(seen.flow_out) < bool(self.flow_out):
            changes += self._out_ends(seen)
        if bool(seen.flow_in) != bool(self.flow_in):
            changes += self._in_begins(seen) if seen.flow_in else self._in_ends(seen)
        if bool(seen.flow_out) > bool(self.flow_out):
            changes += self._out_begins(seen)
        self.flow_in, self.flow_out = seen.flow_in, seen.flow_out
        if _sure(seen):
            self._before = None
        if self.status is S.SETTLING and self.countdown is not None and self.countdown.over:
            changes += self._moved(E.SETTLED, seen.time_ms, "the site's settling time is over")
        return changes

    def rests(self, elapsed_ms: int, time_ms: int, trusted: bool) -> bool:
        """Whether a tick without any flow tells a tank nothing that `see` would have to look at: most ticks do not."""
        if self.countdown is not None or self.flow_in or self.flow_out or self._restored or self._down_ms:
            return False
        self._seen_ms, self._seen_time_ms, self.known = elapsed_ms, time_ms, trusted
        return True

    def _pass_time(self, seen: Seen) -> None:
        """Elapsed time counts; after a restart what the site's clock says has gone by, once the level is seen again."""
        counting = self.countdown
        if self._restored:
            self._down_ms += max(0, seen.time_ms - self._seen_time_ms)
        elif counting is not None and self._seen_ms is not None:
            gone = seen.elapsed_ms - self._seen_ms
            counting.pass_by(gone, trusted=seen.trusted and gone <= self.hole_ms, rules=self.rules)
        if self._down_ms and seen.trusted:
            if counting is not None:
                counting.stood(self._down_ms, self.rules)
            self._down_ms = 0
        self._restored = False
        self._seen_ms, self._seen_time_ms = seen.elapsed_ms, seen.time_ms

    def _in_begins(self, seen: Seen) -> list[Change]:
        self._remember(seen.flow_in)
        changes = self._moved(E.FLOW_IN, seen.time_ms, _words(seen.flow_in))
        self._in_level_m = seen.level_m
        self._left_ms = 0 if self.countdown is None else self.countdown.left_ms
        self.release = None
        self.countdown = None
        return changes

    def _in_ends(self, seen: Seen) -> list[Change]:
        rise = None if seen.level_m is None or self._in_level_m is None else seen.level_m - self._in_level_m
        need = self.rules.rule.need_ms(self.full_m if seen.level_m is None else seen.level_m, rise)
        small = self.rules.rule.small_rise_m
        if small is not None and rise is not None and rise < small:
            need = max(need, self._left_ms)  # a little on top shortens nothing that still had to settle
        held = bool(seen.flow_out) and self.rules.issues_restart
        self.countdown = Countdown(need, seen.time_ms, seen.level_m, held=held)
        return self._moved(E.FLOW_IN_ENDS, seen.time_ms, "the receipt has ended")

    def _out_begins(self, seen: Seen) -> list[Change]:
        self._remember(seen.flow_out)
        changes = self._moved(E.FLOW_OUT, seen.time_ms, _words(seen.flow_out))
        waits = self.countdown is not None or self.status is S.SETTLING
        if self.rules.issues_restart and waits and self.status is not S.RECEIVING:
            restarts = 0 if self.countdown is None else self.countdown.restarts
            need = self.rules.rule.need_ms(self.full_m if seen.level_m is None else seen.level_m)
            self.countdown = Countdown(need, seen.time_ms, seen.level_m, restarts=restarts, held=True)
        return changes

    def _out_ends(self, seen: Seen) -> list[Change]:
        changes = self._moved(E.FLOW_OUT_ENDS, seen.time_ms, "the flow out has ended")
        held = self.countdown
        if held is not None and held.held:
            need = self.rules.rule.need_ms(self.full_m if seen.level_m is None else seen.level_m)
            self.countdown = Countdown(need, seen.time_ms, seen.level_m, restarts=held.restarts + 1)
        return changes

    def _take_back(self, seen: Seen) -> list[Change]:
        """A flow that the gauge had told was none: as it was before it, the time since is not counted."""
        was = self._before or {}
        before = TankStatus(was["status"])
        changes = self._moved(E.NOT_MOVED, seen.time_ms, "what the gauge had told was no movement", before=before)
        self.countdown = None if was["countdown"] is None else Countdown(**was["countdown"])
        self.release = None if was["release"] is None else release_of(was["release"])
        self._before, self.flow_in, self.flow_out = None, (), ()
        return changes

    def _remember(self, evidence: tuple[str, ...]) -> None:
        if self._before is None and evidence == (GAUGE,):
            self._before = {
                "status": self.status.value,
                "countdown": None if self.countdown is None else self.countdown.json(),
                "release": None if self.release is None else self.release.json(),
            }

    # What people say

    def let_go(self, result: SampleResult, by: str, time_ms: int, comment: str, *, early: bool) -> Change:
        """A person releases the content; what must hold for it was asked by `why_not`."""
        counting = self.countdown
        unsettled = counting is not None and not counting.over
        not_done = result.not_done()
        if counting is None and self.status is S.AWAITING_TEST:
            not_done.append(SETTLING_NOT_SEEN)
        settling = {} if counting is None else counting.json()
        (change,) = self._moved(E.RELEASE, time_ms, comment, by=by, early=early)
        self.release = Release(by, time_ms, result, unsettled, comment, settling, tuple(not_done))
        self.countdown = None
        return change

    def why_not(self, result: SampleResult, needed: tuple[str, ...], comment: str, *, early: bool) -> str:
        """Why the content must not be released so now, with the mend; empty where nothing speaks against it."""
        to = move(self.status, E.RELEASE, self._facts(early=early))
        if isinstance(to, NoMove):
            return to.why
        if self.status is S.SETTLING and self.flow_out:
            return "fuel flows out of it; stop the issue first"
        if self.status is S.SETTLING and not comment:
            return "it has not settled yet; write why it is released early all the same"
        if result.appearance == NOT_CLEAR or result.water_test == FAILED:
            return "the sample did not pass; quarantine the tank, drain it and take another sample when it has settled"
        missing = [name for name in needed if name in result.not_done()]
        if missing:
            return f"the sample result lacks: {', '.join(missing)}; this site releases no tank without"
        return ""

    def say(self, event: Event, by: str, reason: str, time_ms: int) -> Change | NoMove:
        """A person quarantines the tank, takes it out of service, or takes either back."""
        to = move(self.status, event, self._facts())
        if isinstance(to, NoMove):
            return to
        (change,) = self._moved(event, time_ms, reason, by=by)
        if event in (E.QUARANTINE, E.REMOVE):
            self.release = None
        self._before = None
        return change

    # The table

    def _facts(self, *, early: bool = False, before: TankStatus | None = None) -> Facts:
        unsettled = self.countdown is not None and not self.countdown.over
        return Facts(bool(self.flow_in), bool(self.flow_out), unsettled, early, self.rules.issues_restart, before)

    def _moved(
        self, event: Event, time_ms: int, why: str, *, by: str = "", early: bool = False,
        before: TankStatus | None = None,
    ) -> list[Change]:  # fmt: skip
        """Go where the event leads; nothing where it leads nowhere."""
        was = self.status
        to = move(was, event, self._facts(early=early, before=before))
        if isinstance(to, NoMove):
            return []
        self.status = to
        if to is not was or by:
            self.since_ms, self.by, self.reason = time_ms, by, why if by else ""
        return [Change(event, was, to, why, by)]

    # Saved and restored

    def save(self) -> dict[str, Any]:
        return {
            "status": self.status.value,
            "since": self.since_ms,
            "by": self.by,
            "reason": self.reason,
            "countdown": None if self.countdown is None else self.countdown.json(),
            "release": None if self.release is None else self.release.json(),
            "in": list(self.flow_in),
            "out": list(self.flow_out),
            "in_level": self._in_level_m,
            "left": self._left_ms,
            "before": self._before,
            "seen": self._seen_ms,
            "seen_time": self._seen_time_ms,
            "down": self._down_ms,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self.status = TankStatus(saved["status"])
        self.since_ms, self.by, self.reason = saved["since"], saved["by"], saved["reason"]
        self.countdown = None if saved["countdown"] is None else Countdown(**saved["countdown"])
        self.release = None if saved["release"] is None else release_of(saved["release"])
        self.flow_in, self.flow_out = tuple(saved["in"]), tuple(saved["out"])
        self._in_level_m, self._left_ms, self._before = saved["in_level"], saved["left"], saved["before"]
        self._seen_ms, self._seen_time_ms = saved["seen"], saved["seen_time"]
        self._down_ms = saved["down"]
        self._restored = self._seen_ms is not None


def _sure(seen: Seen) -> bool:
    """Something beside the gauge tells of a flow, so that it was one."""
    return any(word != GAUGE for word in (*seen.flow_in, *seen.flow_out))


def _words(evidence: tuple[str, ...]) -> str:
    return f"told by {', '.join(evidence)}"
