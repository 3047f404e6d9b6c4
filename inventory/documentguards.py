"""Guards against typing: what a paper says is held against what can be, before it becomes part of the book.

A guard either refuses (it cannot be so) or asks (it can, but it seldom is: say it again with `sure`). Nothing is
changed in silence. Pure: everything that a guard looks at is handed in.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final, NamedTuple

from inventory.documentdraft import PLACES_OF_M3, STANDS, Draft, rounded, totaliser_m3
from inventory.documentrules import DocumentRules
from inventory.documents import DocumentKind

PARTS_M3: Final = 0.0005
"""Half a litre: what the parts of a water draw may miss of the whole."""

STANDARD_FRAC: Final = 0.002
"""How far the standard volume of a paper may lie from the one worked out by its temperature and density: our own
choice; 2 degC or 3 kg/m3 of jet fuel make about so much."""

FACTOR_FRAC: Final = 1e-6


class Weight(StrEnum):
    """How a guard speaks."""

    REFUSAL = "refused"
    QUESTION = "asked"


class Finding(NamedTuple):
    """What a guard found: of which field, what stands there, what is allowed, and what to do."""

    weight: Weight
    field: str
    found: str
    allowed: str
    mend: str

    @property
    def text(self) -> str:
        allowed = f"; {self.allowed}" if self.allowed else ""
        return f"{self.field}: {self.found}{allowed}; {self.mend}"


class Vessel(NamedTuple):
    """A tank as guards see it, in m3 as observed. capacity: the end of its table; working: up to its maximum working
    level; room: what could be taken in since the day began, None for another day or an unknown level."""

    capacity_m3: float
    working_m3: float
    room_m3: float | None = None


class Same(NamedTuple):
    """A document with the same paper number."""

    number: int
    tank: str


class Read(NamedTuple):
    """The newest reading of a totaliser that is in the book."""

    number: int
    day: str
    closing_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What is known beside the paper.

    today: the site's day of the entry. closed_through: the last day that is closed for the product, "" for none.
    begins: the day of the tank's opening balance for this owner, "" for none yet; opening: its number; earlier: of an
    opening balance, documents of the tank and owner on days before it. usual_m3: median
    of what papers of this kind at this tank say, None while there are few. same_stand: the document that states the
    same place on the same day. counted: documents that count the same flow already, once by tickets
    or notes and once by a totaliser. factor: the meter's own.
    standard_m3: worked out from the paper's observed volume; uncorrectable: why it cannot be. density_why: why the
    density is not the product's.
    """

    today: str
    closed_through: str = ""
    begins: str = ""
    opening: int | None = None
    earlier: Sequence[int] = ()
    vessel: Vessel | None = None
    usual_m3: float | None = None
    same_paper: Sequence[Same] = ()
    same_stand: int | None = None
    last_read: Read | None = None
    counted: Sequence[int] = ()
    factor: float | None = None
    standard_m3: float | None = None
    uncorrectable: str = ""
    density_why: str = ""


def judge(draft: Draft, c: Circumstances, rules: DocumentRules) -> list[Finding]:
    """Every finding of a completed draft, refusals before questions."""
    found = [*_day(draft, c), *_volumes(draft, c, rules), *_conditions(draft, c, rules), *_papers(draft, c)]
    if draft.kind is DocumentKind.METER:
        found += _meter(draft, c)
    if draft.kind is DocumentKind.WATER_DRAW:
        found += _draw(draft)
    return sorted(found, key=lambda one: one.weight is Weight.QUESTION)


def _refuse(field: str, found: str, allowed: str, mend: str) -> Finding:
    return Finding(Weight.REFUSAL, field, found, allowed, mend)


def _ask(
    field: str, found: str, allowed: str, mend: str = "look at the paper; if it is so, say that you are sure"
) -> Finding:
    return Finding(Weight.QUESTION, field, found, allowed, mend)


def _day(draft: Draft, c: Circumstances) -> Iterator[Finding]:
    if draft.day > c.today:
        yield _refuse("day", f"{draft.day} is still to come", f"up to {c.today}", "write the day on the paper")
    if c.closed_through and draft.day <= c.closed_through:
        yield _refuse(
            "day", f"{draft.day} is closed for {draft.product}", f"from {_next(c.closed_through)} on",
            "enter it in an open day, or correct the document that is wrong",
        )  # fmt: skip
    if draft.kind is DocumentKind.OPENING:
        if c.opening is not None:
            yield _refuse(
                "kind", f"tank {draft.tank} has its opening balance, document {c.opening} of {c.begins}", "one a tank",
                "correct that one, or write an adjustment",
            )  # fmt: skip
        if c.earlier:
            numbers = ", ".join(map(str, c.earlier[:5]))
            yield _refuse(
                "day", f"documents {numbers} of {draft.tank} are of days before {draft.day}", "the book's first day",
                "write the opening of the first day, or undo those",
            )  # fmt: skip
    elif c.begins and draft.day < c.begins:
        yield _refuse(
            "day", f"{draft.day} is before the book of tank {draft.tank} begins", f"from {c.begins} on",
            "what came before is in the opening balance",
        )  # fmt: skip


def _next(day: str) -> str:
    return date.fromordinal(date.fromisoformat(day).toordinal() + 1).isoformat()


def _volumes(draft: Draft, c: Circumstances, rules: DocumentRules) -> Iterator[Finding]:
    observed, metered = draft.observed_m3, draft.kind is DocumentKind.METER
    if metered and ((totaliser_m3(draft) or 0.0) < 0 or draft.meter_opening_m3 is None):
        return  # its readings are what is wrong
    if observed is None and draft.standard_m3 is None:
        yield _refuse("observed_m3", "no volume", "an observed or a standard volume", "write what the paper says")
        return
    field, said = ("standard_m3", draft.standard_m3) if observed is None else ("observed_m3", observed)
    assert said is not None
    if draft.kind is DocumentKind.ADJUSTMENT:
        if said == 0:
            yield _refuse(field, "0 m3", "above 0 for found, below 0 for lost", "leave it out")
    elif said < 0 or (said == 0 and draft.kind not in STANDS and not metered):
        least = "0 m3 or more" if draft.kind in STANDS else "above 0 m3"
        yield _refuse(field, f"{said:g} m3", f"{least}: the kind says which way it goes", "write it without a sign")
    if observed is not None and draft.standard_m3 is not None and observed * draft.standard_m3 < 0:
        yield _refuse("standard_m3", f"{draft.standard_m3:g} m3", "the sign of the observed volume", "mend one of them")
    size = abs(said)
    if c.vessel is not None and not metered:
        yield from _vessel(draft, c.vessel, field, size)
    largest = {DocumentKind.TICKET: rules.largest_ticket_m3, DocumentKind.DELIVERY: rules.largest_delivery_m3}.get(
        draft.kind
    )
    if largest is not None and size > largest:
        yield _ask(field, f"{size:g} m3", f"this site's largest {draft.kind} is {largest:g} m3")
    place = rules.place(draft.place or draft.from_place)
    if (
        place is not None
        and place.capacity_m3 is not None
        and size > place.capacity_m3
        and draft.kind is not (DocumentKind.TICKET)
    ):
        yield _refuse(
            field, f"{size:g} m3", f"{place.name} holds {place.capacity_m3:g} m3", "write what the paper says"
        )
    if c.usual_m3 and size and draft.kind not in STANDS:
        times = size / c.usual_m3
        if times > rules.unusual or times < 1 / rules.unusual:
            usual = f"usual here is {c.usual_m3:.3g} m3, {rules.unusual:g} times more or less is asked about"
            yield _ask(field, f"{size:g} m3", usual, "is the unit right? if it is so, say that you are sure")


def _vessel(draft: Draft, vessel: Vessel, field: str, size: float) -> Iterator[Finding]:
    if size > vessel.capacity_m3:
        yield _refuse(
            field, f"{size:g} m3", f"tank {draft.tank} holds {vessel.capacity_m3:.1f} m3", "is the unit right?"
        )
    elif draft.kind is not DocumentKind.OPENING and size > vessel.working_m3:
        yield _ask(
            field, f"{size:g} m3", f"up to its maximum working level {draft.tank} holds {vessel.working_m3:.1f} m3"
        )
    elif draft.kind is DocumentKind.DELIVERY and vessel.room_m3 is not None and size > vessel.room_m3:
        yield _ask(
            field,
            f"{size:g} m3",
            f"since the day began {draft.tank} had room for {max(vessel.room_m3, 0.0):.1f} m3 at most",
        )


def _conditions(draft: Draft, c: Circumstances, rules: DocumentRules) -> Iterator[Finding]:
    temperature = draft.temperature_degC
    if temperature is not None and not rules.coolest_degC <= temperature <= rules.warmest_degC:
        bounds = f"{rules.coolest_degC:g} to {rules.warmest_degC:g} degC is usual"
        yield _ask(
            "temperature_degC", f"{temperature:g} degC", bounds, "is it in degC? if it is so, say that you are sure"
        )
    if c.uncorrectable:
        yield _refuse(
            "density_kg_m3", c.uncorrectable, "", "write base density and temperature as the paper gives them"
        )
    if c.density_why:
        yield _ask("density_kg_m3", c.density_why, "")
    if c.standard_m3 is not None and draft.standard_m3 is not None:
        off = draft.standard_m3 - c.standard_m3
        if abs(off) > max(STANDARD_FRAC * abs(c.standard_m3), 0.001):
            worked = f"{c.standard_m3:.4f} m3 by its own temperature and density"
            yield _ask("standard_m3", f"{draft.standard_m3:g} m3", worked)


def _papers(draft: Draft, c: Circumstances) -> Iterator[Finding]:
    for same in c.same_paper:
        if same.tank == draft.tank:
            yield _refuse(
                "paper", f"{draft.kind} {draft.paper} is in the book already: document {same.number}", "each once",
                "look whether it is the same; correct that document where it is wrong",
            )  # fmt: skip
        else:
            yield _ask(
                "paper", f"{draft.kind} {draft.paper} stands for {same.tank or 'another place'} too, document "
                f"{same.number}", "", "if one paper is split over both, say that you are sure",
            )  # fmt: skip
    if c.counted and not draft.only_checks:
        numbers = ", ".join(map(str, c.counted))
        yield _ask(
            "kind", f"what went this way on {draft.day} is in the book by documents {numbers} already",
            "each litre once, by totaliser or by paper",
            'a meter that only checks papers has counts = "check" in the site file; else say that you are sure',
        )  # fmt: skip
    if c.same_stand is not None:
        yield _refuse(
            "place", f"document {c.same_stand} states {draft.place} on {draft.day}", "one stand a place, day and owner",
            "correct that document",
        )  # fmt: skip


def _meter(draft: Draft, c: Circumstances) -> Iterator[Finding]:
    opening, closing, rolls = draft.meter_opening_m3, draft.meter_closing_m3, draft.meter_rolls_over_at_m3
    if opening is None or closing is None:
        return
    for name, value in (("meter_opening_m3", opening), ("meter_closing_m3", closing)):
        if rolls is not None and value >= rolls:
            yield _refuse(name, f"{value:g} m3", f"the register begins anew at {rolls:g} m3", "read it again")
    if closing < opening and not draft.rolled_over:
        if rolls is None:
            yield _refuse(
                "meter_closing_m3", f"{closing:g} m3 is below the opening of {opening:g} m3", f"from {opening:g} m3 on",
                "read it again; a register that begins anew needs rolls_over_at in the site file",
            )  # fmt: skip
        else:
            yield _refuse(
                "meter_closing_m3", f"{closing:g} m3 is below the opening of {opening:g} m3",
                f"from {opening:g} m3 on, or rolled over at {rolls:g} m3", "read it again, or say that it rolled over",
            )  # fmt: skip
    through, given = rounded(totaliser_m3(draft)), draft.standard_m3 if draft.compensated else draft.observed_m3
    if given is not None and through is not None and abs(given - through) > 1.5 * 10**-PLACES_OF_M3:
        field = "standard_m3" if draft.compensated else "observed_m3"
        yield _refuse(
            field, f"{given:g} m3", f"{through:g} m3 by readings and factor", "leave it out, or mend a reading"
        )
    if draft.rolled_over:
        if rolls is None:
            yield _refuse("rolled_over", "this meter has no roll-over", "", "add rolls_over_at in the site file")
        elif closing >= opening:
            yield _refuse("rolled_over", "closing is not below opening", "", "a register rolls over once at the most")
        elif closing - opening + rolls > rolls / 2:
            through = closing - opening + rolls
            yield _ask("rolled_over", f"{through:g} m3 would have passed", f"half of the register is {rolls / 2:g} m3")
    if c.last_read is not None and abs(opening - c.last_read.closing_m3) > PARTS_M3:
        last = f"document {c.last_read.number} of {c.last_read.day} closed at {c.last_read.closing_m3:g} m3"
        yield _ask("meter_opening_m3", f"{opening:g} m3", last)
    if draft.meter_factor is not None and c.factor is not None and abs(draft.meter_factor - c.factor) > FACTOR_FRAC:
        yield _ask("meter_factor", f"{draft.meter_factor:g}", f"the site file says {c.factor:g}")


def _draw(draft: Draft) -> Iterator[Finding]:
    drawn, water, fuel = draft.observed_m3, draft.water_m3, draft.fuel_m3
    if drawn is None:
        return
    if water is None or fuel is None:
        yield _refuse("water_m3", "no parts", "the water part or the fuel part", "write how much of it was water")
        return
    for name, part in (("water_m3", water), ("fuel_m3", fuel)):
        if part < 0:
            yield _refuse(name, f"{part:g} m3", f"0 to {drawn:g} m3", "parts are no more than what was drawn")
    if min(water, fuel) >= 0 and abs(water + fuel - drawn) > PARTS_M3:
        yield _refuse(
            "water_m3",
            f"{water:g} m3 of water and {fuel:g} m3 of fuel",
            f"{drawn:g} m3 together",
            "mend one of the three",
        )
