"""`gaugehouse history recompute`: what history would be by the tank model in force, beside the figures that are kept.

Changes nothing: both figures go into one CSV, each with the version of the model that it comes from. A density sample
counts for what was read after it was entered, as it did then, unless it was withdrawn since.
"""

import contextlib
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from gaugehouse.days import iso_ms
from gaugehouse.deriving import ModelDeriver, deriver_of
from gaugehouse.diprecords import samples_of
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.looking import sources_of, span_of
from gaugehouse.printing import as_json
from gaugehouse.progress import progress
from gaugehouse.site import Site, load_site
from gaugehouse.stockof import sampled_kgpm3
from gaugehouse.stores import RECORDS, look_into_book, look_into_readings
from history.block import FACTOR, Columns, measured_of, scaled_all
from history.modelled import Modelled
from history.store import Flags, Floats
from inventory.dips import DensitySample
from models.errors import OutOfRange
from models.reading import QUANTITY

DAY_MS: Final = 86_400_000
FIGURES: Final = ("tov_m3", "gov_m3", "gsv_m3", "mass_kg", "volume_percent", "level_percent", "ullage_m")
"""What follows from a level by a tank's model."""
_OF_THE_TABLE: Final = frozenset(FIGURES) - {"level_percent", "ullage_m"}
"""A level off the table has none of these."""
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
    part = path.with_name(path.name + ".part")
    count = changed = 0
    with look_into_readings(site) as store:
        known = {tank.id for tank in site.tanks}
        found = [one for one in store.sizes().tanks if one.tank in known and args.tank in (None, one.tank)]
        start_ms = max(min((one.oldest_ms for one in found), default=0), 0 if start is None else start)
        newest = max((one.newest_ms + 1 for one in found), default=0)
        end_ms = newest if end is None else min(newest, end)
        samples = _samples(site)
        models = {one.tank: _InForce(site, one.tank, samples) for one in found}
        try:
            with (
                part.open("w", encoding="utf-8", newline="\n") as out,
                progress("recompute", max(1, end_ms - start_ms)) as step,
            ):
                out.write(",".join(COLUMNS) + "\n")
                for day_ms in range(start_ms // DAY_MS * DAY_MS, end_ms, DAY_MS):
                    first, last = max(start_ms, day_ms), min(end_ms, day_ms + DAY_MS)
                    for one in found:
                        for stretch in store.modelled(one.tank, first, last):
                            lines, moved = _lines(one.tank, stretch, models[one.tank])
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


def _samples(site: Site) -> list[DensitySample]:
    """The accepted density samples that count, in the order in which they were entered."""
    if not (site.store_path / RECORDS).exists():
        return []
    with look_into_book(site) as book:
        return sorted((one for one in samples_of(book) if one.accepted), key=lambda one: one.entered_ms)


class _InForce:
    """A tank's model in force, with the density that a sample gave it from when on."""

    def __init__(self, site: Site, tank_id: str, samples: Sequence[DensitySample]) -> None:
        tank = site.tank(tank_id)
        plain = deriver_of(site, tank)
        self.version = plain.version
        self._since_ms: list[int] = []
        self._derivers = [plain]
        newest: DensitySample | None = None
        for sample in (one for one in samples if one.tank == tank_id):
            if newest is None or (sample.time_ms, sample.number) > (newest.time_ms, newest.number):
                newest = sample
                with contextlib.suppress(OutOfRange):  # the core leaves such a sample alone, too
                    self._derivers.append(deriver_of(site, tank, sampled_kgpm3(site, tank_id, sample)))
                    self._since_ms.append(sample.entered_ms)

    def derive(self, columns: Columns) -> dict[str, Floats]:
        """The figures by name, NaN where there is none; those that have no array form are left out."""
        out: dict[str, Floats] = {}
        place = np.searchsorted(np.array(self._since_ms, np.int64), columns.time_ms)
        for number in np.unique(place).tolist():
            here = place == number
            for name, values in _derived(self._derivers[number], columns.take(here)).items():
                out.setdefault(name, np.full(len(columns), np.nan))[here] = values
        return out


def _derived(deriver: ModelDeriver, columns: Columns) -> dict[str, Floats]:
    """A deriver takes a level off the table for the table's end: here it is one without a volume."""
    measured, vessel = measured_of(columns), deriver.vessel
    off = ~((measured.level_m >= vessel.least_m) & (measured.level_m <= vessel.most_m))
    derived = deriver.derive(measured, FIGURES)
    return {name: np.where(off, np.nan, some) if name in _OF_THE_TABLE else some for name, some in derived.items()}


def _lines(tank: str, stretch: Modelled, model: _InForce) -> tuple[str, int]:
    """The rows of a stretch, and in how many of them a figure is another one now."""
    columns = stretch.columns
    if not len(columns):
        return "", 0
    derived = model.derive(columns)
    cells = [[iso_ms(ms) for ms in columns.time_ms.tolist()], [tank] * len(columns)]
    for name in ("level_m", "temperature_degC"):
        cells.append(_texts(name, columns.figures[name].values, columns.figures[name].known))
    cells += [[version] * len(columns) for version in (stretch.version, model.version)]
    moved = np.zeros(len(columns), np.bool_)
    for name in FIGURES:
        kept = columns.figures[name]
        cells.append(_texts(name, kept.values, kept.known))
        values = derived.get(name)
        if values is None:  # this model has no array form of it
            cells.append([""] * len(columns))
            continue
        known, now = np.isfinite(values), scaled_all(name, values)
        moved |= (known != kept.known) | (known & (now != kept.values))
        cells.append(_texts(name, now, known))
    return "".join(",".join(row) + "\n" for row in zip(*cells, strict=True)), int(moved.sum())


def _texts(name: str, values: np.ndarray, known: Flags) -> list[str]:
    fixed = f"%.{QUANTITY[name].decimals}f"
    pairs = zip((values / FACTOR[name]).tolist(), known.tolist(), strict=True)
    return [fixed % value if told else "" for value, told in pairs]
