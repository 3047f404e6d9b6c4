"""The faults of one loop: each sample goes to every strand of evidence that it can speak to, then all are judged.

How a fault runs: `declared` when its signs have lasted, with `start` = the first sample that showed them; `worsened`
when a gap passes into failure; `ended` when its signs have been gone for `strands.HOLD_MS`, with `end` = the first
clean sample. Until then it stays declared, so that a relapse is the same row and the same alarm. An instrument can have
two at once: a loop that had failed before its indicator fell silent has not been seen to measure again.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from alerts.errors import BadSavedState
from alerts.frozen import FlatStrand
from alerts.jumps import JumpStrand
from alerts.loud import LoudStrand
from alerts.noise import LoopNoise
from alerts.shown import band_of, current_of, failure
from alerts.spec import LoopFacts
from alerts.strands import (
    FROZEN,
    GAP_HIGH,
    GAP_LOW,
    NO_ANSWER,
    NOISY,
    RATE_IMPOSSIBLE,
    SATURATED,
    WRONG_REPLY,
    AnswerStrand,
    SignalStrand,
    Spell,
    Strand,
)
from alerts.stuck import FLAT_SDS, FLAT_STEPS, StuckStrand
from models.reading import Instant, Sample

DECLARED: Final = "declared"
WORSENED: Final = "worsened"
ENDED: Final = "ended"

NE107: Final[Mapping[str, str]] = MappingProxyType(
    {
        "fail_low": "F",
        "fail_high": "F",
        GAP_LOW: "S",
        GAP_HIGH: "S",
        NO_ANSWER: "F",
        WRONG_REPLY: "F",
        FROZEN: "F",
        SATURATED: "S",
        NOISY: "S",
        RATE_IMPOSSIBLE: "S",
    }
)
"""Fault class to NE 107 status signal: F failure, S out of specification. Common practice, no source."""


class Fault(NamedTuple):
    """One row. `number` rises with each fault of an instrument and names the row; `end_ms` is None while it goes on.

    min_mA, max_mA: over the samples that showed the fault, entry_mA of the first of them; None where the instrument
    tells no current.
    """

    instrument: str
    number: int
    fault_class: str
    start_ms: int
    end_ms: int | None
    min_mA: float | None
    max_mA: float | None
    ne107: str
    entry_mA: float | None = None


class FaultChange(NamedTuple):
    """What became known of a fault at a tick. was: the milder class before it worsened."""

    time_ms: int
    seq: int
    change: str
    fault: Fault
    was: str = ""


class LoopFaults:
    """One instrument: six strands of evidence, which a tick's samples are given to and which are judged after them."""

    __slots__ = (
        "answer",
        "dirty",
        "facts",
        "flat",
        "jump",
        "loud",
        "metered_m_per_s",
        "noise",
        "number",
        "order",
        "signal",
        "stuck",
    )

    def __init__(self, order: int, facts: LoopFacts) -> None:
        self.order = order
        self.facts = facts
        self.number = 0
        self.dirty = False
        self.signal = SignalStrand()
        self.answer = AnswerStrand()
        self.flat = FlatStrand(facts.watched, facts.ne43, facts.frozen_after_ms)
        self.jump = JumpStrand(facts.fastest_m_per_s, facts.waves_m)
        self.loud = LoudStrand()
        self.stuck = StuckStrand(facts.frozen_after_ms)
        self.metered_m_per_s = 0.0
        self.noise = LoopNoise()

    @property
    def waiting(self) -> bool:
        return any(strand.waiting for strand in self.strands)

    @property
    def strands(self) -> tuple[Strand, ...]:
        """Silence first, then the current, a flat signal, one flat against a meter, an impossible move, noise."""
        return self.answer, self.signal, self.flat, self.stuck, self.jump, self.loud

    @property
    def spells(self) -> list[Spell]:
        """What is declared, in the order of the strands."""
        return [s.spell for s in self.strands if s.spell is not None and s.spell.told]

    @property
    def frozen(self) -> bool:
        """True while a declared frozen value stands, whichever strand declared it."""
        return self.flat.untrusted or self.stuck.untrusted

    def take(self, elapsed_ms: int, sample: Sample) -> None:
        current_mA = current_of(self.facts, sample)
        band = band_of(self.facts, sample, current_mA)
        outside = band is not None and not band.measures
        kind = "" if outside else failure(self.facts, sample)
        if kind:
            self.answer.failed(elapsed_ms, sample.time_ms, kind)
            self.noise.skipped()
            self.dirty = True
            return
        self.dirty |= self.answer.answered(elapsed_ms, sample.time_ms)
        if band is not None:
            self.dirty |= self.signal.take(elapsed_ms, sample.time_ms, band, current_mA)
        if band is None or band.measures:
            self.dirty |= self.flat.take(elapsed_ms, sample.time_ms, sample.values, current_mA)
            self._hear(elapsed_ms, sample, current_mA)
            self._follow(elapsed_ms, sample, current_mA)
        else:
            self.stand_aside(elapsed_ms, sample.time_ms)

    def stand_aside(self, elapsed_ms: int, time_ms: int) -> None:
        """A sample that shows nothing of the level: no stretch goes on across it, no noise is learned from it."""
        self.noise.interrupted()
        self.loud.interrupted()
        self.dirty |= self.flat.interrupted(elapsed_ms, time_ms)
        self.dirty |= self.stuck.interrupted(elapsed_ms, time_ms)

    def _hear(self, elapsed_ms: int, sample: Sample, current_mA: float | None) -> None:
        """Noise of a sample that measures: of its current, else of the finest register. A fault teaches nothing."""
        signal, value = self.facts.current_signal or "", current_mA
        if value is None:
            signal, value = next(
                ((n, v) for n, _ in self.facts.watched if (v := sample.values.get(n)) is not None), ("", None)
            )
        if value is None:
            return
        self.loud.heard(elapsed_ms, sample.time_ms, current_mA)
        if self.noise.take(elapsed_ms, signal, value):
            self.dirty |= self.loud.judged(loud=self._is_loud())
            if not self.spells:
                self.noise.learn(elapsed_ms)

    def _is_loud(self) -> bool:
        """Out of the ordinary for this loop, and enough to matter for the level of its tank."""
        known, least_m = self.noise.known(), self.facts.noisy_above_m
        noise_m = None if known.now is None else self.facts.noise_m(known.signal, known.now)
        return known.is_loud and (least_m is None or noise_m is None or noise_m > least_m)

    def _follow(self, elapsed_ms: int, sample: Sample, current_mA: float | None) -> None:
        """How fast the level moves, on the finest register. A value that is declared frozen is no level."""
        signal = self.flat.signal
        value, factor = sample.values.get(signal), self.facts.m_per_unit.get(signal)
        if value is None or factor is None:
            return
        step_m, sd_m = self._grain_m()
        band_m = max(FLAT_STEPS * step_m, FLAT_SDS * sd_m)
        level_m, rate = value * factor, self.metered_m_per_s
        if self.flat.at_the_edge:
            self.dirty |= self.stuck.interrupted(elapsed_ms, sample.time_ms)
        else:
            self.dirty |= self.stuck.take(elapsed_ms, sample.time_ms, level_m, current_mA, band_m, rate)
        if not self.flat.untrusted:
            self.dirty |= self.jump.take(elapsed_ms, sample.time_ms, level_m, current_mA)

    def _grain_m(self) -> tuple[float, float]:
        """One step of the finest register, and the newest noise of one sample, both in m of level."""
        signal, noise = self.flat.signal, self.flat.noise
        factor = abs(self.facts.m_per_unit.get(signal, 0.0))
        step_m = factor * ((noise.step if noise is not None else None) or 0.0)
        now = self.noise.now
        sd_m = None if now is None else self.facts.noise_m(self.noise.signal, now)
        return step_m, sd_m or 0.0

    def close(self, now: Instant) -> list[FaultChange]:
        """What is over. Asked before the tick's samples, which belong to another fault then, and again after them."""
        closed = (strand.close(now.elapsed_ms) for strand in self.strands)
        return [self._change(now, ENDED, spell) for spell in closed if spell is not None]

    def judge(self, now: Instant) -> list[FaultChange]:
        """What has lasted, after this tick's samples were taken."""
        out = self.close(now)
        if self.answer.ripe():
            out.append(self._declare(now, self.answer.spell))
            self.flat.fell_silent()
        if self.signal.ripe(now.elapsed_ms):
            out.append(self._declare(now, self.signal.spell))
        held = self.flat.waiting
        if not self.stuck.untrusted and self.flat.ripe():
            out.append(self._declare(now, self.flat.spell))
        if not self.flat.untrusted and self.stuck.ripe(now.elapsed_ms, *self._grain_m()):
            out.append(self._declare(now, self.stuck.spell))
        self.dirty |= held is not self.flat.waiting
        if self.jump.ripe(now.elapsed_ms):
            out.append(self._declare(now, self.jump.spell))
        if self.loud.ripe():
            out.append(self._declare(now, self.loud.spell))
        spell = self.signal.spell
        if spell is not None and spell.told and spell.told != spell.fault_class:
            was, spell.told = spell.told, spell.fault_class
            out.append(self._change(now, WORSENED, spell, was))
        return out

    def _declare(self, now: Instant, spell: Spell | None) -> FaultChange:
        assert spell is not None
        self.number += 1
        spell.number = self.number
        spell.told = spell.fault_class
        return self._change(now, DECLARED, spell)

    def _change(self, now: Instant, change: str, spell: Spell, was: str = "") -> FaultChange:
        self.dirty = True
        return FaultChange(now.time_ms, now.seq, change, self.fault(spell), was)

    def fault(self, spell: Spell) -> Fault:
        return Fault(
            self.facts.instrument, spell.number, spell.told, spell.start_ms, spell.end_ms, spell.min_mA, spell.max_mA,
            NE107[spell.told], spell.entry_mA,
        )  # fmt: skip

    def saved(self) -> dict[str, Any]:
        return {
            "number": self.number,
            "answer": self.answer.saved(),
            "signal": self.signal.saved(),
            "flat": self.flat.saved(),
            "jump": self.jump.saved(),
            "loud": self.loud.saved(),
            "stuck": self.stuck.saved(),
            "noise": self.noise.saved(),
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        try:
            self.number = saved["number"]
            self.answer.restore(saved["answer"])
            self.signal.restore(saved["signal"])
            self.flat.restore(saved["flat"])
            if "jump" in saved:  # a book from before such faults were known
                self.jump.restore(saved["jump"])
                self.loud.restore(saved["loud"])
            if "stuck" in saved:
                self.stuck.restore(saved["stuck"])
            if "noise" in saved:  # a book from before it was learned
                self.noise.restore(saved["noise"])
        except (KeyError, TypeError, ValueError, AttributeError) as exc:
            where = self.facts.instrument
            raise BadSavedState(f"saved faults of {where} cannot be read: {exc!r}; restore a backup") from exc
