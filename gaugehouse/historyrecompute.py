"""`gaugehouse history recompute`: what history would be by the tank model in force, beside the figures that are kept.

Changes nothing: both figures go into one CSV, each with the version of the model that it comes from.
"""

from argparse import Namespace
from pathlib import Path
from typing import Final

import numpy as np

from gaugehouse.days import iso_ms
from gaugehouse.deriving import SiteModels
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.looking import sources_of, span_of
from gaugehouse.printing import as_json
from gaugehouse.progress import progress
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_readings
from history.block import FACTOR, Deriver, measured_of, scaled_all
from history.modelled import Modelled
from models.reading import QUANTITY

DAY_MS: Final = 86_400_000
FIGURES: Final = ("tov_m3", "gov_m3", "gsv_m3", "mass_kg", "volume_percent", "level_percent", "ullage_m")
"""What follows from a level by a tank's model."""
COLUMNS: Final = (
    "time", "tank", "level_m", "temperature_degC", "model_kept", "model_now",
    *(f"{name}_{which}" for name in FIGURES for which in ("kept", "now")),
)  # fmt: skip


def recompute(args: Namespace) -> int:
    """0 when the file is whole and in its place."""
    site, path = load_site(Path(args.site)), Path(args.out)
    sources_of(site, args.tank)
    start, end = span_of(args, site)
    if path.exists():
        raise CallError(f"{path}: is there already; remove it or give another name")
    part, models = path.with_name(path.name + ".part"), SiteModels(site)
    count = changed = 0
    with look_into_readings(site) as store:
        known = {tank.id for tank in site.tanks}
        found = [one for one in store.sizes().tanks if one.tank in known and args.tank in (None, one.tank)]
        start_ms = max(min((one.oldest_ms for one in found), default=0), 0 if start is None else start)
        newest = max((one.newest_ms + 1 for one in found), default=0)
        end_ms = newest if end is None else min(newest, end)
        try:
            with (
                part.open("w", encoding="utf-8", newline="\n") as out,
                progress("recompute", max(1, end_ms - start_ms)) as step,
            ):
                out.write(",".join(COLUMNS) + "\n")
                for day_ms in range(start_ms // DAY_MS * DAY_MS, end_ms, DAY_MS):
                    first, last = max(start_ms, day_ms), min(end_ms, day_ms + DAY_MS)
                    for one in found:
                        deriver = models.current(one.tank)
                        assert deriver is not None
                        for stretch in store.modelled(one.tank, first, last):
                            lines, moved = _lines(one.tank, stretch, deriver)
                            out.write(lines)
                            count += len(stretch.columns)
                            changed += moved
                    step(last - first)
            part.replace(path)
        except OSError as error:
            raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
        finally:
            part.unlink(missing_ok=True)
    if args.json:
        print(as_json({"file": str(path), "readings": count, "changed": changed}))
    else:
        print(f"{path}: {count} readings, {changed} of them with another figure by the models in force")
    return 0


def _lines(tank: str, stretch: Modelled, deriver: Deriver) -> tuple[str, int]:
    """The rows of a stretch, and in how many of them a figure is another one now."""
    columns = stretch.columns
    if not len(columns):
        return "", 0
    derived = deriver.derive(measured_of(columns), FIGURES)
    cells = [[iso_ms(ms) for ms in columns.time_ms.tolist()], [tank] * len(columns)]
    for name in ("level_m", "temperature_degC"):
        cells.append(_texts(name, columns.figures[name].values, columns.figures[name].known))
    cells += [[version] * len(columns) for version in (stretch.version, deriver.version)]
    moved = np.zeros(len(columns), np.bool_)
    for name in FIGURES:
        kept = columns.figures[name]
        cells.append(_texts(name, kept.values, kept.known))
        values = derived.get(name)
        if values is None:  # this model has no array form of it
            cells.append([""] * len(columns))
            continue
        known = np.isfinite(values) & kept.known
        now = scaled_all(name, values)
        moved |= known & (now != kept.values)
        cells.append(_texts(name, now, known))
    return "".join(",".join(row) + "\n" for row in zip(*cells, strict=True)), int(moved.sum())


def _texts(name: str, values: np.ndarray, known: np.ndarray) -> list[str]:
    fixed = f"%.{QUANTITY[name].decimals}f"
    pairs = zip((values / FACTOR[name]).tolist(), known.tolist(), strict=True)
    return [fixed % value if told else "" for value, told in pairs]
