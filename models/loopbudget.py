"""What a loop's supply leaves for its transmitter: spare volts, current ceiling, load of the supply.

Knows direct current at rest and the moment when heaters are cold; knows nothing of barriers' licences, of ripple or of
cable capacitance. Source: Ohm's and Kirchhoff's laws; where a rule is practice it says so.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from models.copper import Cable

FULL_MA: Final = 20.0
LOWEST_MA: Final = 3.6
"""The lowest current that a transmitter signals with: NAMUR NE 43 fail-low."""
HIGHEST_MA: Final = 22.0
"""The highest current that a transmitter in fault draws, where its maker says nothing else (common practice, no
source); NAMUR NE 43 asks for 21 mA or more."""
FAIL_HIGH_MA: Final = 21.0
"""From here on a current tells of a failure. Source: NAMUR NE 43 (2003)."""
MEASURING_MA: Final = 20.5
"""Up to here a current is measuring information. Source: NAMUR NE 43 (2003)."""


class Supply(NamedTuple):
    """A direct current supply. lowest_V: what it still gives at full load and low mains; None: its nominal volts.

    limit_mA: what it can give for good, up to `derates_above_degC`; above it loses `derating_frac_per_degC` of that for
    each degree. enclosure_degC: how hot it gets where the supply is; None: not known. surge_mA: what it gives for the
    moment of a cold start; None: no more than for good.
    """

    id: str
    volts_V: float
    limit_mA: float
    lowest_V: float | None = None
    surge_mA: float | None = None
    derates_above_degC: float | None = None
    derating_frac_per_degC: float = 0.0
    enclosure_degC: float | None = None

    @property
    def least_V(self) -> float:
        return self.volts_V if self.lowest_V is None else self.lowest_V

    @property
    def derated_mA(self) -> float:
        """What it can give for good at the temperature of its enclosure; 0 where it is too hot for any."""
        if self.derates_above_degC is None or self.enclosure_degC is None:
            return self.limit_mA
        beyond = max(0.0, self.enclosure_degC - self.derates_above_degC)
        return self.limit_mA * max(0.0, 1 - self.derating_frac_per_degC * beyond)

    @property
    def derated_surge_mA(self) -> float:
        share = self.derated_mA / self.limit_mA
        return max(self.derated_mA, share * (self.surge_mA or 0.0))


class Load(NamedTuple):
    """Something else on a supply. inrush_mA: what it takes while cold; None: not known, counted as `steady_mA`."""

    name: str
    steady_mA: float
    inrush_mA: float | None = None

    @property
    def cold_mA(self) -> float:
        return max(self.steady_mA, self.inrush_mA or 0.0)


class Circuit(NamedTuple):
    """A two-wire loop, or a passive output that a supply feeds.

    liftoff_V: what its device needs between its terminals at full current; liftoff_low_V: at `lowest_mA`, None where it
    is not known. burdens_ohm: receivers, shunts. drops_V: what takes fixed volts (a loop-powered indicator, a diode).
    limiter_mA: a limiter of its own; None without one.
    """

    name: str
    liftoff_V: float
    liftoff_low_V: float | None = None
    lowest_mA: float = LOWEST_MA
    highest_mA: float = HIGHEST_MA
    burdens_ohm: tuple[float, ...] = ()
    drops_V: tuple[float, ...] = ()
    cable: Cable | None = None
    limiter_mA: float | None = None

    @property
    def cable_ohm(self) -> float:
        return 0.0 if self.cable is None else self.cable.ohm

    @property
    def ohm(self) -> float:
        """Everything in the loop but the device and the fixed drops."""
        return self.cable_ohm + sum(self.burdens_ohm)

    def terminal_V(self, supply_V: float, current_mA: float) -> float:
        """What is left between the device's terminals at a current."""
        return supply_V - sum(self.drops_V) - current_mA / 1000 * self.ohm


class CircuitBudget(NamedTuple):
    """What a supply leaves for one circuit. Spare volts are over the lift-off voltage and negative where they lack.

    spare_lowest_V: at the lowest current, against the lift-off there (that of full current where none is given).
    ceiling_V_mA: where the volts end the current, None for a loop without resistance. ceiling_supply_mA: what the
    supply has left when all else on it draws its most. fail_high: whether a fail-high can be signalled.
    """

    circuit: Circuit
    terminal_V: float
    spare_20_V: float
    spare_highest_V: float
    spare_lowest_V: float
    most_ohm: float
    ceiling_V_mA: float | None
    ceiling_supply_mA: float
    ceiling_mA: float
    fail_high: bool


class SupplyBudget(NamedTuple):
    """One supply with all that hangs on it. Percent of what it gives at the temperature of its enclosure.

    load_mA: loops at their highest current and the other loads, warm; cold_mA: with the other loads' cold inrush.
    """

    supply: Supply
    circuits: tuple[CircuitBudget, ...]
    loads: tuple[Load, ...]
    loops_mA: float
    load_mA: float
    load_percent: float | None
    cold_mA: float
    cold_percent: float | None


def supply_budget(supply: Supply, circuits: Sequence[Circuit], loads: Sequence[Load] = ()) -> SupplyBudget:
    """Everything on one supply, reckoned together."""
    loops_mA = sum(circuit.highest_mA for circuit in circuits)
    load_mA = loops_mA + sum(load.steady_mA for load in loads)
    cold_mA = loops_mA + sum(load.cold_mA for load in loads)
    limit_mA, surge_mA = supply.derated_mA, supply.derated_surge_mA
    left = limit_mA - load_mA
    return SupplyBudget(
        supply,
        tuple(_circuit_budget(supply, circuit, max(0.0, left + circuit.highest_mA)) for circuit in circuits),
        tuple(loads),
        loops_mA,
        load_mA,
        100 * load_mA / limit_mA if limit_mA > 0 else None,
        cold_mA,
        100 * cold_mA / surge_mA if surge_mA > 0 else None,
    )


def _circuit_budget(supply: Supply, circuit: Circuit, left_mA: float) -> CircuitBudget:
    volts = supply.least_V
    room_V = circuit.terminal_V(volts, 0.0) - circuit.liftoff_V
    by_volts = max(0.0, 1000 * room_V / circuit.ohm) if circuit.ohm > 0 else (None if room_V >= 0 else 0.0)
    ceilings = [left_mA, *(limit for limit in (by_volts, circuit.limiter_mA) if limit is not None)]
    ceiling = min(ceilings)
    at_low = circuit.liftoff_V if circuit.liftoff_low_V is None else circuit.liftoff_low_V
    terminal = circuit.terminal_V(volts, circuit.highest_mA)
    return CircuitBudget(
        circuit,
        terminal,
        circuit.terminal_V(volts, FULL_MA) - circuit.liftoff_V,
        terminal - circuit.liftoff_V,
        circuit.terminal_V(volts, circuit.lowest_mA) - at_low,
        max(0.0, 1000 * room_V / circuit.highest_mA),
        by_volts,
        left_mA,
        ceiling,
        ceiling >= FAIL_HIGH_MA - 1e-9,
    )
