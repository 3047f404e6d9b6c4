"""What can go wrong between this house and a time-series server, named by what is to be done about it."""

import re
from typing import Final

from history.errors import StoreError, StoreUnavailable

_DROPPED: Final = re.compile(r"\bdropped=(\d+)")


class Away(StoreUnavailable):
    """No answer, or one that asks for patience (408, 429, 5xx): try again later, at the earliest when it says so."""

    def __init__(self, text: str, retry_after_s: float | None = None) -> None:
        super().__init__(text)
        self.retry_after_s = retry_after_s


class Held(StoreError):
    """It refuses us whatever we send (401, 403, 404, no server of this kind): a person must mend something."""


class TooLarge(StoreError):
    """The post was too long for it (413): send less at a time."""


class Refused(StoreError):
    """Some of the lines can never be kept (400, 422); the others may have been."""

    @property
    def dropped(self) -> int | None:
        """How many lines, where it says so: "partial write: ... dropped=3"."""
        found = _DROPPED.search(str(self))
        return None if found is None else int(found[1])

    @property
    def too_old(self) -> bool:
        """It keeps nothing of that age."""
        return "retention" in str(self)
