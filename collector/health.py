"""What the collector counts of itself: plain numbers for pages, `status` and metrics."""

from dataclasses import dataclass, field, replace

from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample


@dataclass(slots=True)
class InstrumentHealth:
    """One instrument since the start. Each poll counts once, by its outcome.

    missed_ticks: ticks that went by because the line was busy. latency_ms: real time of the last poll that brought
    values. last_good_ms: site time of it. failure: what went wrong in the last poll, "" when nothing did.
    """

    unit: int
    polls: int = 0
    ok: int = 0
    no_answer: int = 0
    wrong_reply: int = 0
    exceptions: dict[int, int] = field(default_factory=dict)
    missed_ticks: int = 0
    failures_in_a_row: int = 0
    latency_ms: float | None = None
    last_good_ms: int | None = None
    failure: str = ""

    def count(self, sample: Sample, exception_code: int, failure: str, latency_ms: float) -> None:
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
            self.latency_ms = latency_ms
            self.last_good_ms = sample.time_ms
            self.failures_in_a_row = 0
        else:
            self.failures_in_a_row += 1


@dataclass(slots=True)
class BusHealth:
    """One bus since the start. `requests` were sent; `connects` worked, `refused` did not; `fault`: why it is down."""

    connected: bool = False
    connects: int = 0
    refused: int = 0
    requests: int = 0
    fault: str = ""
    instruments: dict[str, InstrumentHealth] = field(default_factory=dict)

    def copy(self) -> "BusHealth":
        """A snapshot that does not change any more."""
        instruments = {k: replace(h, exceptions=dict(h.exceptions)) for k, h in self.instruments.items()}
        return replace(self, instruments=instruments)
