"""The catalogue of words that the data choose, in English; headings that never change stand in the templates.

Only words: no rule hangs on them. Terms are those of the field's standards (API MPMS for stock, ISA-18.2 for alarms,
NE 43 and NE 107 for signals and devices); what no standard names is plain English.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from models.reading import Reason
from models.signal import Band


def _table(**words: str) -> Mapping[str, str]:
    return MappingProxyType(words)


CONDITIONS: Final = _table(
    critical_high="Critical high level",
    high_high="High-high level",
    high="High level",
    low="Low level",
    low_low="Low-low level",
    rise_fast="Level rises too fast",
    fall_fast="Level falls too fast",
    signal_low="Level signal failed low",
    signal_high="Level signal failed high",
    out_of_range="Level signal out of range",
    no_answer="Instrument does not answer",
    wrong_reply="Instrument answers wrongly",
    frozen="Level signal frozen",
    noisy="Level signal noisy",
    rate_impossible="Level moves faster than the tank can",
    response_short="Too little time to critical high",
    fill_rate_high="Filling faster than the limits allow for",
    wrong_tank="Another tank fills than was planned",
    no_rise="A planned receipt does not arrive",
    unordered_movement="Unordered movement",
    receipt_divergence="Line and tank disagree on a receipt",
    issue_not_released="Issue from a tank that is not released",
    receipt_with_issue="Receipt and issue from one tank at once",
    leak_suspected="Leak test found a loss",
    level_deviation="The two gauges disagree",
    water_high="High water",
    water_rising="Water rises",
    temperature_high="High temperature",
    temperature_low="Low temperature",
    condensation_risk="Condensation on window or shell",
    high_level_switch="Independent high-level switch",
    store_late="Readings are not being stored",
    publisher_late="Broker not reached",
    disk_filling="The disk is filling up",
    clock_wrong="The clock is wrong",
    store_damaged="A file of the history is damaged",
    check_overdue="A check is overdue",
    notification_failing="People are not told",
)
"""Alarm conditions, as the name of the alarm."""

LIMITS: Final = _table(critical_high="Critical high", high_high="High-high", high="High", low="Low", low_low="Low-low")
"""Level limits, as they stand at a notch of the tape."""

STATES: Final = _table(
    normal="normal",
    unacknowledged="not acknowledged",
    acknowledged="acknowledged",
    returned_unacknowledged="returned, not acknowledged",
    latched_unacknowledged="latched, not acknowledged",
    latched_acknowledged="latched, acknowledged",
    shelved="shelved",
    suppressed_by_design="suppressed by design",
    out_of_service="out of service",
)
"""Alarm states. Source of the terms: ISA-18.2 / IEC 62682."""

EVENTS: Final = _table(
    raised="raised",
    returned="returned to normal",
    acknowledged="acknowledged",
    raised_again="raised again",
    latched_reset="latch reset",
    shelved="shelved",
    unshelved="unshelved",
    shelf_expired="shelf time over",
    suppressed="suppressed",
    unsuppressed="no longer suppressed",
    removed_from_service="removed from service",
    returned_to_service="returned to service",
)

URGENCY: Final[Mapping[int, str]] = MappingProxyType({1: "act now", 2: "act soon", 3: "act this shift"})

QUALITIES: Final = _table(Good="good", Uncertain="uncertain", Bad="bad")

REASONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        Reason.NONE: "",
        Reason.NO_COMMUNICATION: "no answer from the instrument",
        Reason.COMMUNICATION_ERROR: "wrong reply from the instrument",
        Reason.SENSOR_FAILURE: "the loop current is in the failure range",
        Reason.OUT_OF_RANGE: "the signal lies between measurement and failure",
        Reason.DEVICE_FAILURE: "the signal does not move",
        Reason.OUT_OF_SERVICE: "loop check under way",
        Reason.CONFIGURATION_ERROR: "the site file gives no range",
        Reason.UNITS_EXCEEDED: "beyond the end of the range",
        Reason.SUB_NORMAL: "just back from a fault",
    }
)

FLOWS: Final = _table(filling="filling", emptying="emptying", still="still")

MOVEMENTS: Final = _table(
    receipt="receipt", issue="issue", transfer_in="transfer in", transfer_out="transfer out", unknown="not clear"
)
MOVEMENT_STAGES: Final = _table(moving="so far", settling="so far, surface not calm", final="")
ORDERED: Final = MappingProxyType({"yes": "ordered", "no": "not ordered", "": ""})
DIFFERS: Final = _table(
    tank="another tank was ordered",
    direction="the other way was ordered",
    product="{product} was ordered",
    quantity="{more} against the order",
    rate="at {percent} % of the agreed rate",
    time="began {minutes} min before it was ordered",
)
"""In what a movement is not the one that was ordered."""

MOVEMENT_FLAGS: Final = _table(
    pair="with {pair}",
    start_unseen="under way when watching began",
    blind="{seconds} s without a trusted level: {faults}",
    rough="the surface did not become calm",
    amended="amended",
    by_dips="{volume} by dips before and after",
    by_one_dip="a dip says otherwise of one end",
)

DEVICE: Final = _table(F="failure", C="function check", S="out of specification", M="maintenance required")
"""NE 107 status signals by their letter."""

OUTCOMES: Final = MappingProxyType({"ok": "answers", "timeout": "no answer", "wrong-reply": "wrong reply"})

FAULTS: Final = _table(
    fail_low="failure signal, low",
    fail_high="failure signal, high",
    gap_low="below the measuring range",
    gap_high="above the measuring range",
    no_answer="no answer",
    wrong_reply="wrong replies",
    frozen="frozen",
    saturated="saturated",
    noisy="noisy",
    rate_impossible="moves faster than the tank can",
)

BANDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        Band.FAIL_LOW: "failure, low",
        Band.GAP_LOW: "gap below measurement",
        Band.UNDER_RANGE: "measuring, under 0 %",
        Band.NORMAL: "measuring",
        Band.OVER_RANGE: "measuring, over 100 %",
        Band.GAP_HIGH: "gap above measurement",
        Band.FAIL_HIGH: "failure, high",
    }
)

BAND_LEGEND: Final = (
    ("fail", "failure"),
    ("gap", "neither measurement nor failure"),
    ("edge", "measuring, beyond 0 or 100 %"),
    ("normal", "measuring"),
)

WATER: Final = _table(signal="gauged", dips="dipped", none="not measured")

QUANTITIES: Final = _table(
    current_mA="Loop current",
    level_m="Level (innage)",
    temperature_degC="Temperature",
    water_m="Free water",
    tov_m3="Volume, observed (TOV)",
    gov_m3="Volume less water (GOV)",
    gsv_m3="Volume at reference temperature (GSV)",
    mass_kg="Mass",
    volume_percent="Filled, of volume",
    level_percent="Filled, of level",
    ullage_m="Ullage",
    rate_m3_per_h="Rate",
    gsv_u95_m3="Expanded uncertainty of GSV (95 %)",
)

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

PROBLEM_TITLES: Final[Mapping[int, str]] = MappingProxyType(
    {
        400: "The request cannot be read",
        401: "Sign in first",
        403: "Not allowed",
        404: "Not found",
        405: "Not for this address",
        409: "Not as things stand",
        413: "Too long",
        422: "The request does not hold together",
        429: "Too often",
        500: "The console failed",
        503: "Not available now",
    }
)

UNITS: Final = (("metric", "Metric"), ("us", "US"))
NUMBERS: Final = (("space", "1\u202f234.5"), ("comma", "1,234.5"), ("decimal-comma", "1\u202f234,5"))
"""What a person may choose for all figures of their pages: units, and how a number is written."""
TYPED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "or": " or ",
        "no_number": "“{text}” is no number",
        "two_ways": "“{text}” can be read in two ways: write {mend}",
        "no_unit": "“{text}”: {unit} is not a unit of this field; write {units}, or no unit",
        "feet_how": "“{text}”: feet or inches? Write feet-inches-sixteenths as in 6-03-10, or 6' 3 5/8\", or 75 5/8 in",
        "feet_parts": "“{text}”: inches go to 11 beside feet, sixteenths to 15",
    }
)
"""What is said to a figure that was typed and refused."""
LIGHTS: Final = (("day", "Day"), ("night", "Night"), ("sun", "Sun"))

CAUTION: Final = (
    "A monitoring and accounting aid: not an overfill prevention system, not a safety instrumented function, not "
    "approved for custody transfer. Follow local codes."
)

FAULT_FLAGS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "goes on": "goes on",
        "not closed": "not closed",
        "closed without cause": "closed without a cause",
        "": "closed",
    }
)
"""What is still to be done about a fault."""

FAULT_PAGE: Final = _table(
    noise_of="usual {usual}, loudest {loud}",
    noise_learning="its own noise is not known before a day of watching",
    few="{count} in {days} days, this one included",
    no_mean="told from five faults on",
    why_told="One cause, in bold, stands before the others.",
    why_level="The causes in bold cannot be told apart by what is known.",
    why_unknown="Unknown: nothing here is strong enough to be called a cause.",
    not_watched="told from an hour on",
    blinds_none="no alarm was blinded",
    blinds="{count} alarms for {time}",
    blinds_still="{count} alarms since its start",
    closed_by="closed by {name}, {time}",
    name_first="write your name first",
    nothing_said="write what is known, or tick that it is closed",
    written="entry {entry} written by {name}",
    was_closed="it was closed before by {name}",
    correct="correct this entry",
    corrects="replaces entry {entry}",
    replaced="replaced by entry {entry}",
    trace_help="the samples kept around this fault, a point each; the line is its start and its end",
    no_trace="no sample was kept of this fault",
    no_current="this instrument tells no current: the CSV holds its other signals",
    nobody="nobody wrote anything yet",
)
"""Sentences of a fault's page; `{...}` is filled in."""

FAULT_FIELDS: Final = _table(
    found_by="Found by",
    cause="Cause",
    part="Part",
    action="Action",
    comment="Comment",
    dip_before_m="Dip before",
    dip_after_m="Dip after",
)
"""What a person can say of a fault, by the fields of an entry."""

SUPPLY_ROWS: Final = _table(
    spare_at_lowest_V="Spare volts at the lowest current",
    spare_at_20mA_V="Spare volts at 20 mA",
    spare_at_highest_V="Spare volts at the highest fault current",
    ceiling_mA="Highest current the loop can carry",
)

CAUSES: Final = (
    "open circuit",
    "supply lost",
    "short circuit",
    "loose terminal",
    "water in the junction box",
    "earth leak",
    "interference",
    "surge",
    "lost echo",
    "dirty or wet window",
    "heater dead",
    "blocking limit",
    "transmitter set wrong",
    "transmitter failed",
    "indicator failed",
    "bus line or gateway",
    "work on the loop",
)
"""Causes offered for writing; any other text is as good. Common practice, no source."""

BUS_KINDS: Final = MappingProxyType(
    {"tcp": "Modbus TCP", "rtu": "Modbus RTU, serial", "rtu-over-tcp": "Modbus RTU over TCP"}
)
"""Kinds of line. Source of the terms: Modbus Application Protocol V1.1b3, Serial Line V1.02."""

GROUPS: Final = ("Not acknowledged", "Acknowledged", "Set aside")
"""The parts of the list of alarms, in their order."""

VERDICTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "met": "met",
        "manageable": "manageable",
        "missed": "missed",
        "nothing counted": "nothing counted",
        "not judged": "not judged",
    }
)
"""How a figure of the alarms stands to its aim."""

SPANS: Final = ((900, "15 min"), (1800, "30 min"), (3600, "1 h"), (7200, "2 h"), (14400, "4 h"), (28800, "8 h"),
                (43200, "12 h"), (86400, "24 h"), (604800, "7 d"))  # fmt: skip
"""For how long an alarm can be shelved by the page: seconds and words; none above the site's longest is offered."""

BUS_PAGE: Final = _table(connected="connected", not_connected="not connected yet", down="not connected: {why}")

NOT_WRITTEN: Final = (
    "Nothing new is decided and no alarm is told until it can be written down: {why}. It goes on by itself then."
)
PAGE: Final = _table(
    no_data="NO DATA",
    no_data_since="no data since {time}",
    no_data_help="The figures below are old. This page keeps trying and mends itself.",
    reading_age="no reading for {age}",
    last_good="last good {figure} at {time}",
    never_read="no reading yet",
    more="+ {count} more",
    nothing_standing="no alarm waits",
    water_undipped="not dipped: no standard volume",
    water_too_old="dipped {age} ago: too old, no standard volume",
    alarms_acknowledged="{count} acknowledged standing",
    also_waiting="and {count} more",
    u95_of="GSV {volume} ± {u95}",
    u95_unknown="± not known",
    within="in {time}",
    from_to="{earliest} to {latest}",
    plan_receipt="receipt of {quantity} ordered by {by}: {moved}",
    plan_issue="issue of {quantity} ordered by {by}: {moved}",
    movements_none="none was found",
    movements_unread="the record book cannot be read now",
    amount_first="write how much first",
    ordered="ordered by {name}: {amount}",
    order_ended="ended; it was ordered by {name}",
    plan_in="{volume} in",
    plan_out="{volume} out",
    plan_not_begun="not begun",
    or_later="{earliest} or later",
    past_all_high="above every limit",
    past_all_low="below every limit",
    limit_unknown="rate unknown",
    flow_unknown="movement unknown",
    level_unknown="level unknown",
    not_moving="not moving",
    over_by="{volume} over",
    safe_fill="Safe fill",
    suction="Lowest suction",
    by="by {name}",
    since="since {time}",
    raised="raised {time}",
    returned="returned {time}",
    no_fault="no fault found",
    still_open="still open",
    exception="answers with exception {code}",
    no_current="tells no current",
    uncertain="uncertain",
    at_least="at or beyond the range",
    at_most="at or below the range",
    pick_first="choose at least one alarm",
    name_first="write your name first",
    taken="acknowledged by {name}",
    taken_before="was acknowledged by {name} at {time}",
    out_of_date="raised anew meanwhile: look again",
    failed="not done: {why}",
    offline="the console does not answer",
    reason_first="write the reason first",
    not_so="the chosen alarms do not all admit that",
    shelved_until="shelved until {time}",
    hidden_by="{what} by {name}, {time}: {reason}",
    hidden_until="; until {time}",
    one_shot=" or until its condition returns",
    suppressed_since="suppressed by design {rule}, since {time}",
    condition_on="its condition is on now",
    condition_off="its condition is off now",
    done_reset="latch reset by {name}",
    done_shelve="shelved by {name}",
    done_unshelve="let speak again by {name}",
    done_remove="taken out of service by {name}",
    done_return="brought back into service by {name}",
    was_so="it is so already",
    done_test="test begun by {name}: move the signal now",
    done_end_test="test given up by {name}",
    test_overdue="test overdue since {day}",
    test_never="never tested, and it must be",
    test_runs="test under way by {name}, {means}, until {time}",
    test_passed="passed in {took}",
    test_failed="failed {took}",
    test_last="last tested on {day}",
    sound_off="Sound: off",
    sound_on="Sound: on",
    sound_blocked="Sound: press to hear",
    sound_calls="Silence",
    sound_silenced="Sound: silenced",
    taken_reset="started anew by {name}",
    button_none="Acknowledge the chosen",
    button_some="Acknowledge {count} chosen",
    chart_help="point at the trend, or focus it: ← → move, + − zoom, [ ] read out, 0 now",
    chart_loading="reading history",
    chart_empty="nothing recorded in this span",
    chart_failed="history cannot be read: {why}",
    chart_gap="no value",
    chart_partly="partly not good",
)
"""Sentences that change with the data; `{...}` is filled in."""
