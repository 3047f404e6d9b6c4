"""The loops: what is fixed, their supply, their faults and their checks."""

from typing import Protocol

from console.facts.answers import Json, PaperSize


class LoopFacts(Protocol):
    """Loops."""

    def loop_facts(self, instrument: str) -> Json:
        """What is fixed for a loop; known ids only.

        ``{instrument, name, tanks, bus, unit, ne43: {fail_low_mA, low_mA, high_mA, fail_high_mA}, covers}``, `bus` in
        words for people, `unit` the address on the bus, `covers` the points that can watch its tanks during a loop
        check: ``{id, name}``.
        """
        ...

    def loop_budget(self, instrument: str) -> list[Json]:
        """The supplies that feed a loop and its output, with all that hangs on them; known ids only, empty for none.

        Each ``{supply, volts_V, least_V, limit_mA, derated_mA, loops_mA, loads: [{name, steady_mA, inrush_mA}],
        load_mA, load_percent, cold_mA, cold_percent, fits, circuits, objections}``; percents are None where the supply
        gives no current. A circuit: ``{circuit, cable_ohm, burden_ohm, loop_ohm, most_ohm, lowest_mA, highest_mA,
        terminal_at_highest_V, spare_at_lowest_V, spare_at_20mA_V, spare_at_highest_V, ceiling_mA, ceiling_by_volts_mA,
        ceiling_by_supply_mA, fail_high}``. An objection: ``{weight, about, what, change}``, weight one of "fault",
        "caution", "note".
        """
        ...

    async def faults(self, instrument: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Loop faults that touch from <= t < to, newest first: faults.csv columns (`end` None = still open).

        Beside them, of each: `blinded` (a list of alarm ids), `around` (point id to value when it was declared),
        `found_by`, `cause`, `part`, `action`, `comment`, `dip_before_m`, `dip_after_m`, `closed_by`, `closed`, `flag`
        ("goes on" | "not closed" | "closed without cause" | ""), `repeats_30d`, `repeats_90d` (same class, this one
        included), and `entries`, oldest first: ``{entry, time, by, close, corrects, ...}`` with what each says.
        """
        ...

    async def fault_trace(self, instrument: str, number: int) -> list[Json]:
        """The raw samples kept around a fault of a known loop, oldest first; empty where none is kept.

        Each ``{time, outcome, current_mA, values, raw, around}``; `values` and `raw` (registers) by signal, `around`
        the values of the site's points at that time by their ids.
        """
        ...

    async def fault_causes(self, instrument: str, number: int) -> Json:
        """Why a known fault of a known loop came: ``{verdict, causes, caution}``, best cause first.

        verdict: "told", "cannot tell apart" or "unknown". A cause: ``{cause, name, best, evidence_for,
        evidence_against, refuted_by}``; several with `best` stand level. No probability is told.
        """
        ...

    async def loop_figures(self, instrument: str) -> list[Json]:
        """A known loop over 30 and over 90 days: ``{instrument, days, faults, watched_h, lost_h, availability_percent,
        mean_time_between_h}``; the last is None from fewer than five faults."""
        ...

    async def check_records(self, instrument: str) -> list[Json]:
        """The loop check records of an instrument, newest first: ``{number, instrument, started, ended, by, how,
        as_found, as_left, passes}``, the last three true, false or None (no verdict)."""
        ...

    async def check_record(self, instrument: str, number: int) -> Json | None:
        """One loop check record, whole; None where the instrument has none of that number."""
        ...

    async def check_paper(self, instrument: str, number: int, size: PaperSize) -> bytes | None:
        """The same as PDF."""
        ...
