"""The chain of a tank as commands, pages and the API show it: steps, the uncertainty with its terms, the figures."""

from typing import Any

from gaugehouse.keeper import TankKeeper
from gaugehouse.printing import table
from gaugehouse.rows import reading_json
from gaugehouse.site import Site
from models.chain import Step
from models.gauging import NOTHING, Gauged, gauged, gauging_of, steps_of
from models.reading import Bound, Quality, Reading, Reason
from models.stock_budget import Rest
from models.tank import Measured
from models.trust import Trust
from models.uncertainty import Budget, leading

Json = dict[str, Any]


def chain_of(site: Site, keeper: TankKeeper) -> Json:
    """Every step behind a tank's newest reading; `time` is None where there is none yet."""
    tank = keeper.tank
    latest, sample = keeper.latest, keeper.sample
    reading = latest or Reading(0, 0, keeper.tank.id, Quality.BAD, Reason.NO_COMMUNICATION)
    known = keeper.known or _nothing(keeper)
    budget = keeper.budget()
    raw, values = ({}, {}) if sample is None else (sample.raw, sample.values)
    unit = site.signals[tank.instrument, tank.level.signal].unit
    steps = steps_of(keeper.stock, tank, reading, known, budget, raw, values, unit)
    result = reading_json(reading)
    result["time"] = None if latest is None else result["time"]
    return chain_json(tank.id, steps, budget, result)


def _nothing(keeper: TankKeeper) -> Gauged:
    """What is known of a tank before its first poll."""
    measured = Measured(Quality.BAD, Reason.NO_COMMUNICATION, None, None, None, Bound.NONE)
    gauging = gauging_of(measured, Trust(Quality.BAD, Reason.NO_COMMUNICATION), NOTHING, NOTHING, NOTHING)
    return gauged(keeper.stock, gauging, Rest.AFTER_RECEIPT)


def chain_json(tank: str, steps: list[Step], budget: Budget | None, result: Json) -> Json:
    """The answer of `read --json`, `convert --json` and the API. `uncertainty` is None where there is no stock."""
    return {
        "tank": tank,
        "time": result["time"],
        "quality": result["quality"],
        "reason": result["reason"],
        "steps": [step._asdict() for step in steps],
        "uncertainty": None if budget is None else budget_json(budget),
        "result": result,
    }


def budget_json(budget: Budget) -> Json:
    """A budget with its terms, the largest contribution first; figures in the unit of the quantity."""
    terms = [
        {
            "name": term.name,
            "standard": term.standard,
            "unit": term.unit,
            "sensitivity": term.sensitivity,
            "contribution": abs(term.contribution),
            "source": term.source,
        }
        for term in sorted(budget.terms, key=lambda term: -abs(term.contribution))
    ]
    capacity = next((term.source for term in budget.terms if term.name.startswith("capacity table")), "")
    return {
        "quantity": budget.quantity,
        "value": budget.value,
        "unit": budget.unit,
        "standard": budget.standard,
        "coverage": budget.coverage,
        "expanded": budget.expanded,
        "expanded_percent": 100 * budget.expanded / budget.value if budget.value > 0 else None,
        "largest": leading(budget).name,
        "table": capacity,
        "terms": terms,
    }


def budget_text(uncertainty: Json | None) -> str:
    """The same for people; empty where there is no stock."""
    if uncertainty is None:
        return ""
    u = uncertainty
    percent = "" if u["expanded_percent"] is None else f" ({u['expanded_percent']:.2f} %)"
    head = (
        f"{u['quantity']} {u['value']:.3f} {u['unit']} +- {u['expanded']:.3f} {u['unit']}{percent}, expanded, "
        f"k = {u['coverage']:g}; largest: {u['largest']}; capacity table {u['table']}"
    )
    rows = [
        {
            "input": term["name"],
            "standard": f"{term['standard']:.3g}",
            "unit": term["unit"],
            f"in {u['unit']}": f"{term['contribution']:.4f}",
            "source": term["source"],
        }
        for term in u["terms"]
    ]
    return f"{head}\n{table(tuple(rows[0]), rows)}"
