"""How long a tank's content must stand before a sample tells of it: the site's own rule, and a countdown by it.

Published rules for one tall tank of jet fuel differ threefold (3 h per ft, 1 h per ft, 3 h per m or 24 h), so a rule
is the site's own and bears the source that the site names. Knows depths and times in ms; no clock, no I/O.
"""

from dataclasses import asdict, dataclass
from typing import Any, Final

MS_PER_H: Final = 3_600_000

FIXED, FLOATING = "fixed", "floating"
SUCTIONS: Final = (FIXED, FLOATING)


@dataclass(frozen=True, slots=True)
class SettlingRule:
    """One rule. source: who says so, printed with every countdown.

    time_ms: whatever the depth; per_m_ms: for each metre of depth; one of the two is given. at_least_ms, at_most_ms:
    bounds of what depth asks for. small_rise_m, small_ms: a receipt that raises the level by less asks only for this.
    product, suction: what the rule is for, "" = any. words: the rule as the site wrote it, for people.
    """

    source: str
    time_ms: int | None = None
    per_m_ms: float | None = None
    at_least_ms: int | None = None
    at_most_ms: int | None = None
    small_rise_m: float | None = None
    small_ms: int | None = None
    product: str = ""
    suction: str = ""
    words: str = ""

    def fits(self, product: str, suction: str) -> bool:
        return self.product in ("", product) and self.suction in ("", suction)

    def need_ms(self, depth_m: float, rise_m: float | None = None) -> int:
        """How long fuel of a depth in m must stand. rise_m: how far a receipt raised it, None for what is none."""
        if rise_m is not None and self.small_rise_m is not None and self.small_ms is not None:
            if rise_m < self.small_rise_m:
                return self.small_ms
        if self.time_ms is not None:
            return self.time_ms
        need = (self.per_m_ms or 0.0) * max(0.0, depth_m)
        if self.at_least_ms is not None:
            need = max(need, self.at_least_ms)
        if self.at_most_ms is not None:
            need = min(need, self.at_most_ms)
        return round(need)


@dataclass(frozen=True, slots=True)
class SettlingRules:
    """How a tank's settling is counted, whatever its length.

    issues_restart: an issue or a transfer out before the release is a disturbance. blind_counts: time without a
    trusted level counts. down_counts: time in which the program did not run counts, by the site's clock.
    """

    rule: SettlingRule
    issues_restart: bool = True
    blind_counts: bool = False
    down_counts: bool = True


@dataclass(slots=True)
class Countdown:
    """Settling under way. need_ms of counted_ms are done; depth_m None: not known, the full height was taken.

    blind_ms: without a trusted level since it began; down_ms: the program did not run; both are told, whether they
    count or not. since_ms: site's time at which it began. restarts: how often it began anew. held: fuel flows, so that
    nothing counts.
    """

    need_ms: int
    since_ms: int
    depth_m: float | None
    counted_ms: int = 0
    blind_ms: int = 0
    down_ms: int = 0
    restarts: int = 0
    held: bool = False

    @property
    def left_ms(self) -> int:
        return max(0, self.need_ms - self.counted_ms)

    @property
    def over(self) -> bool:
        return not self.held and self.counted_ms >= self.need_ms

    def pass_by(self, ms: int, *, trusted: bool, rules: SettlingRules) -> None:
        """So much time has gone by with the program running."""
        if not trusted:
            self.blind_ms += ms
        if not self.held and (trusted or rules.blind_counts):
            self.counted_ms += ms

    def stood(self, ms: int, rules: SettlingRules) -> None:
        """So much time has gone by without the program, by the site's clock; a clock set back has told none."""
        ms = max(0, ms)
        self.down_ms += ms
        if rules.down_counts and not self.held:
            self.counted_ms += ms

    def json(self) -> dict[str, Any]:
        return asdict(self)
