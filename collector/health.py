"""What the collector counts of itself: plain numbers for pages, `status` and metrics.

Times of answers and time-outs are real ones, whatever the speed of the site; `last_good_ms` is the site's.
"""

from bisect import bisect_left
from dataclasses import dataclass, field, replace
from typing import Final

from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample

LATE_MS: Final = (10, 25, 50, 100, 250, 1000, 5000)
"""Bounds of the places into which the lateness of polls is counted."""


@dataclass(slots=True)
class InstrumentHealth:
    """One instrument since the start. Each poll counts once, by its outcome.

    missed_ticks: ticks that went by because the line was busy; spared_ticks: left out because it had failed too often.
    Each tick was polled, missed or spared. last_good_ms: site time of the last poll that brought values. failure: what
    went wrong in the last poll, "" when nothing did. latency_ms: what the last answer took, from its request's leaving;
    latency_p50_ms and latency_p95_ms: half and 95 % of the last 128 took no longer. timeout_ms: how long the next
    answer is waited for.
    """

    unit: int
    polls: int = 0
    ok: int = 0
    no_answer: int = 0
    wrong_reply: int = 0
    exceptions: dict[int, int] = field(default_factory=dict)
    missed_ticks: int = 0
    spared_ticks: int = 0
    failures_in_a_row: int = 0
    last_good_ms: int | None = None
    failure: str = ""
    latency_ms: float | None = None
    latency_p50_ms: float | None = None
    latency_p95_ms: float | None = None
    timeout_ms: float | None = None

    def count(self, sample: Sample, exception_code: int, failure: str) -> None:
        """Add one poll."""
        self.polls += 1
        self.failure = failure
        if sample.outcome == OK:
            self.ok += 1
        elif sample.outcome == TIMEOUT:
            self.no_answer += 1
        elif sample.outcome == WRONG_REPLY:
            self.wrong_reply += 1
        else:
            self.exceptions[exception_code] = self.exceptions.get(exception_code, 0) + 1
        if sample.answered:
            self.last_good_ms = sample.time_ms
            self.failures_in_a_row = 0
        else:
            self.failures_in_a_row += 1


@dataclass(slots=True)
class BusHealth:
    """One bus since the start. `requests` were sent; `connects` worked, `refused` did not; `fault`: why it is down.

    utilisation: share of the last minute (0 to 1) in which the line was taken: by requests and their answers, by
    waiting, and by the silence after a failure. strays: whole replies that came when nobody had asked. echoes: the
    adapter gives our own requests back. polls: all that ended, whatever came of them. late: how many of them began
    no later than each of `LATE_MS` after their tick, and one place for what began later still; late_sum_ms: of all.
    """

    connected: bool = False
    connects: int = 0
    refused: int = 0
    requests: int = 0
    fault: str = ""
    utilisation: float | None = None
    strays: int = 0
    echoes: bool = False
    polls: int = 0
    late: list[int] = field(default_factory=lambda: [0] * (len(LATE_MS) + 1))
    late_sum_ms: int = 0
    instruments: dict[str, InstrumentHealth] = field(default_factory=dict)

    def began(self, late_ms: int) -> None:
        """A poll began so long after its tick, in ms of site time."""
        self.late[bisect_left(LATE_MS, late_ms)] += 1
        self.late_sum_ms += late_ms

    @property
    def errors(self) -> dict[str, int]:
        """Failed polls of all instruments, by outcome: "timeout", "wrong-reply", "exception-02", ..."""
        found = {TIMEOUT: 0, WRONG_REPLY: 0}
        for health in self.instruments.values():
            found[TIMEOUT] += health.no_answer
            found[WRONG_REPLY] += health.wrong_reply
            for code, times in sorted(health.exceptions.items()):
                word = f"exception-{code:02X}"
                found[word] = found.get(word, 0) + times
        return found

    def copy(self) -> "BusHealth":
        """A snapshot that does not change any more."""
        instruments = {k: replace(h, exceptions=dict(h.exceptions)) for k, h in self.instruments.items()}
        return replace(self, instruments=instruments, late=list(self.late))
