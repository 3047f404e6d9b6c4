"""The causes, their names for people, and the test that would refute each. Plain English; no cause is certain.

Source: section by section common practice, no source, unless a line names one.
"""

from enum import StrEnum
from typing import Final, NamedTuple


class Cause(StrEnum):
    OPEN_CIRCUIT = "open_circuit"
    SUPPLY_LOST = "supply_lost"
    SHORT = "short"
    FAIL_LOW = "fail_low"
    FAIL_HIGH = "fail_high"
    STARVED = "starved"
    RESET_CYCLING = "reset_cycling"
    LEAK = "leak"
    INTERFERENCE = "interference"
    SURGE_STEP = "surge_step"
    LOST_ECHO = "lost_echo"
    FOULED = "fouled"
    HEATER_DEAD = "heater_dead"
    BLOCKING_LIMIT = "blocking_limit"
    ZERO_SHIFT = "zero_shift"
    SPAN_ERROR = "span_error"
    FROZEN_REGISTER = "frozen_register"
    WRONG_UNIT = "wrong_unit"
    SILENT_UNIT = "silent_unit"
    SILENT_BUS = "silent_bus"


class Words(NamedTuple):
    """name: the cause in a few words. refuted_by: what to do, and the result that rules the cause out."""

    name: str
    refuted_by: str


WORDS: Final[dict[Cause, Words]] = {
    Cause.OPEN_CIRCUIT: Words(
        "Open circuit: wire, terminal or connector",
        "Measure volts across the loop's terminals at the panel: if the current there is not 0, or no full supply "
        "voltage stands across the break, the loop is not open.",
    ),
    Cause.SUPPLY_LOST: Words(
        "Loop supply or its fuse lost",
        "Measure the supply at its terminals, fuse in: its full voltage under load refutes this.",
    ),
    Cause.SHORT: Words(
        "Short: before the receiver, or across it",
        "Compare the current at the transmitter with that at the panel: equal currents refute a short.",
    ),
    Cause.FAIL_LOW: Words(
        "The transmitter reports a failure (low)",
        "Read the transmitter's own status on its display or by its digital link: no failure there refutes this.",
    ),
    Cause.FAIL_HIGH: Words(
        "The transmitter reports a failure (high)",
        "Read the transmitter's own status on its display or by its digital link: no failure there refutes this.",
    ),
    Cause.STARVED: Words(
        "Starved loop: supply and resistance allow no more current",
        "Measure volts at the transmitter at the highest current: more than its lift-off voltage there refutes this.",
    ),
    Cause.RESET_CYCLING: Words(
        "The transmitter resets again and again",
        "Log volts at the transmitter over some cycles: a voltage that never falls below lift-off refutes this.",
    ),
    Cause.LEAK: Words(
        "Leak to earth in a wet junction box or cable",
        "Compare field and panel current at night and at noon, and the insulation when dry and wet: equal currents "
        "refute this.",
    ),
    Cause.INTERFERENCE: Words(
        "Interference picked up by the loop",
        "Look at the current with a recorder of 200 samples a second or more, with the suspected machine on and off: "
        "no ripple at the mains frequency or the drive's, or no difference, refutes this.",
    ),
    Cause.SURGE_STEP: Words(
        "A lasting step, as a surge leaves it",
        "Dip the tank, and drive the receiver with a loop simulator: a dip that agrees with the new reading refutes "
        "this; a false echo that comes and goes looks alike.",
    ),
    Cause.LOST_ECHO: Words(
        "Lost echo: the transmitter holds its last level",
        "Dip twice while the level moves, or look at the echo curve: a reading that follows refutes this.",
    ),
    Cause.FOULED: Words(
        "Fouled or wet window, antenna or sensor",
        "Look at the sensor in the hour of the fault: dry and clean refutes this.",
    ),
    Cause.HEATER_DEAD: Words(
        "The heater of the window is dead",
        "Measure the heater's current when it should be on: its rated current refutes this.",
    ),
    Cause.BLOCKING_LIMIT: Words(
        "The level is at the transmitter's blocking limit",
        "Dip the tank: a level below the limit refutes this. Stop the filling first: the level is not known.",
    ),
    Cause.ZERO_SHIFT: Words(
        "Zero shift, or the reference moved",
        "Dip at two levels far apart: differences that are not equal refute this. Check the reference height.",
    ),
    Cause.SPAN_ERROR: Words(
        "Span or scale wrong",
        "Dip at two levels far apart: equal differences refute this. Compare 4 and 20 mA levels with the range sheet.",
    ),
    Cause.FROZEN_REGISTER: Words(
        "The register repeats its last value",
        "Compare with the current measured at the panel for some minutes: one that stands still too refutes this.",
    ),
    Cause.WRONG_UNIT: Words(
        "Another unit's value",
        "Disconnect the other unit for a poll or two, with its tank at rest: a value that stays refutes this. Check "
        "unit addresses.",
    ),
    Cause.SILENT_UNIT: Words(
        "The indicator is dead, or its bus wire is off",
        "Ask this unit alone with the bus otherwise quiet: an answer refutes this. Check its power first.",
    ),
    Cause.SILENT_BUS: Words(
        "The bus or its gateway is down",
        "Ask another unit of the same bus: an answer refutes this.",
    ),
}  # fmt: skip

CAUTION: Final = (
    "A ranking of causes by the trace, not a finding. Wiring in hazardous areas, insulation tests and work on "
    "intrinsically safe loops follow local codes and are done by licensed people; an insulation tester is never put "
    "on a loop with its transmitter or barrier connected."
)
