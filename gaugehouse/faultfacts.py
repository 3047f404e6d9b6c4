"""Faults as the console and the commands ask for them beside their rows: figures of each loop, and a fault's trace."""

import io
from collections.abc import Mapping, Sequence
from typing import Any, Final

from alerts.faultfigures import loop_figures
from alerts.shown import current_of
from alerts.spec import LoopFacts
from alerts.watchtime import WatchTime
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.faultrecords import REPEAT_DAYS
from gaugehouse.recording import Recorder
from gaugehouse.site import Site
from history.traces import Traced

Json = dict[str, Any]

FIGURES: Final = ("faults", "watched_h", "lost_h", "availability_percent", "mean_time_between_h")


def watch_of(site: Site, state: Mapping[str, Any]) -> WatchTime:
    """The time watched as the record book holds it; `state`: its keys "watch/INSTRUMENT"."""
    watch = WatchTime(site.period_ms)
    watch.restore({key.partition("/")[2]: value for key, value in state.items()})
    return watch


def figures_of(site: Site, rows: Sequence[Json], watch: WatchTime, now_ms: int) -> list[Json]:
    """Each loop over 30 and over 90 days. rows: all faults, whenever they were."""
    starts: dict[str, list[int]] = {}
    for row in rows:
        starts.setdefault(row["instrument"], []).append(parse_ms(row["start"]))
    out = []
    for loop in site.loops:
        for days in REPEAT_DAYS:
            watched = watch.over(loop.instrument, now_ms, days)
            f = loop_figures(starts.get(loop.instrument, []), watched, now_ms, days)
            percent = None if f.availability is None else 100 * f.availability
            values = (f.faults, f.watched_h, f.lost_h, percent, f.mean_h)
            out.append({"instrument": loop.instrument, "days": days} | dict(zip(FIGURES, values, strict=True)))
    return out


def trace_csv(signals: Sequence[str], trace: Sequence[Traced]) -> str:
    """A trace in the format of a recording: `time,instrument,outcome,<signal>,...`, which `replay` reads."""
    out = io.StringIO()
    names = {trace[0].sample.instrument: tuple(signals)} if trace else {"": tuple(signals)}
    recorder = Recorder(out, names)
    for sample, _ in trace:
        recorder.write([sample], sample.time_ms)
    return out.getvalue()


def trace_json(facts: LoopFacts, trace: Sequence[Traced]) -> list[Json]:
    """A trace for programs: each sample with its values, raw registers, current where it tells one, and the points."""
    return [
        {
            "time": iso_ms(sample.time_ms),
            "outcome": sample.outcome,
            "current_mA": current_of(facts, sample),
            "values": dict(sample.values),
            "raw": {name: list(words) for name, words in sample.raw.items()},
            "around": dict(around),
        }
        for sample, around in trace
    ]
