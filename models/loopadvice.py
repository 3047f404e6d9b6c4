"""What is wrong with a loop's supply, and what to change: a sentence each, with the figures behind it.

Judges what `models.loopbudget` worked out. `FAULT`: it cannot work as it stands; `CAUTION`: it works until something
else happens; `NOTE`: a figure that is missing.
"""

import math
from collections.abc import Iterator
from enum import StrEnum
from typing import Final, NamedTuple

from models.copper import thicker
from models.loopbudget import FAIL_HIGH_MA, MEASURING_MA, CircuitBudget, SupplyBudget

FULL_LOAD_PERCENT: Final = 100.0
HEAVY_LOAD_PERCENT: Final = 80.0
"""A supply is not planned to more than this (common practice, no source)."""


class Weight(StrEnum):
    FAULT = "fault"
    CAUTION = "caution"
    NOTE = "note"


class Objection(NamedTuple):
    """`what` is wrong with the circuit or supply called `about`, and the `change` that mends it."""

    weight: Weight
    about: str
    what: str
    change: str

    @property
    def text(self) -> str:
        return f"{self.what}; {self.change}"


def objections(budget: SupplyBudget) -> list[Objection]:
    """Everything that speaks against a supply and its circuits, the supply first."""
    found = list(_supply(budget))
    for circuit in budget.circuits:
        found += _circuit(budget, circuit)
    return found


def fits(budget: SupplyBudget) -> bool:
    """True when nothing on the supply is a fault."""
    return all(objection.weight is not Weight.FAULT for objection in objections(budget))


def _supply(budget: SupplyBudget) -> Iterator[Objection]:
    supply, percent = budget.supply, budget.load_percent
    limit_mA = supply.derated_mA
    derated = f" at {supply.enclosure_degC:g} degC in its enclosure" if limit_mA < supply.limit_mA - 1e-9 else ""
    wanted = 5 * math.ceil(budget.load_mA / (HEAVY_LOAD_PERCENT / 100) / 5)
    move = "move a load or a loop to another supply" if len(budget.circuits) + len(budget.loads) > 1 else "replace it"
    if percent is None:
        what = f"it gives no current{derated}"
        yield Objection(Weight.FAULT, supply.id, what, "cool the enclosure, or use a supply made for that temperature")
    elif percent > FULL_LOAD_PERCENT + 1e-9:
        what = f"{budget.load_mA:g} mA are drawn from {limit_mA:g} mA{derated}: {percent:.1f} %"
        change = f"{move}; one supply for all needs {wanted} mA or more{' there' if derated else ''}"
        yield Objection(Weight.FAULT, supply.id, what, change)
    elif percent > HEAVY_LOAD_PERCENT + 1e-9:
        what = f"{budget.load_mA:g} mA are drawn from {limit_mA:g} mA{derated}: {percent:.1f} %"
        change = f"{move}, or use a supply of {wanted} mA or more, to stay below {HEAVY_LOAD_PERCENT:g} %"
        yield Objection(Weight.CAUTION, supply.id, what, change)
    cold, surge_mA = budget.cold_percent, supply.derated_surge_mA
    if cold is not None and cold > FULL_LOAD_PERCENT + 1e-9 and (percent or 0) <= FULL_LOAD_PERCENT + 1e-9:
        what = f"a cold start takes {budget.cold_mA:g} mA and the supply gives {surge_mA:g} mA: its volts break down"
        change = "put what heats on a supply of its own, or use one that gives this for a moment"
        yield Objection(Weight.FAULT, supply.id, what, change)
    for load in budget.loads:
        if load.inrush_mA is None:
            what = f"what {load.name} takes while cold is not known and counts as its {load.steady_mA:g} mA"
            yield Objection(Weight.NOTE, supply.id, what, "look up its cold inrush")
    if supply.derates_above_degC is not None and supply.enclosure_degC is None:
        what = f"it gives less above {supply.derates_above_degC:g} degC and the temperature around it is not known"
        yield Objection(Weight.NOTE, supply.id, what, "give the highest temperature of its enclosure")
    if len(budget.circuits) > 1:
        bare = [c.circuit.name for c in budget.circuits if c.circuit.limiter_mA is None]
        if bare:
            what = f"a short in {_or(bare)} takes all that the supply gives and drags its neighbours down"
            change = "fit a limiter or a fuse in each loop"
            yield Objection(Weight.CAUTION, supply.id, what, change)


def _or(names: list[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _circuit(budget: SupplyBudget, loop: CircuitBudget) -> Iterator[Objection]:
    circuit, name, volts = loop.circuit, loop.circuit.name, budget.supply.least_V
    if loop.spare_20_V < -1e-9:
        what = f"{-loop.spare_20_V:.2f} V are missing at 20 mA: its current stops at {_most(loop)} and reads low"
        yield Objection(Weight.FAULT, name, what, _more_volts(loop, volts, 20.0))
    elif loop.spare_highest_V < -1e-9:
        highest = circuit.highest_mA
        what = f"{-loop.spare_highest_V:.2f} V are missing at {highest:g} mA{_stops(loop)}"
        weight = Weight.CAUTION if loop.fail_high else Weight.FAULT
        yield Objection(weight, name, what, _more_volts(loop, volts, highest))
    elif not loop.fail_high and circuit.limiter_mA is not None and circuit.limiter_mA < FAIL_HIGH_MA:
        what = f"its limiter stops the current at {circuit.limiter_mA:g} mA: fail-high cannot be signalled"
        yield Objection(Weight.FAULT, name, what, f"use a limiter of more than {circuit.highest_mA:g} mA")
    elif not loop.fail_high:
        what = (
            f"the supply has {loop.ceiling_supply_mA:.1f} mA left for it when all else draws its most: fail-high may "
            "not be signalled"
        )
        yield Objection(Weight.FAULT, name, what, "take something off the supply")
    if loop.spare_lowest_V < -1e-9:
        what = f"{-loop.spare_lowest_V:.2f} V are missing at {circuit.lowest_mA:g} mA: the device may not start"
        yield Objection(Weight.FAULT, name, what, _more_volts(loop, volts, circuit.lowest_mA))
    elif circuit.liftoff_low_V is None:
        what = (
            f"its lift-off voltage at {circuit.lowest_mA:g} mA is not given; many two-wire devices need more volts "
            "there than at 20 mA (from memory)"
        )
        yield Objection(Weight.NOTE, name, what, "look it up and give it")


def _most(loop: CircuitBudget) -> str:
    return "no current at all" if not loop.ceiling_V_mA else f"{loop.ceiling_V_mA:.1f} mA"


def _stops(loop: CircuitBudget) -> str:
    """What a current that the volts end before fail-high looks like."""
    most = loop.ceiling_V_mA
    if most is None or loop.fail_high:
        return ""
    seen = "a full tank" if most <= MEASURING_MA else "neither a level nor a failure"
    return f": its current stops at {most:.1f} mA, and a fail-high looks like {seen}"


def _more_volts(loop: CircuitBudget, volts: float, current_mA: float) -> str:
    """Ways to the missing volts at a current, the nearest first."""
    circuit = loop.circuit
    low = current_mA == circuit.lowest_mA and circuit.liftoff_low_V is not None
    liftoff_V = circuit.liftoff_low_V if low and circuit.liftoff_low_V is not None else circuit.liftoff_V
    missing_V = liftoff_V - circuit.terminal_V(volts, current_mA)
    ways, burden = [], sum(circuit.burdens_ohm)
    ohm = 1000 * missing_V / current_mA
    if ohm < burden:
        ways.append(f"take {math.ceil(ohm)} ohm off the burdens (to {math.floor(burden - ohm)} ohm)")
    if circuit.cable is not None:
        saved = ((cable.size, circuit.cable_ohm - cable.ohm) for cable in thicker(circuit.cable))
        fitting = next((size for size, saving in saved if saving * current_mA / 1000 >= missing_V), None)
        if fitting is not None:
            ways.append(f"lay {fitting} instead of {circuit.cable.size or 'this cable'}")
    ways.append(f"use a supply that gives at least {math.ceil(10 * (volts + missing_V)) / 10:g} V")
    return ", or ".join(ways)
