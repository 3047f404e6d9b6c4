"""Receipts, from their plan to their decision."""

from typing import Protocol

from console.facts.answers import Json, PaperSize


class ReceiptFacts(Protocol):
    """Receipts."""

    async def receipts(self) -> list[Json]:
        """Receipts, each as `receipt` tells it: those that are open, then the newest 200 that are over."""
        ...

    async def receipt(self, number: int) -> Json | None:
        """One receipt as it is now, or as it was decided; None where there is none.

        ``{number, tank, tank_name, product, product_name, stage, phase, by, made, paper: {observed_m3, standard_m3,
        temperature_degC, density_15_kgpm3, note, batch, certificate, vehicle, owner}, rate_m3_per_h, sender, stops,
        checks: [{what, done, by, time, found}], sample, forecast, started, started_by, start_note, begun, opening,
        closing, progress, prompt: {state, due, done, missed}, line, reconciliation | None, why_not, notes, limits,
        reference_degC, edition, decision | None, caution}``. `stage`: "planned", "started", "accepted", "accepted with
        protest", "rejected", "called off"; `phase` of a started one: "awaits flow", "receiving", "settling", "calm",
        "not seen". One that is over has `decided_by`, `comment`, `time`, `head` and `simulated` beside that.
        """
        ...

    async def receipt_paper(self, number: int, size: PaperSize) -> bytes | None:
        """The receipt record of one that is over, as PDF; None where there is none."""
        ...
