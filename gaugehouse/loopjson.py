"""The budget of a supply as JSON, for programs and for the loop's page. Works nothing out."""

from typing import Any

from models.loopadvice import Objection, fits, objections
from models.loopbudget import CircuitBudget, SupplyBudget


def supply_json(budget: SupplyBudget) -> dict[str, Any]:
    """A supply's budget with that of each circuit on it and what speaks against them, for programs and pages."""
    supply = budget.supply
    return {
        "supply": supply.id,
        "volts_V": supply.volts_V,
        "least_V": supply.least_V,
        "limit_mA": supply.limit_mA,
        "derated_mA": supply.derated_mA,
        "loops_mA": budget.loops_mA,
        "loads": [load._asdict() for load in budget.loads],
        "load_mA": budget.load_mA,
        "load_percent": budget.load_percent,
        "cold_mA": budget.cold_mA,
        "cold_percent": budget.cold_percent,
        "fits": fits(budget),
        "circuits": [_circuit_json(circuit) for circuit in budget.circuits],
        "objections": [_objection_json(objection) for objection in objections(budget)],
    }


def _circuit_json(loop: CircuitBudget) -> dict[str, Any]:
    circuit = loop.circuit
    return {
        "circuit": circuit.name,
        "cable_ohm": circuit.cable_ohm,
        "burden_ohm": sum(circuit.burdens_ohm),
        "loop_ohm": circuit.ohm,
        "most_ohm": loop.most_ohm,
        "lowest_mA": circuit.lowest_mA,
        "highest_mA": circuit.highest_mA,
        "terminal_at_highest_V": loop.terminal_V,
        "spare_at_lowest_V": loop.spare_lowest_V,
        "spare_at_20mA_V": loop.spare_20_V,
        "spare_at_highest_V": loop.spare_highest_V,
        "ceiling_mA": loop.ceiling_mA,
        "ceiling_by_volts_mA": loop.ceiling_V_mA,
        "ceiling_by_supply_mA": loop.ceiling_supply_mA,
        "fail_high": loop.fail_high,
    }


def _objection_json(objection: Objection) -> dict[str, str]:
    return {**objection._asdict(), "weight": objection.weight.value}
