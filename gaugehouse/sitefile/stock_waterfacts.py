"""What the keys of `[stock.water]` and `[stock.forecast]` mean together, and the rules that they make."""

from typing import Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.schema import SiteFile
from gaugehouse.sitefile.stock_waterspec import ForecastSpec, WaterSpec
from inventory.draincheck import USUAL_SOURCE, DrainRules
from inventory.forecast import ForecastRules
from inventory.wateraccount import WaterRules
from models.bounds import Bounds
from models.breathing import PAINTS
from models.moistair import SEA_LEVEL_PA, pressure_at_Pa

DAY_MS: Final = 86_400_000
DAY_S: Final = 86_400


def check_water(draft: Draft) -> None:
    """Every mistake between these keys, into the draft's report."""
    stock = draft.file.stock
    if stock is None:
        return
    water, forecast = stock.water, stock.forecast
    if water is not None:
        for key in ("account_over", "working_every", "others_every"):
            _whole_days(draft, key, getattr(water, key))
        for index, tank in enumerate(water.working or ()):
            draft.expect_id(f"stock.water.working[{index + 1}]", tank, "tank")
        ends = water.fuel_saturation
        if ends is not None and len(ends) == 2 and ends[0] > ends[1]:
            text = f"{ends[0]:g} % is above {ends[1]:g} %; write the lower bound first"
            draft.report.error("stock.water.fuel_saturation", text, found=f"{ends[0]:g} %, {ends[1]:g} %")
        changed = water.working_every != DAY_MS or water.others_every != 7 * DAY_MS
        clean = all(draft.report_is_clean(f"stock.water.{key}") for key in ("working_every", "others_every"))
        if changed and clean and water.rule_source is None and draft.report_is_clean("stock.water.rule_source"):
            text = 'missing; a rule of the site\'s own names its source, such as rule_source = "fuel manual 4.2"'
            draft.report.error("stock.water.rule_source", text)
    if forecast is not None and forecast.look_back is not None and forecast.least_days is not None:
        days = forecast.look_back // DAY_MS
        if forecast.least_days > days:
            text = (
                f"{forecast.least_days} days are more than `look_back` holds ({days} d); lower one or raise the other"
            )
            draft.report.error("stock.forecast.least_days", text, found=str(forecast.least_days))


def _whole_days(draft: Draft, key: str, value: int | None) -> None:
    if value is not None and value % DAY_MS:
        text = f'{value / DAY_MS:g} d is no whole number of days; checks count site days, write "1 d" or "7 d"'
        draft.report.error(f"stock.water.{key}", text, found=f"{value / DAY_MS:g} d")


def water_of(file: SiteFile) -> WaterSpec:
    """The rules of a site file without mistakes."""
    table, altitude = file.stock.water, file.site.altitude
    low, high = table.fuel_saturation or (0.0, 100.0)
    new, old = PAINTS[table.paint]
    rules = WaterRules(
        carried_ppm=Bounds(0.0, table.carried_at_most),
        saturation=Bounds(low / 100, high / 100),
        absorptance=Bounds(new, old),
        insolation_Jpm2=Bounds(0.0, table.insolation),
        vent_range_Pa=table.vent_range,
        roof_below_air_K=table.roof_below_air,
        air_range_K=table.air_range,
        rain_m3_per_day=None if table.rain_at_most is None else float(f"{table.rain_at_most * DAY_S:.12g}"),
        pressure_Pa=SEA_LEVEL_PA if altitude is None else pressure_at_Pa(altitude),
        edition=table.method,
    )
    drains = DrainRules(
        table.working_every // DAY_MS,
        table.others_every // DAY_MS,
        table.working_within,
        tuple(table.working),
        table.rule_source or USUAL_SOURCE,
    )
    return WaterSpec(rules, drains, table.account_over // DAY_MS)


def forecast_of(file: SiteFile) -> ForecastSpec:
    """The rules of a site file without mistakes."""
    table = file.stock.forecast
    rules = ForecastRules(table.look_back // DAY_MS, table.least_days, table.half_life / DAY_MS)
    days = [None if ms is None else ms / DAY_MS for ms in (table.delivery, table.settling)]
    return ForecastSpec(rules, *days)
