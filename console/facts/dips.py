"""What the console asks of dips and density samples: a part of `console.facts.Facts`, see there for the conventions."""

from typing import Protocol

from console.facts.answers import Json


class DipFacts(Protocol):
    """Dips and samples of the site's tanks."""

    async def rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Dips with from <= time < to that count, newest first: the fields of a dip, `time`, `entered`, `gauge_m`,
        `difference_m` (gauge less dip), `difference_u95_m`, `within`, `explained`; None where nobody knows."""
        ...

    async def samples(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Density samples with from <= time < to that count, newest first."""
        ...

    async def trend(self, tank: str) -> Json:
        """A known tank's gauge against its dips since it was last set: ``{tank, dips, limit_m, limit_source, split,
        split_refused, drift, verified, check: [{what, words}], due, due_for}``."""
        ...

    def state(self, tank: str) -> Json:
        """What is known of a tank by hand now: ``{level, water, water_from_dips, sample, base_kgpm3, due, due_for,
        overdue, wait_s, flows, watched}``. level: ``{number, time, level_m, by, difference_m, within}`` or None; water:
        ``{number, time, water_m, age_s, fresh}`` or None; sample: ``{number, time, base_kgpm3, base_degC, by}`` or
        None; wait_s: what is left of the relaxation time."""
        ...

    def verdict(self, fields: Json) -> Json:
        """What the act `add_dip` would say to these fields now; nothing is written: ``{refused, repeated, level_m,
        gauge_m, difference_m, difference_u95_m, within, wait_s, flows, notes}``."""
        ...
