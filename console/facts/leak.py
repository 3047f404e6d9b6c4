"""Leak tests of quiet tanks."""

from typing import Protocol

from console.facts.answers import Json, PaperSize


class LeakFacts(Protocol):
    """Leak tests."""

    def leak_tanks(self) -> list[str]:
        """The tanks that the site names for leak tests, in the site file's order; may be none."""
        ...

    async def leak(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        """The leak test of a known tank over a time, None: over the newest quiet hours of two weeks.

        ``{tank, product, verdict, from, to, hours, loss_m3_per_h, u_m3_per_h, free, threshold_m3_per_h,
        detectable_m3_per_h, smallest_m3_per_h, claim_at_most_m3_per_h, averaging, terms, refusals, fit}``. verdict:
        "no_loss_seen", "loss", "gain", "cannot_tell" or "refused". `loss` is positive for a fall; `smallest` None where
        no test of this tank could ever claim anything. A term: ``{name, m3_per_h}``; a refusal: ``{why, has, needs}``;
        `fit`: ``{correlation, free, residual_m3, hours[], gsv_m3[], line_m3[], wave_m3[]}`` or None.
        """
        ...

    def leak_suspected(self, tank: str) -> Json | None:
        """The signed test that found a loss of a known tank, while it stands: `loss_m3_per_h`, `threshold_m3_per_h`,
        `from`, `to`, `by`, `signed`."""
        ...

    async def leak_tests(self, tank: str | None) -> list[Json]:
        """Signed leak tests, newest first: the keys of `leak` and `number`, `by`, `comment`, `signed`, `head`,
        `simulated`."""
        ...

    async def leak_paper(self, number: int, size: PaperSize) -> bytes | None:
        """A signed leak test as PDF; None where there is none of that number."""
        ...
