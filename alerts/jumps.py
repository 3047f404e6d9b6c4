"""Has a level moved faster than its tank can? A surface cannot be elsewhere sooner than flow can bring it there.

Knows the fastest rate that the site gives and the height of waves; refuses to know which of the two levels, the one
before a jump or the one after it, is the true one.
"""

from collections.abc import Mapping
from typing import Any

from alerts.strands import RATE_IMPOSSIBLE, Spell, Strand, spell_restored, spell_saved


class JumpStrand(Strand):
    """fastest_m_per_s: the fastest rate at which the level can move, None where it is not judged; waves_m: by how much
    the surface may differ from one reading to the next at no flow at all.

    The level was possible at some sample; from there on it may move within a cone of that rate. Outside of the cone it
    is impossible, and the row lasts until the cone has reached it: from then on it is at least possible again. A signal
    that was silent or failed in between has had time to move, and the cone grows on meanwhile.
    """

    __slots__ = ("_at_ms", "_fastest", "_level_m", "_waves_m")

    def __init__(self, fastest_m_per_s: float | None, waves_m: float) -> None:
        super().__init__()
        self._fastest = fastest_m_per_s
        self._waves_m = waves_m
        self._level_m: float | None = None
        self._at_ms = 0

    def take(self, elapsed_ms: int, time_ms: int, level_m: float, current_mA: float | None) -> bool:
        """One measuring sample. level_m: up to a constant. True when there is something new to be kept."""
        if self._fastest is None:
            return False
        spell = self.spell
        if self._level_m is None or self._possible(elapsed_ms, level_m):
            self._level_m, self._at_ms = level_m, elapsed_ms
            if spell is None or not spell.going_on:
                return False
            if spell.told:
                spell.end(elapsed_ms, time_ms)
            else:
                self.spell = None
            return True
        if spell is None:
            spell = self.spell = Spell(RATE_IMPOSSIBLE, elapsed_ms, time_ms)
            spell.note(current_mA)
            return True
        reopened = not spell.going_on
        spell.reopen()
        return spell.note(current_mA) or reopened

    def _possible(self, elapsed_ms: int, level_m: float) -> bool:
        assert self._fastest is not None
        assert self._level_m is not None
        reach_m = self._waves_m + self._fastest * (elapsed_ms - self._at_ms) / 1000
        return abs(level_m - self._level_m) <= reach_m

    def ripe(self, elapsed_ms: int) -> bool:
        """True when an undeclared spell has lasted as long as any fault of the current must."""
        return self.spell is not None and self.spell.lasted(elapsed_ms)

    def saved(self) -> dict[str, Any]:
        return {"spell": spell_saved(self.spell), "level_m": self._level_m, "at_ms": self._at_ms}

    def restore(self, saved: Mapping[str, Any]) -> None:
        """Elapsed time stands still while nobody watches, so that the last level proves nothing after a restart, except
        where a fault was under way: it ends when the cone reaches the level."""
        self.spell = spell_restored(saved["spell"])
        if self.spell is not None:
            self._level_m, self._at_ms = saved["level_m"], saved["at_ms"]
