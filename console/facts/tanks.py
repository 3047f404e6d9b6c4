"""A tank: what is fixed, how its reading came about, its history and movements."""

from typing import Protocol

from console.facts.answers import Json


class TankFacts(Protocol):
    """Single tanks."""

    def tank_facts(self, tank: str) -> Json:
        """What is fixed for a tank; known ids only.

        ``{id, name, product, instrument, reference_height_m, top_m, capacity_m3, range_m: [low, high] | None, reach_m,
        stale_after_s, limits, profile, suction, safe_fill}``. `limits`, highest first: ``{condition, at_m, name,
        volume_m3}`` (level limits only). `profile`: about 60 pairs ``[level_m, litres_per_mm]`` from the bottom to the
        top of the table. A reading older than `stale_after_s` is shown as stale. `suction` ``{level_m, volume_m3}`` and
        `safe_fill` ``{level_m, volume_m3, rule}`` are None where the site names none.
        """
        ...

    def chain(self, tank: str) -> Json:
        """Every step of the newest reading; known ids only.

        ``{tank, time, quality, reason, steps, result}``, a step being ``{symbol, name, value, unit, rule, quality}``
        (value: number, text or None), `result` the readings.csv columns.
        """
        ...

    async def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Json:
        """An envelope of a readings.csv column of a known tank.

        ``{unit, t, min, mean, max, good}``: lists of one length, at most `points`. `t`: start of each stretch, UTC ms;
        None in min, mean and max = a gap; `good`: 0..1, the share of the samples of the stretch that were Good.
        """
        ...

    async def aggregate(self, tank: str, asked: Json) -> Json:
        """A readings.csv column of a known tank over equal intervals, by OPC UA Part 13.

        asked: ``{quantity, aggregate, start_ms, end_ms, interval_ms, stepped, uncertain_is_bad}``. Answers
        ``{unit, start_ms[], value[], status[], good_percent[]}``; raises `ValueError` with what cannot be asked.
        """
        ...

    async def movements(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Movements that touch from <= t < to, newest first: movements.csv columns (`end` and final volumes None
        while one runs) and `revision`, how many entries of the record book there are about it."""
        ...
