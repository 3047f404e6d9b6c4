"""Whether a level may be called Good yet: the part of a reading's quality that depends on the past.

A current outside of 3.8-20.5 mA is Bad at its first sample (`models.tank`); here the way back is kept: the first
measuring sample after a fault is Uncertain, and Good again only after 4 s of measuring. Time comes in as elapsed ms.
"""

from typing import Any, Final, NamedTuple

from models.reading import BAD, GOOD, UNCERTAIN, Quality, Reason
from models.tank import Measured

SETTLE_MS: Final = 4_000
FAILED_POLLS: Final = 3
"""So many polls without an answer make a fault; one or two lost ones leave no doubt behind."""


class Trust(NamedTuple):
    quality: Quality
    reason: Reason


class TrustKeeper:
    """The trust in one tank's level signal, kept from poll to poll."""

    __slots__ = ("_doubtful", "_failed", "_measuring_since_ms")

    def __init__(self) -> None:
        self._doubtful = False
        self._failed = 0
        self._measuring_since_ms: int | None = None

    def judge(self, elapsed_ms: int, measured: Measured, *, frozen: bool = False, checked: bool = False) -> Trust:
        """Quality of one poll's level. `frozen`: the loop stands declared frozen since an earlier tick. `checked`: a
        loop check is under way, so that the signal says nothing of the tank."""
        if checked:
            measured = measured._replace(quality=BAD, reason=Reason.OUT_OF_SERVICE)
            self._doubtful = True
        if frozen and measured.quality is not BAD:
            measured = measured._replace(quality=BAD, reason=Reason.DEVICE_FAILURE)
            self._doubtful = True
        if measured.quality is BAD:
            self._failed += 1
            if self._failed >= FAILED_POLLS or (measured.band is not None and not measured.band.measures):
                self._doubtful = True
            self._measuring_since_ms = None
            return Trust(BAD, measured.reason)
        self._failed = 0
        if self._doubtful:
            if self._measuring_since_ms is None:
                self._measuring_since_ms = elapsed_ms
            if elapsed_ms - self._measuring_since_ms >= SETTLE_MS:
                self._doubtful, self._measuring_since_ms = False, None
            elif measured.quality is GOOD:
                return Trust(UNCERTAIN, Reason.SUB_NORMAL)
        return Trust(measured.quality, measured.reason)

    def doubt(self) -> None:
        """Something stood in for the signal until now: the next measuring sample is on its way back only."""
        self._doubtful, self._measuring_since_ms = True, None

    def save(self) -> dict[str, Any]:
        return {"doubtful": self._doubtful, "failed": self._failed, "since": self._measuring_since_ms}

    def restore(self, state: dict[str, Any]) -> None:
        self._doubtful = bool(state["doubtful"])
        self._failed = int(state["failed"])
        self._measuring_since_ms = state["since"]
