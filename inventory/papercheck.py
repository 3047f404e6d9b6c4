"""Papers of a day beside the movements that the gauge saw: what answers to what, and how far they are apart.

A check of the papers; it feeds no sum. Papers tell their day and not their hour, and many tickets may be one movement,
so what is compared is a tank's day, what came and what went apart. Where one paper and one movement fit each other and
nothing else, they are told beside each other. Volumes in m3, into the tank positive. No I/O, no clock.
"""

import math
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from inventory.crossing import MOVES
from inventory.documentdraft import booked
from inventory.documents import Document

ONE_OF_FRAC: Final = 0.005
"""A paper is of a movement where they agree to so much of it, or to what the gauge can tell (ours)."""

LIKE_FRAC: Final = 0.02
"""A difference is like one movement or one paper where it is so near to it, or as near as the gauge can tell (ours)."""


class Beside(StrEnum):
    """Papers of one way beside the gauge."""

    AGREE = "agree"  # within the gauge's own uncertainty
    APART = "apart"
    NO_MOVEMENT = "no movement"
    NO_PAPER = "no paper"
    NOT_KNOWN = "not known"  # a volume is missing


class SeenMove(NamedTuple):
    """A movement that is over. day, end_day: the site days of its start and end; u95: of each volume."""

    tank: str
    number: int
    kind: str
    day: str
    end_day: str
    start_ms: int
    end_ms: int
    gov_m3: float
    gsv_m3: float
    gov_u95_m3: float | None
    gsv_u95_m3: float | None


class Pair(NamedTuple):
    """A movement with the one paper that it fits, 0 for none."""

    seen: SeenMove
    document: int = 0


class Checked(NamedTuple):
    """A tank's day, one way. documents: of this tank by number; others: transfer notes of the tank at the other end.

    like_movement: the one movement that is as large as what the papers lack; like_document: the one paper that is as
    large as what they have too much; 0 for none. standard: the volumes are at the reference temperature, else as
    observed. difference_m3: gauge less papers, as sizes; None where nothing can be compared.
    """

    day: str
    tank: str
    inward: bool
    documents: tuple[int, ...]
    others: tuple[int, ...]
    moves: tuple[Pair, ...]
    standard: bool
    paper_m3: float | None
    moved_m3: float | None
    u95_m3: float | None
    difference_m3: float | None
    verdict: Beside
    like_movement: int = 0
    like_document: int = 0


class _Told(NamedTuple):
    """What a paper says of one tank."""

    document: Document
    own: bool
    gross_m3: float | None
    standard_m3: float | None


WAYS: Final = (True, False)


def checked(documents: Iterable[Document], seen: Iterable[SeenMove]) -> list[Checked]:
    """Every tank's day with a paper or a movement, by day, tank and way, what came before what went.

    What takes a paper of a closed day out again, and the right one beside it, answer to no movement of their own day.
    """
    papers: dict[tuple[str, str, bool], list[_Told]] = {}
    documents = list(documents)
    taken_out = {document.details["reverses"] for document in documents if "reverses" in document.details}
    for document in documents:
        mends = "reverses" in document.details or document.corrects in taken_out
        if document.kind in MOVES and booked(document) and not mends:
            for tank, told in _told(document):
                size = told.standard_m3 if told.standard_m3 is not None else told.gross_m3
                if size:
                    papers.setdefault((document.day, tank, size > 0), []).append(told)
    moves: dict[tuple[str, str, bool], list[SeenMove]] = {}
    for one in seen:
        if abs(one.gsv_m3) > (one.gsv_u95_m3 or 0.0):
            way = one.gsv_m3 > 0
            late = (one.day, one.tank, way) not in papers and (one.end_day, one.tank, way) in papers
            moves.setdefault((one.end_day if late else one.day, one.tank, way), []).append(one)
    keys = sorted({*papers, *moves}, key=lambda key: (key[0], key[1], not key[2]))
    return [_checked(*key, papers.get(key, []), moves.get(key, [])) for key in keys]


def _told(document: Document) -> list[tuple[str, _Told]]:
    both = document.observed_m3, document.standard_m3
    found = [(document.tank, _Told(document, True, *both))] if document.tank else []
    to_tank = document.details.get("to_tank")
    if isinstance(to_tank, str) and to_tank:
        found.append((to_tank, _Told(document, False, *(None if one is None else -one for one in both))))
    return found


def _checked(day: str, tank: str, inward: bool, told: Sequence[_Told], seen: Sequence[SeenMove]) -> Checked:
    standard = all(one.standard_m3 is not None for one in told)
    figures = [one.standard_m3 if standard else one.gross_m3 for one in told]
    known = [one for one in figures if one is not None]
    paper = math.fsum(known) if len(known) == len(figures) else None
    moved = math.fsum(one.gsv_m3 if standard else one.gov_m3 for one in seen) if seen else None
    parts = [one.gsv_u95_m3 if standard else one.gov_u95_m3 for one in seen]
    spread = [one for one in parts if one is not None]
    u95 = math.hypot(*spread) if seen and len(spread) == len(parts) else None
    if not told:
        verdict, difference = Beside.NO_PAPER, None
    elif paper is None or (seen and u95 is None):
        verdict, difference = Beside.NOT_KNOWN, None
    elif moved is None or u95 is None:
        verdict, difference = Beside.NO_MOVEMENT, None
    else:
        difference = abs(moved) - abs(paper)
        verdict = Beside.AGREE if abs(difference) <= u95 else Beside.APART
    return Checked(
        day, tank, inward,
        tuple(one.document.number for one in told if one.own),
        tuple(one.document.number for one in told if not one.own),
        tuple(_pairs(told, seen, standard=standard)),
        standard, paper, moved, u95, difference, verdict,
        *(_like(told, seen, difference, u95, standard=standard) if verdict is Beside.APART else (0, 0)),
    )  # fmt: skip


def _like(
    told: Sequence[_Told], seen: Sequence[SeenMove], difference: float | None, u95: float | None, *, standard: bool
) -> tuple[int, int]:
    """The number of the one movement, or of the one paper, that explains how far both are apart."""
    if difference is None:
        return 0, 0
    near = max(u95 or 0.0, LIKE_FRAC * abs(difference))
    if difference > 0:
        sizes = [(one.number, one.gsv_m3 if standard else one.gov_m3) for one in seen]
    else:
        volumes = [(one.document.number, one.standard_m3 if standard else one.gross_m3) for one in told]
        sizes = [(number, volume) for number, volume in volumes if volume is not None]
    alike = [number for number, volume in sizes if abs(abs(volume) - abs(difference)) <= near]
    found = alike[0] if len(alike) == 1 else 0
    return (found, 0) if difference > 0 else (0, found)


def _pairs(told: Sequence[_Told], seen: Sequence[SeenMove], *, standard: bool) -> list[Pair]:
    def fits(one: _Told, move: SeenMove) -> bool:
        paper = one.standard_m3 if standard else one.gross_m3
        moved, u95 = (move.gsv_m3, move.gsv_u95_m3) if standard else (move.gov_m3, move.gov_u95_m3)
        later = one.document.time_ms >= move.start_ms  # nobody writes a paper before its fuel has moved
        return later and paper is not None and abs(paper - moved) <= max(u95 or 0.0, ONE_OF_FRAC * abs(moved))

    found = []
    for move in seen:
        ours = [one for one in told if fits(one, move)]
        alone = len(ours) == 1 and sum(fits(ours[0], other) for other in seen) == 1
        found.append(Pair(move, ours[0].document.number if alone else 0))
    return found
