"""How an alarm looks in a message: its words from the alarm sheet, its place from the site, its figures with units."""

from typing import Final

from alerts.notify.case import Case
from alerts.notify.letter import Face, House
from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS
from gaugehouse.core import Core
from gaugehouse.site import NotifySpec, Site
from models.reading import Quality
from models.tank import Tank

MM_PER_MIN: Final = 60_000.0
M3_PER_H: Final = 3_600.0


def house_of(site: Site, spec: NotifySpec | None, url: str, *, simulated: bool) -> House:
    """Who writes. url: the console's own address, used where the channel names no link."""
    link = (spec.link if spec is not None else None) or (f"{url.rstrip('/')}/alarms" if url else "the alarm page")
    return House(site.id, site.name, site.zone, link, simulated)


def face_of(core: Core, case: Case) -> Face:
    """An alarm in words; the plainest ones for an alarm that the site file no longer has."""
    view = core.alarms.view(case.id)
    short, place = short_of(core.site, case.source), place_of(core.site, case.source)
    if view is None:
        return Face(case.condition, short, place, "look at the alarm page", "at once")
    return Face(view.name, short, place, _plain(view.action), _plain(view.respond), _reads(core, case))


def short_of(site: Site, source: str) -> str:
    """Where it is, for a subject: the tank, also of an instrument or a point."""
    tanks = [tank.name for tank in site.tanks if source in (tank.id, tank.instrument)]
    tanks += [site.tank(point.tank).name for point in site.points if point.id == source and point.tank is not None]
    return ", ".join(tanks) or place_of(site, source)


def place_of(site: Site, source: str) -> str:
    """Where it is, for people: a tank with its product, an instrument with its tanks, a point, a channel."""
    for tank in site.tanks:
        if tank.id == source:
            return f"{_tank(tank)}, {site.product_of(tank.id).name}"
    if source in site.instrument_names:
        tanks = [_tank(tank) for tank in site.tanks if tank.instrument == source]
        of = f" of {', '.join(tanks)}" if tanks else ""
        return f"instrument {_named(site.instrument_names[source], source)}{of}"
    for point in site.points:
        if point.id == source:
            tank_words = f" of {_tank(site.tank(point.tank))}" if point.tank is not None else ""
            return f"{_named(point.name, point.id)}{tank_words}"
    for channel in site.channels:
        if channel.policy.source == source:
            return f"channel {channel.id}, for {channel.who}"
    return source


def _tank(tank: Tank) -> str:
    return _named(tank.name, tank.id)


def _named(name: str, id_: str) -> str:
    return name if name == id_ else f"{name} ({id_})"


def _plain(text: str) -> str:
    return text.strip().rstrip(".")


def _reads(core: Core, case: Case) -> str:
    """What was measured when it was raised, and what a level is now, beside the limit; empty where it is no figure."""
    site = core.site
    limits = [limit for tank in site.tank_alarms if tank.tank == case.source for limit in tank.limits]
    limits += [limit for watched in site.watched if watched.source == case.source for limit in watched.limits]
    limit = next((limit for limit in limits if limit.condition == case.condition), None)
    if limit is None or case.value is None:
        return ""
    match limit.per:
        case "m/s":
            return f"{MM_PER_MIN * case.value:.0f} mm/min when raised, limit {MM_PER_MIN * limit.at:.0f} mm/min"
        case "m3/s":
            return f"{M3_PER_H * case.value:.1f} m3/h when raised, limit {M3_PER_H * limit.at:.1f} m3/h"
        case "s":
            return f"{case.value / 60:.1f} min left when raised, limit {limit.at / 60:.1f} min"
    if limit.condition in (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS):
        return f"level {case.value:.3f} m when raised, {_level_now(core, case.source)}, limit {limit.at:.3f} m"
    return ""


def _level_now(core: Core, tank: str) -> str:
    latest = core.keepers[tank].latest
    if latest is None or latest.quality is Quality.BAD or latest.level_m is None:
        return "not known now"
    return f"{latest.level_m:.3f} m now"
