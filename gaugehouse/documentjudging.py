"""What the core knows around a paper: standard volumes, room in the tank, papers and readings that came before.

Gathers `Circumstances` for the guards; decides nothing itself. No clock, no I/O.
"""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.days import Days
from gaugehouse.site import Site
from inventory.documentdraft import Draft, ToStandard, booked, booked_m3, completed, standard_of
from inventory.documentguards import Circumstances, Finding, Vessel, judge
from inventory.documents import Document, DocumentKind
from models.correction import corrector
from models.errors import OutOfRange
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core


_BESIDE: Final[Mapping[DocumentKind, tuple[DocumentKind, ...]]] = {
    **dict.fromkeys(DocumentKind, ()),
    DocumentKind.TICKET: (DocumentKind.METER,),
    DocumentKind.DELIVERY: (DocumentKind.METER,),
    DocumentKind.METER: (DocumentKind.TICKET, DocumentKind.DELIVERY),
    DocumentKind.OUTSIDE: (DocumentKind.OUTSIDE,),
}
"""By kind, the documents of the same day that it is held against."""


class Judged(NamedTuple):
    """A draft with all that follows from it, and what the guards say."""

    draft: Draft
    findings: list[Finding]


def today_of(site: Site, at: Instant) -> str:
    """The site's day of an instant."""
    return Days(site.zone, site.day_starts_min).at(at.time_ms).date


def to_standard(site: Site, product_id: str) -> ToStandard:
    """How an observed volume of a product becomes a standard one, by the site's tables. It raises `OutOfRange`."""
    product = site.product(product_id)

    def standard(observed_m3: float, temperature_degC: float, density_kgpm3: float) -> float:
        factor = corrector(
            product.group, density_kgpm3, site.reference_degC, site.volume_correction, site.factors,
            alpha60_per_degF=product.alpha60_per_degF,
        )  # fmt: skip
        return observed_m3 * factor(temperature_degC)

    return standard


def judged(core: "Core", at: Instant, draft: Draft, ignoring: Collection[int] = ()) -> Judged:
    """A draft completed and held against everything. ignoring: documents that it takes the place of."""
    site, room, today = core.site, core.documents, today_of(core.site, at)
    correct, uncorrectable = to_standard(site, draft.product), ""
    try:
        whole = completed(draft, correct)
    except OutOfRange as error:
        whole, uncorrectable = completed(draft, None), str(error)
    beside = [one for one in room.of_day(draft.day, *_BESIDE[draft.kind]) if one.number not in ignoring]
    opening = room.opening(draft.tank, draft.owner) if draft.tank else None
    if opening is not None and opening.number in ignoring:
        opening = None
    meter = site.documents.meter(draft.meter)
    density = draft.density_kg_m3
    objection = None if density is None else site.product(draft.product).objection(site.reference_degC, density)
    reverses = draft.reverses is not None
    last = None if reverses or not draft.meter else room.last_read(draft.meter, draft.day, ignoring)
    papers = () if reverses else [s for s in room.same_paper(draft.kind, draft.paper) if s.number not in ignoring]
    circumstances = Circumstances(
        today=today,
        closed_through=room.closed_through(draft.product),
        begins="" if opening is None else opening.day,
        opening=None if opening is None else opening.number,
        earlier=_earlier(core, draft) if draft.kind is DocumentKind.OPENING else (),
        vessel=_vessel(core, draft, today),
        usual_m3=None if reverses else room.usual_m3(draft.kind, draft.tank),
        same_paper=papers,
        same_stand=next(
            (
                one.number
                for one in beside
                if one.kind is draft.kind is DocumentKind.OUTSIDE
                and one.details.get("place") == draft.place
                and one.owner == draft.owner
            ),
            None,
        ),
        last_read=last,
        counted=() if reverses else [one.number for one in beside if _same_flow(draft, one)],
        factor=None if meter is None else meter.factor,
        standard_m3=None if uncorrectable else standard_of(booked_m3(whole), whole, correct),
        uncorrectable=uncorrectable,
        density_why=objection or "",
    )
    return Judged(whole, judge(whole, circumstances, site.documents))


def _earlier(core: "Core", draft: Draft) -> list[int]:
    """Documents of the tank and owner on open days before this one."""
    return [
        one.number
        for one in core.documents.all()
        if one.day < draft.day and one.owner == draft.owner and draft.tank in (one.tank, one.details.get("to_tank"))
    ]


def _same_flow(draft: Draft, other: Document) -> bool:
    """Whether another paper of the tank counts what this one counts: a totaliser beside tickets or delivery notes."""
    if not draft.tank or other.tank != draft.tank or other.owner != draft.owner or not booked(other):
        return False
    metered = {False: DocumentKind.TICKET, True: DocumentKind.DELIVERY}
    if draft.kind is DocumentKind.METER:
        return other.kind is metered[draft.counts_in]
    if other.kind is DocumentKind.METER:
        return draft.kind is metered[bool(other.details.get("counts_in", False))]
    return False


def _vessel(core: "Core", draft: Draft, today: str) -> Vessel | None:
    if draft.tank not in core.keepers:
        return None
    keeper = core.keepers[draft.tank]
    table = keeper.tank.table
    working_m3 = table.volume_m3(table.nearest_m(working_top_m(core, draft.tank)))
    low_m = keeper.extremes.day.low_m if draft.day == today else None
    room_m3 = None if low_m is None else working_m3 - table.volume_m3(table.nearest_m(low_m))
    return Vessel(table.capacity_m3, working_m3, room_m3)


def working_top_m(core: "Core", tank: str) -> float:
    """Up to where a tank is filled: its maximum working level, else the next limit above it, else its table's end."""
    at = {limit.condition: limit.at for limit in core.site.alarms_of(tank).limits}
    top = core.keepers[tank].tank.table.top_m
    return next((at[name] for name in ("high", "high_high", "critical_high") if name in at), top)


def unseen_note(core: "Core", draft: Draft) -> str:
    """That no gauge sees a draw of this size, where so little moves the level by less than any movement found."""
    if draft.kind is not DocumentKind.WATER_DRAW or not draft.observed_m3:
        return ""
    keeper = core.keepers[draft.tank]
    table, reading = keeper.tank.table, keeper.latest
    level_m = reading.level_m if reading is not None and reading.level_m is not None else table.bottom_m
    area_m2 = table.area_m2(table.nearest_m(level_m))
    least_m = core.movements.least_m(draft.tank, level_m)
    moved_m = draft.observed_m3 / area_m2 if area_m2 > 0 else least_m
    if moved_m >= least_m:
        return ""
    return (
        f"{1000 * draft.observed_m3:g} L are {1000 * moved_m:.2f} mm in tank {draft.tank}: the gauge cannot see such a "
        f"draw (at least {1000 * least_m:.1f} mm), so this entry is all that tells of it"
    )
