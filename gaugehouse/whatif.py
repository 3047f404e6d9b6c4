"""`gaugehouse whatif`: the same past under other alarm sheets, side by side with the site's own.

The past is a recording of samples (every condition is judged again, through the same core as the daemon), or the kept
readings (the level and rate limits of tanks only). As if nobody had acknowledged, shelved or reset anything.
"""

from argparse import Namespace
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from alerts.alarm import Transition
from alerts.comparison import Compared, Stretch, side_by_side, stretches
from alerts.engine import AlarmEngine
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.looking import span_of
from gaugehouse.pastfacts import past_ticks
from gaugehouse.printing import as_json, table
from gaugehouse.recording import read_samples
from gaugehouse.replay import ticks
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_readings
from gaugehouse.wiring import core_of_recording

MOST_SHOWN: Final = 20
NO_END_MS: Final = 2**62


def whatif(args: Namespace) -> int:
    """0 when every sheet was tried; what each would have raised and missed is on stdout."""
    path = Path(args.site)
    own = load_site(path)
    others = [load_site(path, sheet=Path(sheet)) for sheet in args.sheet]
    if args.samples is not None and (args.start or args.end):
        raise CallError("--from and --to choose from kept readings; a recording is taken whole")
    past = [_of(site, args) for site in (own, *others)]
    rows = list(_rows(args.sheet, side_by_side(past[0], past[1:])))
    if args.json:
        print(as_json(rows))
    else:
        print("\n".join(_text(args, rows)))
    return 0


def _of(site: Site, args: Namespace) -> dict[str, list[Stretch]]:
    if args.samples is not None:
        return stretches(recorded(site, Path(args.samples)))
    start, end = span_of(args, site)
    return stretches(kept(site, start or 0, NO_END_MS if end is None else end))


def recorded(site: Site, samples: Path) -> Iterator[Transition]:
    """What the alarms of a site would have done over a recording."""
    core = core_of_recording(site)
    order = {loop.instrument: place for place, loop in enumerate(site.loops)}
    for tick in ticks(read_samples(samples, site.signal_names), order, samples, lambda said: None):
        yield from core.step(tick).transitions
        core.loops.traces.take()


def kept(site: Site, start_ms: int, end_ms: int) -> Iterator[Transition]:
    """What the limits of the tanks would have done over the kept readings with start_ms <= t < end_ms."""
    engine = AlarmEngine(site.tank_alarms, [loop.instrument for loop in site.loops], site.sheet)
    with look_into_readings(site) as store:
        readings = {tank.id: store.read(tank.id, start_ms, end_ms) for tank in site.tanks}
        for tick in past_ticks(site, readings):
            yield from engine.step(tick.at, tick.facts, {})


def _rows(sheets: Sequence[str], found: Mapping[str, tuple[int, list[Compared]]]) -> Iterator[dict[str, Any]]:
    for alarm, (raised, others) in found.items():
        for sheet, other in zip(sheets, others, strict=True):
            yield {
                "alarm": alarm,
                "sheet": sheet,
                "raised_own": raised,
                "raised": other.raised,
                "missed": [_stretch(stretch) for stretch in other.missed],
                "new": [_stretch(stretch) for stretch in other.new],
                "later_s": other.later_s,
            }


def _stretch(stretch: Stretch) -> dict[str, str | None]:
    return {"start": iso_ms(stretch.start_ms), "end": None if stretch.end_ms is None else iso_ms(stretch.end_ms)}


def _text(args: Namespace, rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    source = "kept readings, level and rate limits only" if args.samples is None else f"the recording {args.samples}"
    yield f"From {source}; as if nobody had acknowledged anything."
    if not rows:
        yield "No sheet raises any alarm."
        return
    shown = [
        {
            "alarm": row["alarm"],
            "own sheet": row["raised_own"],
            "with": row["sheet"],
            "raised": row["raised"],
            "missed": len(row["missed"]),
            "new": len(row["new"]),
            "later [s]": None if row["later_s"] is None else f"{row['later_s']:+.1f}",
        }
        for row in rows
    ]
    yield table(tuple(shown[0]), shown)
    for sheet in args.sheet:
        mine = [row for row in rows if row["sheet"] == sheet]
        yield (
            f"{sheet}: {sum(row['raised'] for row in mine)} alarms instead of {sum(r['raised_own'] for r in mine)}, "
            f"{sum(len(row['missed']) for row in mine)} missed, {sum(len(row['new']) for row in mine)} new"
        )
        missed = [(row["alarm"], stretch) for row in mine for stretch in row["missed"]]
        for alarm, stretch in missed[:MOST_SHOWN]:
            yield f"  missed: {alarm} from {stretch['start']} to {stretch['end'] or 'the end'}"
        if len(missed) > MOST_SHOWN:
            yield f"  and {len(missed) - MOST_SHOWN} more; --json has all"
