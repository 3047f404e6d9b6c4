"""Has a signal stopped living? Its own noise should move the finest register; where it could not, "cannot tell".

Source of the rule: common practice, no source. Source of the figures: a Gaussian of standard deviation s, centred in a
step of width q, stays in that step with p = erf(q / (2 sqrt(2) s)); N readings in a row with p^N (computed).
A current that stands at the end of the measuring range is saturated, not frozen: the noise is cut off there.
"""

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Any, Final

from alerts.strands import FROZEN, SATURATED, Spell, Strand, spell_restored, spell_saved
from models.signal import Ne43

TINY: Final = 1e-9
"""How improbable a flat stretch of a living signal must be: once in some decades of polling each second."""

BLOCK: Final = 60
"""First differences from which one figure of noise is made; the estimate is then good to about 9 %."""

FALLS_BY: Final = 0.8
DOUBLES_IN_MS: Final = 7 * 86_400_000
"""The remembered noise is that of quiet times: ten quieter blocks take it down tenfold, while a week of louder ones
only doubles it. So a calm night does not look frozen by the day's waves, nor does one short stall blind the rule."""

EDGE_MA: Final = 0.01
"""How near to the end of the measuring range counts as standing at it. Our choice: a converter's wobble."""

KEEP_AT: Final = 30
"""Readings after which a flat run is worth keeping over a restart."""


class Verdict(StrEnum):
    """What a flat stretch proves."""

    CANNOT_TELL = "cannot tell"
    LIVES = "lives"
    FROZEN = "frozen"


def same_step(step: float, sd: float) -> float:
    """Probability that one reading of a level at rest stays in the step that it is in the middle of."""
    return math.erf(step / (2 * math.sqrt(2) * sd))


def verdict(step: float | None, sd: float | None, readings: int) -> Verdict:
    """Judge `readings` equal readings. step, sd: register step and noise in the same unit, None = not known yet."""
    if step is None or sd is None or sd <= 0 or step > 2 * sd:
        return Verdict.CANNOT_TELL
    return Verdict.FROZEN if same_step(step, sd) ** readings < TINY else Verdict.LIVES


class NoiseFloor:
    """Noise and step of a register, learned from first differences of healthy readings.

    A slope is taken out with the mean of the block, the register's own rounding by Sheppard's correction (from memory:
    variance less q^2 / 12).
    """

    __slots__ = ("_at_ms", "_n", "_sum", "_sum_of_squares", "sd", "step", "step_given")

    def __init__(self, step: float | None) -> None:
        step = step or None
        self.step_given = step is not None
        self.step = step
        self.sd: float | None = None
        self._at_ms = 0
        self._n = 0
        self._sum = self._sum_of_squares = 0.0

    def learn(self, elapsed_ms: int, repeats: int, difference: float) -> bool:
        """`repeats` differences of zero and then one. True when a block was completed."""
        if not self.step_given and difference and (self.step is None or abs(difference) < self.step):
            self.step = abs(difference)
        completed = False
        while repeats > 0:
            taken = min(repeats, BLOCK - self._n)
            self._n += taken
            repeats -= taken
            completed |= self._complete(elapsed_ms)
        self._n += 1
        self._sum += difference
        self._sum_of_squares += difference * difference
        return self._complete(elapsed_ms) or completed

    def _complete(self, elapsed_ms: int) -> bool:
        if self._n < BLOCK:
            return False
        step = self.step or 0.0
        variance = (self._sum_of_squares - self._sum * self._sum / self._n) / (self._n - 1) / 2
        sd = math.sqrt(max(variance - step * step / 12, (step / 10) ** 2))
        if self.sd is None:
            self.sd = sd
        elif sd < self.sd:
            self.sd = max(sd, self.sd * FALLS_BY)
        else:
            self.sd = min(sd, self.sd * math.exp2(min((elapsed_ms - self._at_ms) / DOUBLES_IN_MS, 60.0)))
        self._at_ms = elapsed_ms
        self._n = 0
        self._sum = self._sum_of_squares = 0.0
        return True

    def saved(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__ if name != "step_given"}

    def restore(self, saved: Mapping[str, Any]) -> None:
        step = self.step
        for name in self.__slots__:
            if name != "step_given":
                setattr(self, name, saved[name])
        if self.step_given:
            self.step = step


class FlatStrand(Strand):
    """Flat stretches of one loop: frozen on the finest register at hand, saturated at the ends of the range.

    Only samples that measure come here. A relapse within the hold is the same fault: a gauge that sticks, slips once
    and sticks again makes one row.
    """

    __slots__ = ("_after_ms", "_edges_mA", "_last_ms", "_run", "_signal", "_steps", "_value", "noise")

    def __init__(self, watched: tuple[tuple[str, float | None], ...], ne43: Ne43, frozen_after_ms: int) -> None:
        super().__init__()
        self._steps = dict(watched)
        self._edges_mA = (ne43.low_mA, ne43.high_mA)
        self._after_ms = frozen_after_ms
        self._signal = ""
        self._value = 0.0
        self._last_ms = 0
        self._run: Spell | None = None
        self.noise: NoiseFloor | None = None

    @property
    def signal(self) -> str:
        """The finest register seen so far, empty before the first."""
        return self._signal

    @property
    def at_the_edge(self) -> bool:
        """True while the current stands at an end of the measuring range: saturation, never frozen."""
        return self._run is not None and self._run.fault_class == SATURATED

    @property
    def untrusted(self) -> bool:
        """True while a declared frozen value repeats. A saturated one is judged by its own quality."""
        return self.spell is not None and self.spell.going_on and self.spell.fault_class == FROZEN

    def take(self, elapsed_ms: int, time_ms: int, values: Mapping[str, float | None], current_mA: float | None) -> bool:
        """One measuring sample. True when there is something new to be kept over a restart."""
        self._last_ms = elapsed_ms
        if current_mA is not None and any(abs(current_mA - edge) <= EDGE_MA for edge in self._edges_mA):
            return self._at_the_edge(elapsed_ms, time_ms, current_mA)
        changed = self._off_the_edge(elapsed_ms, time_ms)
        signal = self._finest(values)
        if not signal:  # nothing to watch, or no more: a site file that no longer names the register
            return changed | self.interrupted(elapsed_ms, time_ms)
        if signal != self._signal:
            changed |= self.interrupted(elapsed_ms, time_ms)
            self._signal, self.noise = signal, NoiseFloor(self._steps[signal])
        value = values.get(signal)
        if value is None:
            return changed
        run = self._run
        if run is not None and value == self._value:
            moved = run.note(current_mA)
            return changed or run.count == KEEP_AT or (moved and run is self.spell)
        if run is not None:
            changed |= self._moved(run, value - self._value, elapsed_ms, time_ms)
        self._value = value
        self._run = Spell(FROZEN, elapsed_ms, time_ms)
        self._run.note(current_mA)
        return changed

    def _at_the_edge(self, elapsed_ms: int, time_ms: int, current_mA: float) -> bool:
        run, changed = self._run, False
        if run is None or run.fault_class != SATURATED:
            changed = self.interrupted(elapsed_ms, time_ms)
            if self.spell is not None and self.spell.fault_class == SATURATED:
                run, changed = self.spell, True
                run.reopen()
            else:
                run = Spell(SATURATED, elapsed_ms, time_ms)
            self._run = run
        moved = run.note(current_mA)
        return changed or run.count == KEEP_AT or (moved and run is self.spell)

    def _off_the_edge(self, elapsed_ms: int, time_ms: int) -> bool:
        if self._run is None or self._run.fault_class != SATURATED:
            return False
        return self.interrupted(elapsed_ms, time_ms)

    def fell_silent(self) -> None:
        """Nobody answers: a stretch not declared yet counts for nothing, a declared one waits for another value."""
        if self._run is not self.spell:
            self._run = None

    def interrupted(self, elapsed_ms: int, time_ms: int) -> bool:
        """The flat stretch ends without a difference to learn from: the signal failed, or stands at an edge."""
        run, self._run = self._run, None
        if run is None or run is not self.spell:
            return False
        run.end(elapsed_ms, time_ms)
        return True

    def _moved(self, run: Spell, difference: float, elapsed_ms: int, time_ms: int) -> bool:
        if run is self.spell:
            run.end(elapsed_ms, time_ms)
            return True
        assert self.noise is not None  # made when the first value was taken
        return self.noise.learn(elapsed_ms, run.count - 1, difference)

    def _finest(self, values: Mapping[str, float | None]) -> str:
        """The finest register seen so far, though this sample may lack it; empty when none was seen yet."""
        for signal in self._steps:
            if signal == self._signal or values.get(signal) is not None:
                return signal
        return self._signal

    def close(self, elapsed_ms: int) -> Spell | None:
        spell, run = self.spell, self._run
        if spell is None or not spell.over(elapsed_ms):
            return None
        if run is not None and run.fault_class == spell.fault_class and spell.holds(run):
            return None  # flat again since within the hold: it may be the same fault
        self.spell = None
        return spell

    def ripe(self) -> bool:
        """True when a flat run is to be declared; a relapse into the old spell is taken up in silence.

        Only samples prove a flat stretch, so it lasts to the newest of them and no longer.
        """
        run = self._run
        if run is None or run is self.spell or self._last_ms - run.start_elapsed_ms < self._after_ms or run.count < 2:
            return False
        if run.fault_class == FROZEN and self.verdict() is not Verdict.FROZEN:
            return False
        if self.spell is not None:
            if run.fault_class == self.spell.fault_class:
                self.spell.take_in(run)
                self._run = self.spell
            return False  # one of another class is still in its hold: this one is declared right after it
        self.spell = run
        return True

    def verdict(self) -> Verdict:
        """What the flat stretch at hand proves by itself, however long it took."""
        if self.noise is None or self._run is None:
            return Verdict.CANNOT_TELL
        return verdict(self.noise.step, self.noise.sd, self._run.count)

    def saved(self) -> dict[str, Any]:
        return {
            "signal": self._signal,
            "value": self._value,
            "noise": None if self.noise is None else self.noise.saved(),
            "spell": spell_saved(self.spell),
            "run": None if self._run is None or self._run is self.spell else self._run.saved(),
            "run_is_spell": self._run is not None and self._run is self.spell,
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        self.spell = spell_restored(saved["spell"])
        if saved["signal"] in self._steps:
            self._signal, self._value = saved["signal"], saved["value"]
            self.noise = NoiseFloor(self._steps[self._signal])
            if saved["noise"] is not None:
                self.noise.restore(saved["noise"])
        if saved["run_is_spell"]:
            self._run = self.spell
        elif saved["run"] is not None:
            self._run = Spell.restored(saved["run"])
