"""Leak tests of a quiet tank in Miami's weather: how many false alarms, how many leaks found, how many days refused.

Leaks of none, half, once and one and a half times the rate that the last test of the same tank stated as detectable.
Seeds apart from those that the terms were set with. Intervals are Clopper and Pearson's, 95 %.
"""

import argparse
import statistics
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from scipy.stats import beta

from inventory.leak import Refusal, Verdict
from tests.bench.leaknights import Night, Nights

FIRST_SEED: Final = 41_000
CYCLE: Final = 8
SHARES: Final = (0.0, 1.0, 0.5, 0.0, 1.5, 1.0)


class Count(NamedTuple):
    """hits of n."""

    hits: int
    n: int

    @property
    def interval(self) -> tuple[float, float]:
        """Clopper and Pearson, Biometrika 26 (1934): exact limits of a share, from the beta distribution."""
        k, n = self.hits, self.n
        low = 0.0 if k == 0 else float(beta.ppf(0.025, k, n - k + 1))
        high = 1.0 if k == n else float(beta.ppf(0.975, k + 1, n - k))
        return low, high


class Tally:
    """What came of many nights."""

    def __init__(self, nights: Iterable[Night]) -> None:
        self.found: dict[float, list[bool]] = {}
        self.refused: Counter[str] = Counter()
        self.detectable: list[float] = []
        self.gains = 0
        self.days = 0
        for night in nights:
            self.days += 1
            outcome = night.outcome
            if outcome.test is None or outcome.verdict is Verdict.CANNOT_TELL:
                self.refused[outcome.said[0].why.value] += 1
                continue
            self.detectable.append(1000 * outcome.test.detectable_m3_per_h)
            self.found.setdefault(night.share, []).append(outcome.verdict is Verdict.LOSS)
            self.gains += outcome.verdict is Verdict.GAIN and night.share == 0

    def count(self, share: float) -> Count:
        found = self.found.get(share, [])
        return Count(sum(found), len(found))

    @property
    def undisturbed(self) -> int:
        return self.days - self.refused[Refusal.DISTURBED.value]


def nights(farms: int, days: int, several: bool) -> Iterable[Night]:
    for k in range(farms):
        seed = FIRST_SEED + 100 * several + k
        yield from Nights(seed, several=several).days(days, CYCLE, lambda i, k=k: SHARES[(i + k) % len(SHARES)])  # type: ignore[misc]


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    args = parser.parse_args(argv)
    farms, days = (1, 9) if args.short else (20, 33)
    for several, words in ((True, "thermometer of several spots"), (False, "thermometer of one spot")):
        tally = Tally(nights(farms, days, several))
        refused = sum(tally.refused.values())
        print(f"{words}: {tally.days} days of {farms} farms, {refused} refused ({100 * refused / tally.days:.0f} %)")
        print("  " + ", ".join(f"{why} {n}" for why, n in tally.refused.most_common()))
        if tally.detectable:
            quarters = statistics.quantiles(tally.detectable, n=4) if len(tally.detectable) > 1 else tally.detectable
            print("  stated as detectable, quartiles in L/h: " + " ".join(f"{q:.2f}" for q in quarters))
        for share in sorted(tally.found):
            count = tally.count(share)
            low, high = count.interval
            promise = {0.0: "at most 5 %", 1.0: "at least 95 %"}.get(share, "")
            print(
                f"  leak {share:3.1f} x detectable: {count.hits:4} of {count.n:4} told as loss, "
                f"{100 * low:.1f} to {100 * high:.1f} %  {promise}",
                flush=True,
            )
        print(f"  without a leak, told as a gain: {tally.gains}")


if __name__ == "__main__":
    main()
