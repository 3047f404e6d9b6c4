"""Days of cover and order points of a site: the issue pattern of its papers and movements against what is usable now.

Knows where the figures are kept; the pattern itself is of `inventory.forecast`. Runs in a reader thread or beside a
running daemon.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from gaugehouse.core import Core
from gaugehouse.days import Day, Days, iso_ms
from gaugehouse.flowdays import GAUGE, PAPER, Flow, by_day, gauge_flows, paper_flows, standing_between
from gaugehouse.site import Site
from gaugehouse.stocksheet import NEWEST_AGE_MS
from gaugehouse.tankdays import last_days, read_days
from history.book import BookReader
from history.store import Store
from inventory.forecast import IssueDay, Pattern, Refusal, cover, order_point, pattern
from inventory.status import MAY_ISSUE, TankStatus
from models.errors import OutOfRange
from models.reading import BAD, EXACT, Reading

Json = dict[str, Any]

DAY_MS: Final = 86_400_000

LEAST_WATCHED: Final = 0.8
"""A day whose level was Good for less is not known, where no paper tells it. Our own choice."""

LOW: Final = ("low", "low_low")


WILL_BE_RELEASED: Final = frozenset({TankStatus.RECEIVING, TankStatus.SETTLING, TankStatus.AWAITING_TEST})
"""What waits only for its time and its test: it counts for the order point, and not for the cover. Our own choice."""


class Held(NamedTuple):
    """Why the content of a tank may not be issued now. until_ms: when it has settled, None where nobody can say."""

    status: TankStatus
    until_ms: int | None = None


class Usable(NamedTuple):
    """What a tank has above its minimum. m3 None: not known now, and `why`. above: what the minimum is. seen_ms: when
    a tank that is silent was seen last. held: why none of it may be issued now, None where it may."""

    tank: str
    m3: float | None
    minimum_m3: float
    above: str
    why: str = ""
    seen_ms: int | None = None
    held: Held | None = None

    @property
    def released_m3(self) -> float | None:
        return 0.0 if self.held is not None and self.m3 is not None else self.m3

    @property
    def notes(self) -> list[str]:
        """What keeps it from being told, or from counting, in words."""
        said = [self.why] if self.why else []
        if self.held is not None and self.m3:
            said.append(f"{self.tank} is {self.held.status.value}: its {self.m3:.1f} m3 do not count as usable")
        return said

    @property
    def coming_m3(self) -> float:
        """What is released sooner than a load that is ordered now."""
        return self.m3 or 0.0 if self.held is not None and self.held.status in WILL_BE_RELEASED else 0.0


def held_of(core: Core, now_ms: int) -> dict[str, Held]:
    """Tanks whose content may not be issued now. In the thread that steps the core. Empty where no status is kept."""
    found = {}
    for tank in core.site.tanks:
        state = core.status.get(tank.id)
        if state is not None and state.status not in MAY_ISSUE:
            counting = state.countdown
            runs = counting is not None and not counting.held and not counting.over
            until_ms = now_ms + counting.left_ms if counting is not None and runs else None
            found[tank.id] = Held(state.status, until_ms if state.status is TankStatus.SETTLING else None)
    return found


def forecasts(
    site: Site,
    store: Store,
    book: BookReader,
    newest: Mapping[str, Reading | None],
    now_ms: int,
    held: Mapping[str, Held] = MappingProxyType({}),
) -> list[Json]:
    """Every product first, then every tank, each with its pattern, cover and order point, or why there is none.

    What is never handed out (`for_issue = false`) is left out. newest: the newest reading of each tank. held: tanks
    whose content may not be issued now; days of cover are of what may be.
    """
    issued = [product.id for product in site.products if product.for_issue]
    tanks = [tank for tank in site.tanks if tank.product in issued]
    days = Days(site.zone, site.day_starts_min)
    rules = site.forecast.rules
    span = last_days(days, rules.look_back_days, now_ms)
    flows = gauge_flows(book, days, span[0].start_ms, span[-1].end_ms)
    flows += paper_flows(standing_between(book, span[0].date, span[-1].date))
    watched = {
        tank.id: {one.day.date for one in read_days(store, tank.id, span) if one.watched >= LEAST_WATCHED}
        for tank in tanks
    }
    usable = {
        tank.id: usable_of(site, tank.id, newest.get(tank.id), now_ms)._replace(held=held.get(tank.id))
        for tank in tanks
    }
    at, today = now_ms, days.at(now_ms)
    told = []
    for product in issued:
        of_it = [tank.id for tank in tanks if tank.product == product]
        if of_it:
            told.append(_told(site, "product", product, of_it, flows, watched, usable, span, today, at))
    for tank in tanks:
        told.append(_told(site, "tank", tank.id, [tank.id], flows, watched, usable, span, today, at))
    return told


def usable_of(site: Site, tank: str, reading: Reading | None, now_ms: int) -> Usable:
    """What a tank holds above its minimum working level, else above its lowest suction, else above its bottom."""
    model = site.tank(tank)
    levels = {limit.condition: limit.at for limit in site.alarms_of(tank).limits if limit.condition in LOW}
    suction = site.extras[tank].suction_m
    above, level_m = next(
        ((name, at) for name, at in (("low", levels.get("low")), ("suction", suction)) if at is not None),
        ("bottom", None),
    )
    try:
        minimum = 0.0 if level_m is None else model.table.volume_m3(level_m)
    except OutOfRange:
        minimum = 0.0
    if reading is None or reading.quality is BAD or reading.tov_m3 is None:
        return Usable(tank, None, minimum, above, f"the level of {tank} is not known now")
    if now_ms - reading.time_ms > NEWEST_AGE_MS:
        return Usable(
            tank, None, minimum, above, f"{tank} was not measured since {iso_ms(reading.time_ms)}", reading.time_ms
        )
    if reading.bound is not EXACT:
        return Usable(tank, max(0.0, reading.tov_m3 - minimum), minimum, above, f"{tank} holds at least this")
    return Usable(tank, max(0.0, reading.tov_m3 - minimum), minimum, above)


def issue_days(
    flows: Sequence[Flow], tanks: Iterable[str], watched: Mapping[str, set[str]], span: Sequence[Day], *, site_out: bool
) -> tuple[list[IssueDay], dict[str, int]]:
    """The issues of each day of these tanks together, and on how many days they rest on papers and on the gauge.

    A day without papers counts only where every tank was watched through it: silence of a blind gauge is no zero.
    site_out: only what leaves the site counts, not a transfer from tank to tank.
    """
    tanks = list(tanks)
    leaves = [flow for flow in flows if not (site_out and flow.kind.startswith("transfer"))]
    issued = by_day([flow for flow in leaves if flow.tank in tanks], out=True)
    found, rests = [], {PAPER: 0, GAUGE: 0}
    for day in span:
        parts = [issued.get((tank, day.date)) for tank in tanks]
        papers = any(part is not None and part[1] == PAPER for part in parts)
        seen = all(
            (part is not None and part[1] == PAPER) or day.date in watched[tank]
            for tank, part in zip(tanks, parts, strict=True)
        )
        if not seen:
            found.append(IssueDay(day.date, None))
            continue
        rests[PAPER if papers else GAUGE] += 1
        found.append(IssueDay(day.date, sum(part[0] for part in parts if part is not None)))
    return found, rests


def _told(
    site: Site,
    of: str,
    name: str,
    tanks: list[str],
    flows: Sequence[Flow],
    watched: Mapping[str, set[str]],
    usable: Mapping[str, Usable],
    span: Sequence[Day],
    today: Day,
    now_ms: int,
) -> Json:
    days, rests = issue_days(flows, tanks, watched, span, site_out=of == "product")
    start = date.fromisoformat(today.date)
    by = pattern(days, start, site.forecast.rules)
    parts = [usable[tank] for tank in tanks]
    known = [part.released_m3 for part in parts]
    notes = [note for part in parts for note in part.notes]
    stock = None if all(one is None for one in known) else sum(one for one in known if one is not None)
    row: Json = {
        "of": of,
        "id": name,
        "tanks": tanks,
        "time": iso_ms(now_ms),
        "usable_m3": stock,
        "held_m3": sum(part.m3 for part in parts if part.held is not None and part.m3 is not None),
        "parts": [_part(part) for part in parts],
        "above": ", ".join(f"{usable[tank].above} of {tank}" for tank in tanks),
        "missing": [tank for tank in tanks if usable[tank].m3 is None],
        "days_known": 0,
        "days_asked": site.forecast.rules.look_back_days,
        "days_by_papers": rests[PAPER],
        "days_by_gauge": rests[GAUGE],
        **dict.fromkeys(FIGURES),
        "order_now": None,
        "notes": notes,
        "why": "",
    }
    if isinstance(by, Refusal):
        return row | {"days_known": by.days, "why": by.why}
    row |= {"days_known": by.days, "mean_m3_per_day": by.mean_m3, "sd_m3": by.sd_m3}
    row["by_weekday_m3"] = list(by.by_weekday)
    if stock is None:
        return row | {"why": "; ".join(notes)}
    coming = sum(part.coming_m3 for part in parts)
    return row | _answers(site, tanks, stock, coming, by, start, notes)


def _part(part: Usable) -> Json:
    """What one tank gives to the stock that is told of."""
    return {
        "tank": part.tank,
        "usable_m3": part.released_m3,
        "held_m3": part.m3 if part.held is not None else 0.0,
        "status": None if part.held is None else part.held.status.value,
        "until": None if part.held is None or part.held.until_ms is None else iso_ms(part.held.until_ms),
        "minimum_m3": part.minimum_m3,
        "above": part.above,
        "notes": part.notes,
        "known": part.m3 is not None,
        "seen": None if part.seen_ms is None else iso_ms(part.seen_ms),
    }


FIGURES: Final = (
    "mean_m3_per_day", "sd_m3", "by_weekday_m3", "cover_days", "cover_earliest_days", "cover_latest_days", "lead_days",
    "order_point_m3", "order_in_days", "order_by", "order_earliest_in_days",
)  # fmt: skip


def _answers(
    site: Site, tanks: list[str], stock: float, coming: float, by: Pattern, start: date, notes: list[str]
) -> Json:
    """Cover of what may be issued, and the order point. coming: what is released sooner than a load ordered now."""
    lasts = cover(stock, by, start)
    answers: Json = {
        "cover_days": lasts.days,
        "cover_earliest_days": lasts.earliest,
        "cover_latest_days": lasts.latest,
    }
    settling, rule = settling_days(site, tanks)
    notes = [*notes, rule] if rule else notes
    if site.forecast.delivery_days is None:
        why = "no order point: the site file does not say how long a delivery takes ([stock.forecast] delivery)"
        return answers | {"notes": [*notes, why]}
    point = order_point(stock + coming, by, start, site.forecast.delivery_days + settling)
    in_days = point.in_days
    order_by = None if in_days is None else (start + timedelta(days=int(in_days))).isoformat()
    return answers | {
        "lead_days": point.lead_days,
        "order_point_m3": point.usable_m3,
        "order_in_days": in_days,
        "order_earliest_in_days": point.earliest_in_days,
        "order_by": order_by,
        "order_now": in_days == 0,
        "notes": notes,
    }


def settling_days(site: Site, tanks: Iterable[str]) -> tuple[float, str]:
    """How long the next load settles, in days, and the word that it rests on."""
    if site.forecast.settling_days is not None:
        return site.forecast.settling_days, ""
    rules = {} if site.settling is None else site.settling.rules
    needs = [rules[tank].rule.need_ms(site.tank(tank).table.top_m) / DAY_MS for tank in tanks if tank in rules]
    if needs:
        return max(needs), f"settling of a full tank by the site's rule: {24 * max(needs):.1f} h"
    return 0.0, "settling counts as none: neither [stock.forecast] settling nor a settling rule is given"
