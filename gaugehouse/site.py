"""The site: what `load_site` makes of a site file, and what everything else in the house is built from.

The file's text is read once, at the start; there is no live reload. All mistakes are told together in one `SiteError`.
"""

from dataclasses import replace
from pathlib import Path

from gaugehouse.sitefile.advice import advise
from gaugehouse.sitefile.alarmsheet import AlarmSheet, Sources, read_sheet
from gaugehouse.sitefile.consolechecks import check_console
from gaugehouse.sitefile.deadbands import check_deadbands
from gaugehouse.sitefile.dipchecks import check_dips
from gaugehouse.sitefile.domain import build, settled
from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import (
    AlarmRules,
    MeterSpec,
    MqttSpec,
    PointSpec,
    ProductSpec,
    Response,
    Site,
    TankExtras,
    changes,
)
from gaugehouse.sitefile.notifychecks import check_notify
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.problems import Problem, Report, Severity, SiteError
from gaugehouse.sitefile.reading import read_text
from gaugehouse.sitefile.registerschecks import check_register_server
from gaugehouse.sitefile.secret import read_password
from gaugehouse.sitefile.serverchecks import check_servers
from gaugehouse.sitefile.settlingfacts import check_settling
from gaugehouse.sitefile.sheetlines import check_set_points
from gaugehouse.sitefile.sitechecks import check_site
from gaugehouse.sitefile.stock_accountfacts import check_accounts
from gaugehouse.sitefile.stock_documentfacts import check_documents
from gaugehouse.sitefile.stock_waterfacts import check_water
from gaugehouse.sitefile.tankchecks import check_tanks
from gaugehouse.sitefile.watchfacts import watched_of
from gaugehouse.sitefile.wirechecks import check_wires

__all__ = [
    "AlarmRules",
    "MeterSpec",
    "MqttSpec",
    "NotifySpec",
    "PointSpec",
    "Problem",
    "ProductSpec",
    "Response",
    "Severity",
    "Site",
    "SiteError",
    "TankExtras",
    "changes",
    "load_site",
    "read_password",
]


def load_site(path: Path, *, sheet: Path | None = None) -> Site:
    """Read and check a site file and all that it points to. Raises `SiteError` with every mistake; warnings stay.

    sheet: an alarm sheet in the place of the site's own.
    """
    report = Report(str(path))
    draft = _draft(path, report)
    if draft is None or report.errors:
        raise SiteError(report.errors)
    built = build(draft, path)
    site = _with_sheet(built if sheet is None else replace(built, alarm_sheet=sheet), report)
    if report.errors:
        raise SiteError(report.errors)
    advise(draft, site)
    return replace(site, warnings=report.warnings)


def _with_sheet(site: Site, report: Report) -> Site:
    rules = site.alarm_rules.acknowledged_by_return
    if site.alarm_sheet is None:
        if rules:
            report.error("alarms.acknowledged_by_return", "classes stand in the alarm sheet; name it by `sheet`")
        return check_deadbands(settled(site, AlarmSheet()), AlarmSheet(), report)
    sources = Sources(
        [tank.id for tank in site.tanks],
        [loop.instrument for loop in site.loops],
        [point.id for point in site.points],
        {(one.source, limit.condition) for one in watched_of(site) for limit in one.limits},
        {(tank.tank, limit.condition) for tank in site.tank_alarms for limit in tank.limits},
    )
    sheet = read_sheet(site.alarm_sheet, sources, rules, report)
    if report.errors:
        return site
    return check_deadbands(check_set_points(settled(site, sheet), sheet, report), sheet, report)


def _draft(path: Path, report: Report) -> Draft | None:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as exc:
        report.error("", f"the site file cannot be read: {exc.strerror}; check the name and its rights")
        return None
    except UnicodeDecodeError as exc:
        report.error("", f"the site file is no text in UTF-8 (byte {exc.start}); save it as UTF-8")
        return None
    read = read_text(text, report)
    if read is None:
        return None
    draft = Draft(*read, path.parent, report)
    check_site(draft)
    check_wires(draft)
    check_tanks(draft)
    check_water(draft)
    check_documents(draft)
    check_notify(draft)
    check_servers(draft)
    check_console(draft)
    check_dips(draft)
    check_register_server(draft)
    check_settling(draft)
    check_accounts(draft)
    return draft
