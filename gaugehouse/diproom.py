"""Dips and density samples of the site's tanks: a room of the core that keeps the newest ones of each tank.

Knows which dip is a tank's water now and which sample its density; all that were ever taken are in the record book. No
I/O, no clock: a dip's age is told by the site's clock, as it goes on while the daemon does not run.
"""

from collections.abc import Mapping
from typing import Any, Final

from inventory.dips import (
    DensitySample,
    Dip,
    DipRules,
    Due,
    dip_from,
    dip_json,
    next_due,
    sample_from,
    sample_json,
)
from models.gauging import NOTHING, Extra

KEPT: Final = 24
"""Of each tank so many dips and samples are at hand: enough to fall back on when the newest ones are withdrawn."""

COUNTS: Final = "#counts"
"""A key that no tank can have."""


class DipRoom:
    """A Room of the core. water_tanks: those whose water is known from dips alone."""

    def __init__(self, rules: DipRules, water_tanks: frozenset[str]) -> None:
        self.rules = rules
        self._water_tanks = water_tanks
        self._dips: dict[str, list[Dip]] = {}
        self._samples: dict[str, list[DensitySample]] = {}
        self._counts = {"dip": 0, "sample": 0}
        self._dirty: set[str] = set()

    def next_number(self, kind: str) -> int:
        """The number of the next dip ("dip") or density sample ("sample")."""
        self._counts[kind] += 1
        self._dirty.add(COUNTS)
        return self._counts[kind]

    def dips(self, tank: str) -> list[Dip]:
        """The newest dips of a tank, oldest first."""
        return list(self._dips.get(tank, ()))

    def samples(self, tank: str) -> list[DensitySample]:
        """The newest density samples of a tank, accepted or not, oldest first."""
        return list(self._samples.get(tank, ()))

    def add(self, dip: Dip) -> None:
        kept = [*self._dips.get(dip.tank, ()), dip]
        kept.sort(key=lambda one: (one.time_ms, one.number))
        self._dips[dip.tank] = kept[-KEPT:]
        self._dirty.add(dip.tank)

    def add_sample(self, sample: DensitySample) -> None:
        kept = [*self._samples.get(sample.tank, ()), sample]
        kept.sort(key=lambda one: (one.time_ms, one.number))
        self._samples[sample.tank] = kept[-KEPT:]
        self._dirty.add(sample.tank)

    def withdraw(self, kind: str, number: int) -> Dip | DensitySample | None:
        """Take one away; None where none of that number is at hand."""
        held: Mapping[str, list[Any]] = self._dips if kind == "dip" else self._samples
        for tank, kept in held.items():
            for one in kept:
                if one.number == number:
                    kept.remove(one)
                    self._dirty.add(tank)
                    found: Dip | DensitySample = one
                    return found
        return None

    def latest(self, tank: str) -> Dip | None:
        """The newest dip of the level."""
        return next((dip for dip in reversed(self._dips.get(tank, ())) if dip.level_m is not None), None)

    def latest_water(self, tank: str) -> Dip | None:
        """The newest dip that found out about water, be it that there is none."""
        return next((dip for dip in reversed(self._dips.get(tank, ())) if dip.water_m is not None), None)

    def latest_density(self, tank: str) -> DensitySample | None:
        """The newest accepted sample."""
        return next((sample for sample in reversed(self._samples.get(tank, ())) if sample.accepted), None)

    def water(self, tank: str, now_ms: int) -> Extra:
        """The water of a tank by dips, for its next reading: missing when there is none that is young enough."""
        dip = self.latest_water(tank)
        if dip is None:
            return NOTHING
        age_ms = max(0, now_ms - dip.time_ms)
        return Extra(dip.water_m if age_ms <= self.rules.water_max_age_ms else None, age_ms)

    def next_due(self, tank: str) -> Due:
        """When the tank is to be dipped next, and what for."""
        level, water = self.latest(tank), self.latest_water(tank)
        return next_due(
            None if level is None else level.time_ms,
            None if water is None else water.time_ms,
            self.rules,
            water_from_dips=tank in self._water_tanks,
        )

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = set(self._dirty) if changed_only else {COUNTS, *self._dips, *self._samples}
        if changed_only:
            self._dirty.clear()
        return {name: dict(self._counts) if name == COUNTS else self._saved(name) for name in sorted(names)}

    def _saved(self, tank: str) -> dict[str, Any]:
        return {
            "dips": [dip_json(dip) for dip in self._dips.get(tank, ())],
            "samples": [sample_json(sample) for sample in self._samples.get(tank, ())],
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if name == COUNTS:
                self._counts |= state
            else:
                self._dips[name] = [dip_from(one) for one in state["dips"]]
                self._samples[name] = [sample_from(one) for one in state["samples"]]
