"""What the tanks are ready for, and what is in them."""

from typing import Protocol

from console.facts.answers import Json


class StatusFacts(Protocol):
    """Status and batches of the tanks."""

    def tank_status(self) -> list[Json]:
        """What each tank is ready for, in the site file's order; empty where the site keeps no status.

        Each ``{tank, status, since, by, reason, flow_in, flow_out, may_issue, settling, release, rule, source}``.
        `flow_in` and `flow_out`: what tells of a flow, in words. `settling` (None without a countdown): ``{need_s,
        counted_s, left_s, until, since, held, restarts, depth_m, blind_s, blind_counts, down_s, down_counts, rule,
        source}``, `until` None while it is held or over. `release` or None: ``{by, time, appearance, water_test,
        density_kg_m3, conductivity_pS_m, certificate, early, comment, settling, not_done}``.
        """
        ...

    async def status_rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """What became of the status in from <= t < to, newest first: ``{tank, event, from, to, why, by, time, settling,
        release}``."""
        ...

    async def batches(self, tank: str | None) -> list[Json]:
        """Which receipts make up what is in each tank (or one); empty where the site keeps no status.

        Each ``{tank, mixing, model, content_m3, lack_m3, batches, release, recertify_due, recertify_overdue,
        recertify_source}``; a batch ``{batch, certificate, document, since, age_days, volume_m3, share_percent,
        origin, via}``, oldest first; via: the tank that it was handed over from.
        """
        ...
