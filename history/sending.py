"""A batch of lines to a server, in as many pieces as it takes; what it will never take is found line by line.

Knows what each kind of trouble asks for; refuses to know HTTP, cursors and patience.
"""

from collections.abc import Sequence
from typing import Final, Protocol

from history.errors import StoreError
from history.lines import Line
from history.rejects import Rejected
from history.servertrouble import Held, Refused, TooLarge

LINES_A_POST: Final = 5_000
REFUSED_IN_A_ROW: Final = 20
"""So many single lines refused, and none taken between: then it is not the lines."""


class Poster(Protocol):
    """What is needed of a server: see `history.posting.InfluxPoster`."""

    def post(self, lines: Sequence[str]) -> None: ...
    def close(self) -> None: ...


class Sender:
    """size: lines a post; halved for good where the server finds them too many."""

    def __init__(self, poster: Poster, size: int = LINES_A_POST) -> None:
        self.size = size
        self._poster = poster
        self._in_a_row = 0

    def send(self, chunk: Sequence[Line]) -> list[Rejected]:
        """Returns when the server has taken all lines but those given back. Raises `Away` or `Held`: send all again."""
        rejected: list[Rejected] = []
        pieces = [chunk]
        while pieces:
            piece = pieces.pop()
            try:
                self._poster.post([line.text for line in piece])
            except TooLarge as why:
                if len(piece) > 1:
                    self.size = max(1, len(piece) // 2)
                    pieces += _halves(piece)
                else:
                    rejected.append(self._refused(piece[0], why))
            except Refused as why:
                if why.too_old and why.dropped == len(piece):
                    rejected += [Rejected(line.text, str(why)) for line in piece]
                elif len(piece) > 1:
                    pieces += _halves(piece)
                else:
                    rejected.append(self._refused(piece[0], why))
            else:
                self._in_a_row = 0
        return rejected

    def _refused(self, line: Line, why: StoreError) -> Rejected:
        """Set a line aside, unless the server takes nothing else either."""
        if not (isinstance(why, Refused) and why.too_old):
            self._in_a_row += 1
        if self._in_a_row >= REFUSED_IN_A_ROW:
            raise Held(f"refuses every line, so it is not the lines; to the last it {why}")
        return Rejected(line.text, str(why))


def _halves(piece: Sequence[Line]) -> list[Sequence[Line]]:
    """The first half comes off the end of a list first."""
    middle = len(piece) // 2
    return [piece[middle:], piece[:middle]]
