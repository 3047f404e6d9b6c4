"""What the keys that make stock of a level mean together: a certificate goes with a table, an accuracy is said once,
a roof's critical zone and a suction lie inside the tank, and a rule of safe fill has all that it needs.
"""

import math
from collections.abc import Iterator
from typing import Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.schema import TankTable
from gaugehouse.sitefile.stockschema import AccuracyTable, KnownTable, LiquidHeadTable, RoofTable, SafeFillTable
from models.capacity import CapacityTable
from models.correction import Edition

WAYS = ("limits", "standard", "expanded")


def check_stock(draft: Draft, key: str, tank: TankTable, table: CapacityTable | None) -> None:
    """Every mistake between these keys of one tank, into the draft's report."""
    _certificate(draft, key, tank)
    for name, known in _accuracies(tank.accuracy):
        _one_way(draft, f"{key}.accuracy.{name}", known)
    if tank.shell_insulated and tank.shell_expansion is None and draft.report_is_clean(f"{key}.shell_expansion"):
        text = "this key goes with shell_expansion; add shell_expansion, or remove it"
        draft.report.error(f"{key}.shell_insulated", text)
    if tank.roof is not None:
        _roof(draft, f"{key}.roof", tank.roof, table)
    if tank.liquid_head is not None:
        _liquid_head(draft, f"{key}.liquid_head", tank, tank.liquid_head, table)
    site = draft.file.site
    if tank.pressure and site is not None and site.volume_correction is Edition.TABLES_1980:
        text = (
            f"{tank.pressure:g} kPa: the 1980 tables know no pressure; remove this key, or write [site] "
            f'volume_correction = "{Edition.API_2004.value}"'
        )
        draft.report.error(f"{key}.pressure", text, found=f"{tank.pressure:g} kPa", allowed="0 kPa")
    if tank.suction is not None and table is not None:
        _inside(draft, f"{key}.suction", tank.suction, table)
    if tank.safe_fill is not None:
        _safe_fill(draft, f"{key}.safe_fill", tank, tank.safe_fill)


def _certificate(draft: Draft, key: str, tank: TankTable) -> None:
    report, drawn = draft.report, tank.shape is not None and tank.capacity is None
    if drawn and tank.proportional_parts is not None:
        text = "proportional parts belong to a printed table; remove this key, or give the table with `capacity`"
        report.error(f"{key}.proportional_parts", text)
    certificate, here = tank.certificate, f"{key}.certificate"
    if certificate is None:
        return
    if drawn:
        text = "a drawing has no calibration certificate; give the certificate's table with `capacity`, or remove this"
        report.error(here, text)
        return
    if certificate.uncertainty is None and certificate.form is None and report_clean(draft, here):
        text = (
            "missing; give the certificate's `uncertainty`, or, where it states none, the class of the tank, such as "
            'form = "upright"'
        )
        report.error(f"{here}.uncertainty", text, allowed='"0.2 %", or form = "upright"')
    if certificate.date and certificate.next_due and certificate.next_due <= certificate.date:
        text = f"{certificate.next_due} is not after the calibration of {certificate.date}; mend one of the two"
        report.error(f"{here}.next_due", text, found=certificate.next_due, allowed=f"after {certificate.date}")
    if tank.accepted_by is not None:
        text = "this table has a certificate, so nobody need accept that it has none; remove this key"
        report.error(f"{key}.accepted_by", text, found=tank.accepted_by)


def report_clean(draft: Draft, here: str) -> bool:
    """True where neither of the two keys that state an uncertainty is wrong already."""
    return draft.report_is_clean(f"{here}.uncertainty") and draft.report_is_clean(f"{here}.form")


def _accuracies(table: AccuracyTable | None) -> Iterator[tuple[str, "KnownTable[float]"]]:
    for name in AccuracyTable.model_fields if table is not None else ():
        known = getattr(table, name)
        if isinstance(known, KnownTable):
            yield name, known


def _one_way(draft: Draft, key: str, known: "KnownTable[float]") -> None:
    if not draft.report_is_clean(key):
        return
    given = [way for way in WAYS if getattr(known, way) is not None]
    if len(given) != 1:
        found = " and ".join(given) or "none of them"
        text = f"found {found}; say it in one way: limits (of error), standard, or expanded with its coverage"
        draft.report.error(key, text, found=found, allowed="one of limits, standard, expanded")
    elif known.coverage != 2.0 and given != ["expanded"]:
        text = f"a coverage factor goes with `expanded`, not with `{given[0]}`; remove it"
        draft.report.error(f"{key}.coverage", text, found=known.coverage)


def _roof(draft: Draft, key: str, roof: RoofTable, table: CapacityTable | None) -> None:
    low, high = roof.critical_low, roof.critical_high
    if low is not None and high is not None and low > high:
        text = f"{high:g} m is below critical_low ({low:g} m); the lower end of the zone comes first, swap the two"
        draft.report.error(f"{key}.critical_high", text, found=f"{high:g} m", allowed=f"from {low:g} m")
    elif high is not None and table is not None:
        _inside(draft, f"{key}.critical_high", high, table)


HEAD_BELOW_TOP_M: Final = 0.05
AREA_OFF_FRAC: Final = 0.02


def _liquid_head(draft: Draft, key: str, tank: TankTable, head: LiquidHeadTable, table: CapacityTable | None) -> None:
    """A shell that is upright, as wide as its table says, and as high."""
    report = draft.report
    if tank.shape is not None and tank.shape.kind != "upright":
        text = f'only an upright shell bulges by this rule, and this is a "{tank.shape.kind}" tank; remove this table'
        report.error(key, text, found=tank.shape.kind, allowed="upright")
    elif table is not None and report_is_whole(draft, key):
        top = math.fsum(course.height for course in head.course)
        if top < table.top_m - HEAD_BELOW_TOP_M:
            text = f"the courses end at {top:g} m, the capacity table at {table.top_m:g} m; add the courses above"
            report.error(f"{key}.course", text, found=f"{top:g} m", allowed=f"{table.top_m:g} m")
            return
        middle = (table.bottom_m + table.top_m) / 2
        wide = 2 * math.sqrt(table.area_m2(middle) / math.pi)
        if abs(head.diameter - wide) > AREA_OFF_FRAC * wide:
            text = (
                f"{head.diameter:g} m, but the capacity table's own rows are those of a tank {wide:.2f} m wide; mend "
                "one of the two"
            )
            report.error(f"{key}.diameter", text, found=f"{head.diameter:g} m", allowed=f"{wide:.2f} m")


def report_is_whole(draft: Draft, key: str) -> bool:
    """True where nothing is wrong with the shell's own keys."""
    return draft.report_is_clean(f"{key}.course") and draft.report_is_clean(f"{key}.diameter")


def _inside(draft: Draft, key: str, level_m: float, table: CapacityTable) -> None:
    if table.bottom_m <= level_m <= table.top_m:
        return
    text = f"{level_m:g} m is not in the capacity table ({table.bottom_m:g} to {table.top_m:g} m); mend one of the two"
    draft.report.error(key, text, found=f"{level_m:g} m", allowed=f"{table.bottom_m:g} to {table.top_m:g} m")


def _safe_fill(draft: Draft, key: str, tank: TankTable, fill: SafeFillTable) -> None:
    """What each rule needs; rate and time may come from [tank.response]."""
    if fill.rule is None or not draft.report_is_clean(key):
        return
    percent = fill.rule == "percent"
    for name in ("rate", "time") if percent else ("percent",):
        if getattr(fill, name) is not None:
            draft.report.error(f"{key}.{name}", f'this key does not go with rule = "{fill.rule}"; remove it')
    if percent:
        if fill.percent is None:
            draft.report.error(f"{key}.percent", 'missing; the rule needs it, add percent = "90 %"', allowed='"90 %"')
        if not fill.source:
            text = 'missing; the sheet cites who says so, add source = "..." (the code or the company rule)'
            draft.report.error(f"{key}.source", text)
        return
    if not draft.report_is_clean(f"{tank_key(key)}.response"):
        return
    if fill.rate is None and tank.response is None:
        text = 'missing; add rate = "1000 L/min", or max_fill_rate in [tank.response]'
        draft.report.error(f"{key}.rate", text, allowed='"1000 L/min"')
    limits = tank.limits
    if fill.rule == "response time" and limits is not None and limits.critical_high is None:
        text = "this rule counts down from critical_high, and [tank.limits] has none; add critical_high"
        draft.report.error(f"{key}.rule", text, found=fill.rule)
    elif fill.time is None and (
        tank.response is None or (fill.rule == "response time" and limits is not None and limits.high_high is None)
    ):
        text = 'missing; add time = "10 min", or [tank.response] (with the rule "response time" high_high too)'
        draft.report.error(f"{key}.time", text, allowed='"10 min"')


def tank_key(key: str) -> str:
    """The key of a tank from that of one of its tables."""
    return key.rpartition(".")[0]
