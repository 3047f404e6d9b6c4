"""A loop check as the pages, the API and the record book have it."""

from typing import TYPE_CHECKING

from gaugehouse.act import Json
from gaugehouse.days import iso_ms
from gaugehouse.loopchecks import RUNS, LoopCheck, judged

if TYPE_CHECKING:
    from gaugehouse.core import Core


def item_of(core: "Core", instrument: str) -> Json:
    """What was checked, as the site file describes it on that day."""
    site = core.site
    found = [(bus, spec) for bus in site.buses for spec in bus.instruments if spec.id == instrument]
    where = [{"bus": bus.id, "where": bus.device or f"{bus.host}:{bus.port}", "unit": spec.unit} for bus, spec in found]
    tanks = [{"id": tank, "name": site.tank(tank).name} for tank in tanks_of(core, instrument)]
    name = site.instrument_names.get(instrument, instrument)
    return {"site": site.name, "name": name, "tanks": tanks} | (where[0] if where else {})


def state_of(core: "Core", check: LoopCheck) -> Json:
    """A check under way for people and programs, with the names of what it blinds and the step to take next."""
    views = [core.alarms.view(alarm) for alarm in check.blinds]
    following = check.next()
    return {
        "number": check.number,
        "instrument": check.instrument,
        "by": check.by,
        "since": iso_ms(check.started_ms),
        "until": iso_ms(check.until_ms),
        "blinds": list(check.blinds),
        "blinded_names": [view.name for view in views if view is not None],
        "covered_by": check.covered_by,
        "before_m": dict(check.before_m),
        "limit_percent": check.limit_percent,
        "taken": len(check.steps),
        "steps": [step._asdict() for run in RUNS for step in check.of(run)],
        "next": None
        if following is None
        else {"run": following[0], "point_mA": following[1], "direction": following[2].value},
        "verdict": {run: judged(check, run)[0].passes for run in RUNS if check.of(run)},
    }


def tanks_of(core: "Core", instrument: str) -> list[str]:
    """The tanks whose level an instrument tells."""
    return [tank.id for tank in core.site.tanks if tank.instrument == instrument]
