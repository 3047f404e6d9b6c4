"""A paper as a person writes it down, and the document that it makes: signs, totalisers, parts of a water draw.

People write volumes as the paper prints them, without a sign; the kind of the paper gives the sign that the tank sees.
All volumes of documents are rounded once, here, to 0.1 L: papers print whole litres, and sums of a month that was
written out and read in again are then the same to the last digit.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from inventory.documents import Document, DocumentKind

PLACES_OF_M3: Final = 4
"""Decimals of every volume of a document, in m3."""

STANDS: Final = frozenset({DocumentKind.OPENING, DocumentKind.OUTSIDE})
"""Kinds that state what is there; the others state what came or went."""

ToStandard = Callable[[float, float, float], float]
"""Observed volume in m3, temperature in degC and base density in kg/m3 to the volume at the reference temperature."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What a paper says. Volumes in m3 and unsigned, but for an adjustment (lost: negative); None: it does not say.

    observed_m3: of a water draw all that was drawn, water and fuel. place, from_place: where stock outside the tanks
    stands or goes to, or comes from. returned: fuel that came back from an aircraft. went_to: where drawn water went
    that no place of the site took. rolled_over: the totaliser began anew between the two readings. reverses: the
    document of a closed day that this one takes out again; its volumes then count the other way. worked_out: the
    standard volume follows from the observed one.
    """

    kind: DocumentKind
    day: str
    product: str
    tank: str = ""
    owner: str = ""
    paper: str = ""
    observed_m3: float | None = None
    standard_m3: float | None = None
    temperature_degC: float | None = None
    density_kg_m3: float | None = None
    place: str = ""
    from_place: str = ""
    to_tank: str = ""
    returned: bool = False
    meter: str = ""
    meter_opening_m3: float | None = None
    meter_closing_m3: float | None = None
    meter_factor: float | None = None
    meter_rolls_over_at_m3: float | None = None
    rolled_over: bool = False
    compensated: bool = False
    counts_in: bool = False
    only_checks: bool = False
    water_m3: float | None = None
    fuel_m3: float | None = None
    went_to: str = ""
    batch: str = ""
    certificate: str = ""
    customer: str = ""
    authorised_by: str = ""
    reverses: int | None = None
    worked_out: bool = False
    comment: str = ""


DETAILS: Final = (
    "place", "from_place", "to_tank", "returned", "meter", "meter_opening_m3", "meter_closing_m3", "meter_factor",
    "meter_rolls_over_at_m3", "rolled_over", "compensated", "counts_in", "only_checks", "water_m3", "fuel_m3",
    "went_to", "batch", "certificate", "customer", "authorised_by", "reverses", "worked_out",
)  # fmt: skip
"""Fields of a draft that a document keeps among its details, where they say anything."""


def says(value: object) -> bool:
    """Whether a field of a draft says anything; 0 does."""
    return value is not None and value is not False and value != ""


def sign_of(draft: Draft) -> int:
    """How the tank (or the place, where there is no tank) sees the volume: +1 into it, -1 out of it."""
    match draft.kind:
        case DocumentKind.TICKET:
            sign = 1 if draft.returned else -1
        case DocumentKind.TRANSFER:
            sign = 1 if draft.from_place else -1
        case DocumentKind.METER:
            sign = 1 if draft.counts_in else -1
        case DocumentKind.WATER_DRAW:
            sign = -1
        case _:
            sign = 1
    return sign if draft.reverses is None else -sign


def totaliser_m3(draft: Draft) -> float | None:
    """What a meter let through by its two readings, its factor applied; None where a reading is missing.

    A register that rolled over has counted on from its end. Negative where it closed below its opening and did not.
    """
    if draft.meter_opening_m3 is None or draft.meter_closing_m3 is None:
        return None
    counted = draft.meter_closing_m3 - draft.meter_opening_m3
    if draft.rolled_over and draft.meter_rolls_over_at_m3 is not None:
        counted += draft.meter_rolls_over_at_m3
    return counted * (1.0 if draft.meter_factor is None else draft.meter_factor)


def completed(draft: Draft, to_standard: ToStandard | None) -> Draft:
    """The draft with all that follows from what it says: a meter's volume, a draw's third part, the standard volume.

    to_standard: None where it cannot be worked out. What the paper itself gives is never replaced.
    """
    observed, standard = draft.observed_m3, draft.standard_m3
    water, fuel = draft.water_m3, draft.fuel_m3
    if draft.kind is DocumentKind.METER:
        through = totaliser_m3(draft)
        if draft.compensated:
            standard = through if standard is None else standard
        else:
            observed = through if observed is None else observed
    if draft.kind is DocumentKind.WATER_DRAW:
        if observed is None and water is not None and fuel is not None:
            observed = water + fuel
        elif observed is not None and water is None and fuel is not None:
            water = observed - fuel
        elif observed is not None and fuel is None and water is not None:
            fuel = observed - water
    whole = replace(
        draft, observed_m3=rounded(observed), standard_m3=rounded(standard), water_m3=rounded(water),
        fuel_m3=rounded(fuel),
    )  # fmt: skip
    worked = standard_of(booked_m3(whole), whole, to_standard)
    if worked is None or whole.standard_m3 not in (None, worked):
        return replace(whole, worked_out=False)
    return replace(whole, standard_m3=worked, worked_out=True)


def standard_of(booked_m3: float | None, draft: Draft, to_standard: ToStandard | None) -> float | None:
    """The standard volume that follows from an observed one and the paper's temperature and density; None without."""
    temperature, density = draft.temperature_degC, draft.density_kg_m3
    if booked_m3 is None or temperature is None or density is None or to_standard is None:
        return None
    return rounded(to_standard(booked_m3, temperature, density))


def booked_m3(draft: Draft) -> float | None:
    """What of a completed draft's observed volume is booked: of a water draw the fuel part, the water was no stock."""
    return draft.fuel_m3 if draft.kind is DocumentKind.WATER_DRAW else draft.observed_m3


def document_of(draft: Draft, *, number: int, time_ms: int, by: str, corrects: int | None = None) -> Document:
    """The document that a completed draft makes."""
    sign = sign_of(draft)
    details: dict[str, Any] = {name: value for name in DETAILS if says(value := getattr(draft, name))}
    if draft.kind is DocumentKind.WATER_DRAW:
        details["drawn_m3"] = draft.observed_m3
    return Document(
        number=number,
        kind=draft.kind,
        day=draft.day,
        time_ms=time_ms,
        tank=draft.tank,
        product=draft.product,
        owner=draft.owner,
        paper=draft.paper,
        observed_m3=_signed(sign, booked_m3(draft)),
        standard_m3=_signed(sign, draft.standard_m3),
        temperature_degC=draft.temperature_degC,
        density_kg_m3=draft.density_kg_m3,
        by=by,
        comment=draft.comment,
        corrects=corrects,
        details=MappingProxyType(details),
    )


def draft_of(document: Document) -> Draft:
    """What a document says, as the paper has it: the other way round of `document_of`."""
    details: Mapping[str, Any] = document.details
    said = {name: details[name] for name in DETAILS if name in details}
    draft = Draft(
        kind=document.kind, day=document.day, product=document.product, tank=document.tank, owner=document.owner,
        paper=document.paper, temperature_degC=document.temperature_degC, density_kg_m3=document.density_kg_m3,
        comment=document.comment, **said,
    )  # fmt: skip
    sign = sign_of(draft)
    drawn = document.kind is DocumentKind.WATER_DRAW
    observed = details.get("drawn_m3") if drawn else _signed(sign, document.observed_m3)
    return replace(draft, observed_m3=observed, standard_m3=_signed(sign, document.standard_m3))


def said_of(document: Document) -> Draft:
    """What the paper itself said: a draft without what was worked out from it, so that it can be put right."""
    draft = draft_of(document)
    standard = None if draft.worked_out else draft.standard_m3
    observed = draft.observed_m3
    if draft.kind is DocumentKind.METER:
        standard, observed = (None, observed) if draft.compensated else (standard, None)
    return replace(draft, observed_m3=observed, standard_m3=standard, worked_out=False)


def booked(document: Document) -> bool:
    """False for a paper that only checks others: it is shown beside the book and never summed into it."""
    return not document.details.get("only_checks", False)


def rounded(value: float | None) -> float | None:
    """A volume to 0.1 L, without a negative zero."""
    return None if value is None else round(value, PLACES_OF_M3) + 0.0


def _signed(sign: int, value: float | None) -> float | None:
    return None if value is None else sign * value + 0.0
