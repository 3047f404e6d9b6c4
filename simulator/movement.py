"""One movement of liquid: a slow start, a ramp, full flow, the stop, and what drains back out of the line.

Knows flow against its own time; refuses to know tanks. It is told when to stop, and says how much moved in each step.
"""

import math
from enum import Enum
from typing import Final

SLOW_START_S: Final = 45.0
SLOW_FRAC: Final = 0.3
RAMP_S: Final = 12.0
STOP_S: Final = 5.0
DRAIN_S: Final = 25.0
"""Time constant of the drain-back. All five are invented; that a receipt starts slowly is the trade's custom (static
electricity; API RP 2003, from memory)."""


class Stage(Enum):
    RUNNING = "running"
    STOPPING = "stopping"
    DRAINING = "draining"
    DONE = "done"


class Movement:
    """Flow in m3/s, always positive; `drained` goes back into the tank(s) that take in, or into the source."""

    __slots__ = ("_drain_m3", "_full_m3ps", "_limit_m3", "_slow", "_t_s", "flow_m3ps", "moved_m3", "stage")

    def __init__(
        self,
        full_m3ps: float,
        *,
        limit_m3: float | None = None,
        slow_start: bool = False,
        drain_back_m3: float = 0.0,
        under_way: bool = False,
    ) -> None:
        self._full_m3ps = full_m3ps
        self._limit_m3 = limit_m3
        self._slow = slow_start
        self._drain_m3 = drain_back_m3
        self._t_s = SLOW_START_S + RAMP_S if under_way else 0.0
        self.flow_m3ps = full_m3ps if under_way else 0.0
        self.moved_m3 = 0.0
        self.stage = Stage.RUNNING

    def stop(self) -> None:
        """Begin to close; the flow is 0 after `STOP_S`."""
        if self.stage is Stage.RUNNING:
            self.stage = Stage.STOPPING

    def step(self, dt_s: float) -> float:
        """Move on; gives the volume that went through the pump in this step, in m3 (0 while draining)."""
        if self.stage in (Stage.DRAINING, Stage.DONE):
            self.flow_m3ps = 0.0
            return 0.0
        before = self.flow_m3ps
        self._t_s += dt_s
        if self.stage is Stage.STOPPING:
            self.flow_m3ps = max(0.0, before - self._full_m3ps * dt_s / STOP_S)
        else:
            self.flow_m3ps = self._full_m3ps * self._opening()
        moved = (before + self.flow_m3ps) / 2 * dt_s
        self.moved_m3 += moved
        coasting = self.flow_m3ps * STOP_S / 2
        if self._limit_m3 is not None and self.moved_m3 + coasting >= self._limit_m3:
            self.stop()
        if self.stage is Stage.STOPPING and self.flow_m3ps == 0:
            self._t_s = 0.0
            self.stage = Stage.DRAINING
        return moved

    def _opening(self) -> float:
        if not self._slow:
            return min(1.0, self._t_s / RAMP_S)
        if self._t_s <= SLOW_START_S:
            return SLOW_FRAC * min(1.0, self._t_s / RAMP_S)
        return min(1.0, SLOW_FRAC + (1 - SLOW_FRAC) * (self._t_s - SLOW_START_S) / RAMP_S)

    def drain(self, dt_s: float) -> float:
        """Volume that runs back into the tank in this step, in m3; call it once a step."""
        if self.stage is not Stage.DRAINING:
            return 0.0
        before = self._t_s
        self._t_s += dt_s
        back = self._drain_m3 * (math.exp(-before / DRAIN_S) - math.exp(-self._t_s / DRAIN_S))
        if self._t_s > 8 * DRAIN_S:
            self.stage = Stage.DONE
        return back
