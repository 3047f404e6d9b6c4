"""How often somebody may try to sign in. Pure: time comes in as seconds.

After `FREE` failures in a row, by address or by name, each further one doubles the wait, up to `LONGEST_S`. A success
clears the name and the address.
"""

from typing import Final

FREE: Final = 4
LONGEST_S: Final = 900.0
KEPT_S: Final = 3600.0
MOST_KEPT: Final = 10_000


class Attempts:
    """Failures by key (an address, a name)."""

    def __init__(self) -> None:
        self._failed: dict[str, tuple[int, float]] = {}

    def wait_s(self, keys: tuple[str, ...], now_s: float) -> float:
        """How long nobody of these may try; 0 when they may."""
        return max((self._wait_s(key, now_s) for key in keys), default=0.0)

    def _wait_s(self, key: str, now_s: float) -> float:
        times, last_s = self._failed.get(key, (0, 0.0))
        if times < FREE or now_s - last_s > KEPT_S:
            return 0.0
        pause_s = min(LONGEST_S, 2.0 ** min(times - FREE + 1, 20))
        return max(0.0, last_s + pause_s - now_s)

    def failed(self, keys: tuple[str, ...], now_s: float) -> None:
        for key in keys:
            times, last_s = self._failed.pop(key, (0, now_s))
            self._failed[key] = (1 if now_s - last_s > KEPT_S else times + 1, now_s)
        while len(self._failed) > MOST_KEPT:
            self._failed.pop(next(iter(self._failed)))  # the oldest: a flood of names must not fill the memory

    def cleared(self, keys: tuple[str, ...]) -> None:
        for key in keys:
            self._failed.pop(key, None)
