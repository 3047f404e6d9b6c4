"""What is legal but unwise in a site: warnings, each with the figures behind it. The site starts all the same."""

from collections import Counter
from collections.abc import Iterable
from typing import Final

from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS
from gaugehouse.sitefile.budget import budget_of, damped_of
from gaugehouse.sitefile.dipchecks import advise_dips
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.notifyadvice import advise_notify
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.registerschecks import advise_register_server
from gaugehouse.sitefile.schema import TankTable
from gaugehouse.sitefile.serverchecks import advise_servers
from gaugehouse.sitefile.signalfacts import level_step_m
from gaugehouse.sitefile.tankchecks import range_m
from gaugehouse.sitefile.wireadvice import advise_wires
from models.certificate import reference_height_objection
from models.concern import LEAST_GAP_M, LEAST_RESPONSE_S
from models.errors import OutOfRange
from models.loopadvice import Weight, objections
from models.signal import NE43_2003
from models.tank import LevelKind, Measures, Tank

DIP_CHECK_M: Final = 0.005
"""How near a gauge must come to a dip. Source: UK HMRC HCOTEG176750: 8 mm, 5 mm for kit of after October 2006."""

DIP_DOUBT_M: Final = 0.002
"""The doubt of one dip. Source: UK HMRC HCOTEG152790: 2 mm for each account taken."""

TWELVE_BITS_MA: Final = 16 / 4095
"""One count of a 12-bit card over 4-20 mA (computed); a card of 0-20 mA is coarser."""

INDEPENDENT_FROM: Final = 3
"""The API 2350 category from which a high-high sensor independent of the gauge is asked for (from memory)."""

UNSEEN_FRAC: Final = 0.5
"""Of the response time, at most, may pass before a person knows of it: our own choice."""

_LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")


def advise(draft: Draft, site: Site) -> None:
    """Every warning for a site without mistakes, into the draft's report."""
    report = draft.report
    _outside(site, report)
    advise_wires(draft, site)
    advise_notify(site, report)
    advise_servers(site, report)
    advise_dips(site, report)
    advise_register_server(site, report)
    _names(site, report)
    _densities(site, report)
    _power(site, report)
    for (key, table), tank in zip(draft.items("tank"), site.tanks, strict=True):
        _silence(key, table, site, report)
        _steps(draft, key, table, tank)
        _standards(key, table, tank, report)
        _limits(key, table, site, report)
        _response(key, tank, site, report)
        _damped(key, tank, site, report)
        _papers(key, tank, site, report)
        _safe_fill(key, tank, site, report)


def _outside(site: Site, report: Report) -> None:
    if site.console_host not in _LOOPBACK and site.console_certificate is None and not site.console_proxies:
        text = (
            "the console listens to the network and does not encrypt: passwords can be read on the way; give it "
            "certificate and private_key, put it behind a proxy with TLS, or use 127.0.0.1"
        )
        report.warn("console.host", text, found=site.console_host)
    mqtt = site.mqtt
    if mqtt and mqtt.username and not mqtt.tls and mqtt.host not in _LOOPBACK:
        text = "the password crosses the network in the clear; add tls = true"
        report.warn("mqtt.tls", text, found="false", allowed="true")


def _names(site: Site, report: Report) -> None:
    gauges = {loop.instrument for loop in site.loops}
    for tank in site.tanks:
        if tank.id in gauges:
            text = f'"{tank.id}" is also the id of an instrument: lists of alarms will show both; choose another'
            report.warn(f"tank[{tank.id}].id", text, found=tank.id)
    tanks = Counter(tank.instrument for tank in site.tanks)
    for instrument, count in tanks.items():
        if count > 1:
            text = (
                f"it gauges {count} tanks, but loop faults are judged on the first one's signal only; make one "
                "[[instrument]] for each channel, with shares_unit = true"
            )
            report.warn(f"instrument[{instrument}]", text, found=count, allowed="1")


def _densities(site: Site, report: Report) -> None:
    for product in site.products:
        why = product.objection(site.reference_degC)
        if why is not None:
            report.warn(f"product[{product.id}].base_density", why, found=product.base_density_kgpm3)


def _power(site: Site, report: Report) -> None:
    """Supplies and loops that do not fit, or only until something else happens."""
    keys = {fed.circuit.name: f"instrument[{fed.instrument}].loop" for fed in site.power.fed}
    for budget in site.power.budgets():
        for objection in objections(budget):
            if objection.weight is not Weight.NOTE:
                key = keys.get(objection.about, f"supply[{budget.supply.id}]")
                key += ".output" if objection.about.endswith(" output") else ""
                report.warn(key, objection.text)


def _silence(key: str, table: TankTable, site: Site, report: Report) -> None:
    """What was left out and costs something."""
    if table.measures is None:
        text = 'not said, taken as "innage"; write measures = "innage", or "distance" for a gauge that looks down'
        report.warn(f"{key}.measures", text, allowed='"innage" or "distance"')
    if table.temperature == "none":
        text = "no temperature: this tank has no standard volume and no mass; name a signal if there is one"
        if table.watch is not None and table.watch.unordered_movement is not None:
            text += ". Its unordered movement is judged on the observed volume: the day's warming can look like one"
        report.warn(f"{key}.temperature", text, found="none")
    if table.water == "none":
        text = "no water measured: its volume counts as fuel; name a signal where an instrument measures it"
        report.warn(f"{key}.water", text, found="none")
    if not any(limit.condition == "high_high" for limit in site.alarms_of(table.id).limits):
        text = "no high-high limit: nothing warns before this tank overflows; add high_high"
        report.warn(f"{key}.limits.high_high", text)


def _steps(draft: Draft, key: str, table: TankTable, tank: Tank) -> None:
    signal = draft.signal(table.level)
    step_m = None if signal is None else level_step_m(signal, tank)
    if signal is None or step_m is None:
        return
    shown = f"one step of {table.level} is {1000 * step_m:.2g} mm of level"
    if step_m > DIP_CHECK_M:
        text = (
            f"{shown}: too coarse to be checked against a dip to 5 or 8 mm (UK HMRC HCOTEG176750); use a register "
            "in mm where the instrument has one"
        )
        draft.report.warn(f"{key}.level", text, found=f"{1000 * step_m:.2g} mm", allowed="5 mm")
    elif tank.kind is LevelKind.CURRENT and step_m > DIP_DOUBT_M and _has_12_bits(step_m, tank):
        text = f"{shown}: a 12-bit card is coarser than the 2 mm of a dip (UK HMRC HCOTEG152790); use a finer one"
        draft.report.warn(f"{key}.level", text, found=f"{1000 * step_m:.2g} mm", allowed="2 mm")


def _has_12_bits(step_m: float, tank: Tank) -> bool:
    """True for a card of 12 bits or fewer."""
    ends = tank.range_m
    return ends is not None and 16 * step_m / abs(ends[1] - ends[0]) > 0.999 * TWELVE_BITS_MA


def _standards(key: str, table: TankTable, tank: Tank, report: Report) -> None:
    ends = tank.range_m
    if ends is not None and ends[0] > ends[1] and tank.measures is Measures.INNAGE:
        text = (
            "an innage that falls as the current rises: this loop works in reverse, full at 4 mA; if it does not, turn "
            'at_4mA and at_20mA about, or write measures = "distance"'
        )
        report.warn(f"{key}.at_4mA", text, found=table.at_4mA)
    if tank.ne43 != NE43_2003:
        limits = (
            f"{tank.ne43.fail_low_mA:g}, {tank.ne43.low_mA:g}, {tank.ne43.high_mA:g}, {tank.ne43.fail_high_mA:g} mA"
        )
        text = f"limits of {limits} are not those of NAMUR NE 43 (3.6, 3.8, 20.5, 21 mA); keep the reason on file"
        report.warn(f"{key}.ne43", text, found=limits, allowed="3.6, 3.8, 20.5, 21 mA")
    category = table.overfill_category
    if category is not None and category >= INDEPENDENT_FROM and table.independent_high_high is None:
        text = (
            f"category {category} of API 2350 asks for a high-high sensor that is independent of the gauge, and none "
            "is named: alarms of the gauge are not independent; name a switch with independent_high_high"
        )
        report.warn(f"{key}.overfill_category", text, found=category)
    if table.shell_expansion is not None and table.shape is not None and table.shape.kind in ("lying", "sphere"):
        text = "CTSh is for an upright shell (API MPMS 12.1.1), and this tank is none; remove shell_expansion"
        report.warn(f"{key}.shell_expansion", text, found=table.shell_expansion)
    top, reference = tank.table.top_m, tank.reference_height_m
    if top > reference + 1e-9:
        text = f"the capacity table ends at {top:g} m, above the reference height of {reference:g} m; check both"
        report.warn(f"{key}.reference_height", text, found=f"{reference:g} m", allowed=f"{top:g} m or more")


def _limits(key: str, table: TankTable, site: Site, report: Report) -> None:
    limits = table.limits
    levels = {limit.condition: limit.at for limit in site.alarms_of(table.id).limits}
    highs = [levels[name] for name in LEVEL_HIGH_CONDITIONS if name in levels]
    if len(highs) > len(set(highs)):
        text = "high limits lie at one level: no time is left between one alarm and the next; set them apart"
        report.warn(f"{key}.limits", text, found=", ".join(f"{at:g} m" for at in highs))
    ends = range_m(table)
    for name in LEVEL_LOW_CONDITIONS:
        at = levels.get(name)
        if at is not None and ends is not None and at < ends[0] - 1e-9:
            text = f"{at:g} m is below the lower end of the range ({ends[0]:g} m): this alarm cannot come; raise it"
            report.warn(f"{key}.limits.{name}", text, found=f"{at:g} m", allowed=f"from {ends[0]:g} m")
    period_ms = site.period_ms[table.level.instrument]
    if (limits.rise_fast or limits.fall_fast) and limits.rate_window < 10 * period_ms:
        text = (
            f"{limits.rate_window / 1000:g} s hold fewer than 10 polls of {period_ms / 1000:g} s, and a rate needs 10; "
            f'write rate_window = "{10 * period_ms / 1000:g} s" or more'
        )
        report.warn(f"{key}.limits.rate_window", text, found=f"{limits.rate_window / 1000:g} s")


def _response(key: str, tank: Tank, site: Site, report: Report) -> None:
    """The first thing that is wrong with the time between high-high and critical high."""
    budget = budget_of(site, tank.id)
    if budget is None:
        return
    here, latency = f"{key}.response", budget.latency
    gap = f"the rise from high-high to critical high takes {budget.available_s:.0f} s at the largest flow"
    if budget.total_s >= budget.available_s:
        text = (
            f"{gap}, but alarm, people and valve need {budget.total_s:.0f} s ({_parts(budget.parts)}); lower high_high"
        )
        report.warn(here, text, found=f"{budget.total_s:.0f} s", allowed=f"below {budget.available_s:.0f} s")
    elif budget.given_s is not None and budget.total_s > budget.given_s:
        text = (
            f"a response time of {budget.given_s:.0f} s is given, but its parts add up to {budget.total_s:.0f} s "
            f"({_parts(budget.parts)}); raise it, or shorten what takes so long"
        )
        report.warn(f"{here}.response_time", text, found=f"{budget.given_s:.0f} s", allowed=f"{budget.total_s:.0f} s")
    elif latency.unseen_s > UNSEEN_FRAC * budget.available_s:
        text = (
            f"{gap}, and {latency.unseen_s:.0f} s of it pass before a person knows ({_parts(budget.parts[:7])}); poll "
            "faster, shorten delays, or lower high_high"
        )
        allowed = f"up to {UNSEEN_FRAC * budget.available_s:.0f} s"
        report.warn(here, text, found=f"{latency.unseen_s:.0f} s", allowed=allowed)
    elif budget.available_s < LEAST_RESPONSE_S - 0.5 or budget.rise_m < LEAST_GAP_M - 1e-6:
        text = (
            f"critical high is {1000 * budget.rise_m:.0f} mm or {budget.available_s:.0f} s above high-high; API 2350 "
            "(secondary) asks for 75 mm and 5 min at least; lower high_high"
        )
        report.warn(here, text, found=f"{1000 * budget.rise_m:.0f} mm", allowed="75 mm and 300 s")


def _damped(key: str, tank: Tank, site: Site, report: Report) -> None:
    """A filter that is slower than the way from high to high-high."""
    for damped in damped_of(site, tank.id):
        rise, room = damped.rise_m, damped.room_m
        if rise is not None and room is not None and rise > room:
            text = (
                f"high is raised up to {damped.raised.total_s:.0f} s late ({_parts(damped.parts)}), and the "
                f"level rises {1000 * rise:.0f} mm meanwhile: past high-high, {1000 * room:.0f} mm above; damp less, "
                "or lower high"
            )
            report.warn(f"{key}.filter", text, found=f"{1000 * rise:.0f} mm", allowed=f"up to {1000 * room:.0f} mm")


def _parts(parts: Iterable[tuple[str, float]]) -> str:
    return ", ".join(f"{name} {seconds:g}" for name, seconds in parts if seconds)


def _papers(key: str, tank: Tank, site: Site, report: Report) -> None:
    """What speaks against the tank's certificate."""
    certificate = site.extras[tank.id].certificate
    if certificate is None:
        return
    for included, name, wrong in (
        (certificate.deadwood_included, "deadwood", "every volume is too high by what stands inside"),
        (certificate.bottom_included, "bottom", "every volume is off by what lies below the first row"),
    ):
        if not included:
            text = f"the table does not include the {name}: {wrong}; have the table completed, nothing is added here"
            report.warn(f"{key}.certificate.{name}_included", text, found="false", allowed="true")
    why = reference_height_objection(certificate, tank.reference_height_m)
    if why is not None:
        report.warn(f"{key}.reference_height", why, found=f"{tank.reference_height_m:g} m")


def _safe_fill(key: str, tank: Tank, site: Site, report: Report) -> None:
    """A rule that leaves nothing, or a working level above what it allows."""
    rule = site.safe_fill[tank.id]
    if rule is None:
        return
    try:
        fill = rule.safe_fill(tank.table)
    except OutOfRange as exc:
        report.warn(f"{key}.safe_fill", str(exc))
        return
    marks = {limit.condition: limit.at for limit in site.alarms_of(tank.id).limits}
    critical, high = marks.get("critical_high"), marks.get("high")
    if critical is not None and fill.level_m > critical + 1e-6:
        text = (
            f"the safe fill of {fill.level_m:.3f} m ({fill.rule}) is above critical_high ({critical:g} m), where the "
            "tank overflows or is harmed; choose another rule, or a lower percentage"
        )
        report.warn(f"{key}.safe_fill", text, found=f"{fill.level_m:.3f} m", allowed=f"below {critical:g} m")
    if high is not None and high > fill.level_m + 1e-6:
        text = (
            f"the maximum working level of {high:g} m is above the safe fill of {fill.level_m:.3f} m ({fill.rule}); "
            "lower high"
        )
        report.warn(f"{key}.limits.high", text, found=f"{high:g} m", allowed=f"up to {fill.level_m:.3f} m")
