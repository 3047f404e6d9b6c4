"""What the site's meters say of its tanks: how much flows in (positive) or out of each, as far as meters tell it.

Knows flow meters and totalisers and which tank they speak of; refuses to know levels. A flow that no meter sees is not
in it, so that it can only say that a level must move, never how far.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from gaugehouse.site import MeterSpec

LEAST_M3PS: Final = 1e-4
"""6 L/min: less is a meter's own unrest (our choice)."""

TOTAL_EVERY_MS: Final = 10_000
"""How long a totaliser counts before a flow is made of it."""


class MeterFlows:
    """meters: those of the site that say which tank they fill or draw from."""

    def __init__(self, meters: Sequence[MeterSpec]) -> None:
        self.meters = [meter for meter in meters if meter.fills or meter.draws_from]
        self._total: dict[str, tuple[int, float]] = {}
        self._flow: dict[str, float] = {}

    def take(self, elapsed_ms: int, values: Mapping[str, float | None]) -> dict[str, float]:
        """m3/s into each tank (negative: out of it) by the newest values, in m3 or m3/s; still tanks are not there."""
        sums: dict[str, float] = {}
        for meter in self.meters:
            flow = self._flow_of(meter, elapsed_ms, values.get(meter.id))
            if flow >= LEAST_M3PS:
                for tank, sign in ((meter.fills, 1), (meter.draws_from, -1)):
                    if tank is not None:
                        sums[tank] = sums.get(tank, 0.0) + sign * flow
        return {tank: flow for tank, flow in sums.items() if abs(flow) >= LEAST_M3PS}

    def running(self, elapsed_ms: int, values: Mapping[str, float | None]) -> set[str]:
        """Ids of the meters that something flows through by the newest values, in m3 or m3/s."""
        return {m.id for m in self.meters if self._flow_of(m, elapsed_ms, values.get(m.id)) >= LEAST_M3PS}

    def _flow_of(self, meter: MeterSpec, elapsed_ms: int, value: float | None) -> float:
        """A meter that is not read tells of no flow; one that turned over or was reset neither, for once."""
        if value is None:
            self._total.pop(meter.id, None)
            self._flow.pop(meter.id, None)
            return 0.0
        if meter.kind == "flow":
            return meter.factor * value
        since_ms, before = self._total.setdefault(meter.id, (elapsed_ms, value))
        if elapsed_ms - since_ms >= TOTAL_EVERY_MS:
            self._flow[meter.id] = max(0.0, meter.factor * (value - before) * 1000 / (elapsed_ms - since_ms))
            self._total[meter.id] = (elapsed_ms, value)
        return self._flow.get(meter.id, 0.0)
