"""Is a level flat while a meter says that its tank is moved? Frozen too, though one step may hide its own noise.

Knows the level of one loop, how fast meters say it should move, and time; refuses to know meters and tanks. Two flows
that cancel each other out do not do so to the last millimetre: only a flat level counts, not one that moves too little.
Rule: common practice, no source (a gauge that stood still while its tank was filled).
"""

from collections.abc import Mapping
from typing import Any, Final

from alerts.strands import FROZEN, Spell, Strand, spell_restored, spell_saved

MOVES_M: Final = 0.030
"""A movement counts when it should have changed the level by this much, or by so many steps or deviations:"""

MOVES_STEPS: Final = 10
MOVES_SDS: Final = 40
FLAT_STEPS: Final = 1.01
FLAT_SDS: Final = 10
LEFT_BY: Final = 1.5
"""A declared level has left only when it is out of its band by so much: a long stretch has a wider spread."""

LONGEST_GAP_MS: Final = 60_000
"""Over a longer silence of loop or meter nothing is reckoned."""


class StuckStrand(Strand):
    """A row runs from the first sample of the flat stretch to the first one that left it."""

    __slots__ = ("_after_ms", "_due_m", "_high_m", "_last_ms", "_low_m", "_run")

    def __init__(self, after_ms: int) -> None:
        super().__init__()
        self._after_ms = after_ms
        self._run: Spell | None = None
        self._low_m = self._high_m = self._due_m = 0.0
        self._last_ms = 0

    @property
    def untrusted(self) -> bool:
        """True while a declared level stands where it stood."""
        return self.spell is not None and self.spell.going_on

    def take(
        self,
        elapsed_ms: int,
        time_ms: int,
        level_m: float,
        current_mA: float | None,
        band_m: float,
        rate_m_per_s: float,
    ) -> bool:
        """One measuring sample. band_m: how far a flat level may lie from where it was first; rate: by the meters.

        True when there is something new to be kept over a restart.
        """
        gap_ms, self._last_ms = elapsed_ms - self._last_ms, elapsed_ms
        self._low_m, self._high_m = min(self._low_m, level_m), max(self._high_m, level_m)
        run = self._run
        spread_m = self._high_m - self._low_m
        if run is not None and run is self.spell:
            if spread_m > LEFT_BY * band_m:
                run.end(elapsed_ms, time_ms)
                self._run = None
                return True
            return run.note(current_mA)
        if run is None or spread_m > band_m or gap_ms > LONGEST_GAP_MS or not rate_m_per_s:
            self._begin(elapsed_ms, time_ms, level_m, current_mA)
            return False
        run.note(current_mA)
        self._due_m += rate_m_per_s * gap_ms / 1000
        return False

    def _begin(self, elapsed_ms: int, time_ms: int, level_m: float, current_mA: float | None) -> None:
        self._run = Spell(FROZEN, elapsed_ms, time_ms)
        self._run.note(current_mA)
        self._low_m = self._high_m = level_m
        self._due_m = 0.0

    def interrupted(self, elapsed_ms: int, time_ms: int) -> bool:
        """The signal fails or stands aside: no flat stretch goes on across that."""
        run, self._run = self._run, None
        if run is None or run is not self.spell:
            return False
        run.end(elapsed_ms, time_ms)
        return True

    def ripe(self, elapsed_ms: int, step_m: float, sd_m: float) -> bool:
        """True when a flat stretch is to be declared: the meters' movement should have shown by far."""
        run = self._run
        if run is None or run is self.spell or self.spell is not None:
            return False
        if abs(self._due_m) < max(MOVES_M, MOVES_STEPS * step_m, MOVES_SDS * sd_m):
            return False
        if elapsed_ms - run.start_elapsed_ms < self._after_ms:
            return False
        self.spell = run
        return True

    def saved(self) -> dict[str, Any]:
        return {
            "spell": spell_saved(self.spell),
            "low": self._low_m,
            "high": self._high_m,
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        """A stretch that was not declared yet is watched anew."""
        self.spell = spell_restored(saved["spell"])
        self._low_m, self._high_m = saved["low"], saved["high"]
        self._run = self.spell if self.untrusted else None
