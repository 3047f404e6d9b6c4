"""The fault trace: the raw samples around each fault, picked out of what was heard before anybody knew of it.

Knows a short memory of every instrument's samples and which of them belong to a fault: all from before its start to
some time after it, then ever sparser ones until its end. Refuses to know where they are kept; what is to be kept is
handed out by `take`, and the caller writes it together with the decision.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from alerts.faults import DECLARED, ENDED, FaultChange
from alerts.heard import Heard, Memory
from alerts.spec import LoopFacts
from alerts.watchtime import DAY_MS
from models.reading import Instant, Sample

MOST_A_DAY: Final = 20_000
"""Samples of one instrument that are kept on one day of the clock (UTC) at full rate. A terminal that flaps all day has
told its story by then; of each further fault of that day only its own first samples and the sparse ones are kept."""

SPARSE_PART: Final = 500
"""While a fault goes on for long, samples are at least so small a part of its age apart: a year makes some thousand."""


class TraceSpec(NamedTuple):
    """before_ms, after_ms: how long before and after a fault's start every sample is kept; sparse_ms: how far apart
    samples are from then on at the least."""

    before_ms: int = 120_000
    after_ms: int = 120_000
    sparse_ms: int = 60_000


class TraceRow(NamedTuple):
    """A sample that belongs to the fault `number` of its instrument, with what the site's points said then."""

    number: int
    sample: Sample
    around: Mapping[str, float]


class ToKeep(NamedTuple):
    """begun: faults whose trace begins with these rows, by instrument and number; rows in the order of time."""

    begun: Collection[tuple[str, int]]
    rows: Sequence[TraceRow]


class _Open:
    """A trace under way, on the core's own clock."""

    __slots__ = ("all_until_ms", "ended", "last_ms", "start_ms")

    def __init__(self, start_ms: int, all_until_ms: int, last_ms: int, ended: bool = False) -> None:
        self.start_ms = start_ms
        self.all_until_ms = all_until_ms
        self.last_ms = last_ms
        self.ended = ended

    def wants(self, elapsed_ms: int, sparse_ms: int) -> bool:
        if elapsed_ms <= self.all_until_ms:
            return True
        apart_ms = max(sparse_ms, (elapsed_ms - self.start_ms) // SPARSE_PART)
        return not self.ended and elapsed_ms - self.last_ms >= apart_ms


class FaultTraces:
    """loops: the site's instruments. A room of the core: traces under way outlive a restart, the memory does not."""

    def __init__(self, loops: Sequence[LoopFacts], spec: TraceSpec = TraceSpec()) -> None:  # noqa: B008 (immutable)
        self._spec = spec
        # A flat stretch is told long after its start: the memory must reach back over it.
        self._memory = {
            loop.instrument: Memory(loop.instrument, spec.before_ms + 2 * loop.frozen_after_ms) for loop in loops
        }
        self._open: dict[str, dict[int, _Open]] = {}
        self._begun: list[tuple[str, int]] = []
        self._rows: list[TraceRow] = []
        self._spent: dict[str, tuple[int, int]] = {}
        self._dirty: set[str] = set()

    def hear(self, heard: Heard) -> None:
        """One sample, in the order of time. Samples of strangers pass by."""
        instrument = heard.sample.instrument
        memory = self._memory.get(instrument)
        if memory is None:
            return
        memory.append(heard)
        traces = self._open.get(instrument)
        if not traces:
            return
        for number, trace in list(traces.items()):
            if trace.wants(heard.elapsed_ms, self._spec.sparse_ms):
                trace.last_ms = heard.elapsed_ms
                self._keep(number, heard)
            elif trace.ended:
                del traces[number]
                self._dirty.add(instrument)

    def tell(self, now: Instant, changes: Sequence[FaultChange]) -> None:
        """What became known of faults at this tick, after its samples were heard."""
        for change in changes:
            fault = change.fault
            if change.change == DECLARED:
                self._begin(now, fault.instrument, fault.number, fault.start_ms)
            elif change.change == ENDED:
                self._end(now, fault.instrument, fault.number, fault.end_ms)

    def _begin(self, now: Instant, instrument: str, number: int, start_ms: int) -> None:
        frugal = self._kept_on(instrument, now.time_ms) >= MOST_A_DAY
        heard = list(self.since(instrument, start_ms, 0 if frugal else self._spec.before_ms))
        first_ms = self._start_elapsed(instrument, start_ms, now)
        last_ms = heard[-1].elapsed_ms if heard else now.elapsed_ms
        self._begun.append((instrument, number))
        for one in heard:
            self._keep(number, one)
        everything_until = max(first_ms + (0 if frugal else self._spec.after_ms), now.elapsed_ms)
        self._open.setdefault(instrument, {})[number] = _Open(first_ms, everything_until, last_ms)
        self._dirty.add(instrument)

    def _end(self, now: Instant, instrument: str, number: int, end_ms: int | None) -> None:
        """The clean samples that the end was judged by belong to it as well, and so does the time after a short one."""
        trace = self._open.get(instrument, {}).get(number)
        if trace is None:
            return
        trace.ended = True
        if now.elapsed_ms > trace.all_until_ms:
            del self._open[instrument][number]
        for heard in self._memory[instrument].since(trace.last_ms + 1):
            if end_ms is not None and heard.sample.time_ms >= end_ms:
                self._keep(number, heard)
        self._dirty.add(instrument)

    def _keep(self, number: int, heard: Heard) -> None:
        sample = heard.sample
        self._rows.append(TraceRow(number, sample, heard.around))
        kept = self._kept_on(sample.instrument, sample.time_ms)
        self._spent[sample.instrument] = (sample.time_ms // DAY_MS, kept + 1)

    def _kept_on(self, instrument: str, time_ms: int) -> int:
        day, kept = self._spent.get(instrument, (0, 0))
        return kept if day == time_ms // DAY_MS else 0

    def since(self, instrument: str, start_ms: int, before_ms: int) -> Iterator[Heard]:
        """What is remembered from `before_ms` before the sample of a time on; everything where that one is gone."""
        memory = self._memory.get(instrument)
        if memory is not None:
            first_ms = memory.elapsed_at(start_ms)
            yield from memory.since(None if first_ms is None else first_ms - before_ms)

    def before(self, instrument: str, start_ms: int, before_ms: int) -> list[Heard]:
        """What is remembered of the time before the sample of a time, that one not among it."""
        out: list[Heard] = []
        for heard in self.since(instrument, start_ms, before_ms):
            if heard.sample.time_ms == start_ms:
                break
            out.append(heard)
        return out

    def _start_elapsed(self, instrument: str, start_ms: int, now: Instant) -> int:
        memory = self._memory.get(instrument)
        first_ms = None if memory is None else memory.elapsed_at(start_ms)
        return now.elapsed_ms if first_ms is None else first_ms

    def take(self) -> ToKeep:
        """What is to be kept since this was last asked."""
        kept = ToKeep(self._begun, self._rows)
        self._begun, self._rows = [], []
        return kept

    def save(self, changed_only: bool) -> dict[str, Any]:
        """Traces under way by instrument, None where there is none any more."""
        return self.save_some(sorted(self._dirty) if changed_only else self.keys())

    def keys(self) -> Sequence[str]:
        """The keys of a full save; what ended is told as a change only."""
        return sorted(name for name, open_ in self._open.items() if open_)

    def save_some(self, keys: Iterable[str]) -> dict[str, Any]:
        """Of these keys alone what a full save gives."""
        saved: dict[str, Any] = {}
        for name in keys:
            traces = self._open.get(name) or {}
            saved[name] = {
                str(number): [trace.start_ms, trace.all_until_ms, trace.last_ms, trace.ended]
                for number, trace in traces.items()
            } or None
        self._dirty -= saved.keys()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        """Take up traces that were under way. Those of instruments that are gone are left alone."""
        for name, traces in saved.items():
            if name in self._memory:
                self._open[name] = {int(number): _Open(*times) for number, times in traces.items()}
