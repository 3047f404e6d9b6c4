"""Is a signal far noisier than it uses to be? Blocks of samples, each told loud or not, become a fault.

Knows blocks in time; refuses to know what is loud for a loop (`alerts.noise` has learned that) and where noise comes
from (interference, a bad contact, waves). Rule: common practice, no source.
"""

from collections.abc import Mapping
from typing import Any, Final

from alerts.strands import NOISY, Spell, Strand, spell_restored, spell_saved

LOUD_BLOCKS: Final = 2
"""Loud blocks in a row that make a fault: a truck that bumps the tank is over by then."""


class LoudStrand(Strand):
    """A row runs from the first sample of the first loud block to the first sample of the first one that is not."""

    __slots__ = ("_block", "_loud", "_run")

    def __init__(self) -> None:
        super().__init__()
        self._block: Spell | None = None
        self._run: Spell | None = None
        self._loud = 0

    def heard(self, elapsed_ms: int, time_ms: int, current_mA: float | None) -> None:
        """One sample of the block under way."""
        if self._block is None:
            self._block = Spell(NOISY, elapsed_ms, time_ms)
        self._block.note(current_mA)

    def judged(self, *, loud: bool) -> bool:
        """The block is complete. True when there is something new to be kept over a restart."""
        block, self._block = self._block, None
        if block is None:
            return False
        spell = self.spell
        going_on = spell is not None and spell.going_on
        if spell is not None and going_on:
            if not loud:
                spell.end(block.start_elapsed_ms, block.start_ms)
                return True
            before = (spell.min_mA, spell.max_mA)
            spell.take_in(block)
            return (spell.min_mA, spell.max_mA) != before
        if not loud:
            self._run, self._loud = None, 0
            return False
        self._loud += 1
        if self._run is None:
            self._run = block
        else:
            self._run.take_in(block)
        return False

    def interrupted(self) -> None:
        """The signal failed: what was counted so far counts for nothing, a declared fault stays."""
        self._block, self._run, self._loud = None, None, 0

    def close(self, elapsed_ms: int) -> Spell | None:
        """A declared spell whose hold is over."""
        spell = self.spell
        if spell is None or not spell.over(elapsed_ms):
            return None
        if self._run is not None and spell.holds(self._run):
            return None  # loud again since within the hold: it may become the same fault
        self.spell = None
        return spell

    def ripe(self) -> bool:
        """True when a new spell is to be declared; a relapse into the old one is taken up in silence."""
        run = self._run
        if run is None or self._loud < LOUD_BLOCKS:
            return False
        self._run, self._loud = None, 0
        if self.spell is not None:
            self.spell.take_in(run)
            return False
        self.spell = run
        return True

    def saved(self) -> dict[str, Any]:
        return {"spell": spell_saved(self.spell)}

    def restore(self, saved: Mapping[str, Any]) -> None:
        """A block under way is begun anew: readings from before and after a restart are no neighbours."""
        self.spell = spell_restored(saved["spell"])
