"""Closing a day or a month of the stock book: what stands in its way, and the figures that are signed.

A month is signed only when its book is complete and its end is measured, by tanks that have a calibration certificate
or that the site accepts without one by a person's name. Makes values; the act itself is in `gaugehouse.closeacts`.
"""

from datetime import date, timedelta
from typing import Any, Final

from gaugehouse.bookjson import judged_json, owner_json, split_json
from gaugehouse.bookwork import Account
from gaugehouse.closeroom import MONTH
from gaugehouse.site import Site
from inventory.account import Physical
from inventory.book import NOT_MEASURED
from models.certificate import signature_objection

Json = dict[str, Any]


def obstacles(site: Site, account: Account) -> list[str]:
    """Why this period cannot be signed now, in words with the mend; empty where it can."""
    period = account.period
    if account.closed is not None:
        return [f"{period.name} was closed by {account.closed.by}"]
    said = []
    if not period.over:
        said.append(f"{period.name} is not over yet: sign it when its last day has ended")
    if not account.begun or account.begun > period.days[-1]:
        return [*said, "the book has not begun: enter an opening balance of each tank"]
    said += _earlier(account)
    monthly = period.kind == MONTH
    for what in account.whole.row.missing:
        if monthly or NOT_MEASURED not in what:
            said.append(f"{what}: enter the papers that are missing" if "incomplete" in what else what)
    if monthly:
        if not account.whole.row.variance.known and not any(NOT_MEASURED in one for one in said):
            said.append("a volume is missing on a paper: its temperature and density, or its standard volume")
        for tank in account.tanks:
            extras = site.extras[tank.tank]
            objection = signature_objection(extras.certificate, extras.accepted_by)
            if objection is not None:
                said.append(f"{tank.tank}: {objection} (`accepted_by` of the tank in the site file)")
    return said


def remarks(site: Site, account: Account) -> list[str]:
    """What whoever signs must know, though it stands in nobody's way."""
    said = off_from_signed(account) + list(account.whole.row.remarks)
    if account.by_tank:
        papers = "1 paper states" if account.by_tank == 1 else f"{account.by_tank} papers state"
        said.append(f"{papers} no temperature: the other volume was taken at the tank's own")
    said += [f"{one.tank}: not measured: {one.whole.row.physical.why}" for one in account.tanks
             if not one.whole.row.physical.measured]  # fmt: skip
    for tank in account.tanks:
        extras, last = site.extras[tank.tank], account.period.days[-1]
        if extras.certificate is None and extras.accepted_by:
            said.append(f"{tank.tank}: no calibration certificate; accepted by {extras.accepted_by} in the site file")
        elif extras.certificate is not None and extras.certificate.is_overdue(last):
            said.append(f"{tank.tank}: its calibration was due on {extras.certificate.next_due}")
    return said


SIGNED_FIGURES: Final = tuple(
    f"{name}_{side}_m3" for name in ("opening", "book", "physical", "variance") for side in ("gross", "standard")
)


def off_from_signed(account: Account) -> list[str]:
    """Where the figures of a closed period, made anew, are not those that were signed; what was signed stands."""
    closed = account.closed
    if closed is None or closed.name != account.period.name:
        return []
    anew = {row["account"]: row for row in map(judged_json, (account.whole, *(one.whole for one in account.tanks)))}
    said = []
    for signed in closed.body["rows"]:
        row = anew.get(signed["account"], {})
        off = [name for name in SIGNED_FIGURES if row.get(name) != signed[name]]
        if off:
            figures = ", ".join(f"{name} {signed[name]} signed, {row.get(name)} now" for name in off)
            said.append(f"{signed['account']}: readings or settings have changed since it was signed: {figures}")
    return said


def _earlier(account: Account) -> list[str]:
    """A close locks all that came before it, so what came before must have been signed."""
    months = [close.name for close in account.closes if close.period == MONTH]
    first, last = date.fromisoformat(account.period.days[0]), account.period.days[-1]
    if account.closes and account.closes[-1].through > last:
        return [f"a later day was closed already: {account.closes[-1].name}"]
    month_before = (first.replace(day=1) - timedelta(days=1)).isoformat()[:7]
    if account.begun[:7] <= month_before and (not months or months[-1] < month_before):
        return [f"{month_before} is not closed yet: months are closed in their order"]
    return []


def figures_of(site: Site, account: Account, simulated: bool) -> Json:
    """Everything that is signed: stands, rows, owners, outside stock, the rules, and the head they were made from."""
    rule = site.accounts.rule
    return {
        "head": account.head,
        "end_ms": account.period.end_ms,
        "edition": str(site.volume_correction),
        "reference_degC": site.reference_degC,
        "zone": site.zone,
        "day_starts_min": site.day_starts_min,
        "simulated": simulated,
        "rule": None if rule is None else {"words": rule.words, "source": rule.source},
        "remarks": remarks(site, account),
        "stands": {one.tank: _stand(one.whole.row.physical) for one in account.tanks},
        "rows": [judged_json(account.whole), *(judged_json(one.whole) for one in account.tanks)],
        "split": split_json(account.whole),
        "owners": {one.owner: list(one.closing) for one in account.owners},
        "owner_rows": [owner_json(one) for one in account.owners],
        "outside": [
            {"place": one.place, "gross_m3": one.stand.gross_m3, "standard_m3": one.stand.standard_m3,
             "stated_on": one.stated_on}
            for one in account.outside
        ],
    }  # fmt: skip


def _stand(physical: Physical) -> Json:
    return {
        "gross_m3": physical.volumes.gross_m3,
        "standard_m3": physical.volumes.standard_m3,
        "u95_m3": None if physical.u95_m3 is None else round(physical.u95_m3, 4),
        "source": physical.source,
        "time_ms": physical.time_ms,
    }


def close_fields(site: Site, account: Account, by: str, comment: str, simulated: bool) -> Json:
    """The fields of the act that signs this account."""
    return {
        "period": account.period.kind,
        "name": account.period.name,
        "through": account.period.days[-1],
        "product": account.product,
        "by": by,
        "comment": comment,
        "papers": list(account.papers),
        "figures": figures_of(site, account, simulated),
    }
