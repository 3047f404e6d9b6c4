"""Default texts of the conditions that are judged outside the engine: name, cause, consequence, action, respond.

Only words, the house's own: common practice, no source; a site replaces them by its own.
"""

from typing import Final

WATCH_TEXTS: Final[dict[str, tuple[str, str, str, str, str]]] = {
    "response_short": (
        "Too little time to critical high",
        "The tank fills so fast that critical high would come within the response time, with high-high still ahead",
        "When high-high comes it is too late to stop the flow in good order",
        "Throttle or stop the receipt now; do not wait for high-high",
        "at once",
    ),
    "fill_rate_high": (
        "Filling faster than the limits allow for",
        "A receipt above the agreed rate, or two at once",
        "High-high was set for a slower flow: its response time is shorter than it seems",
        "Throttle the receipt to the agreed rate; if the rate is to stay, have the limits set anew first",
        "within minutes",
    ),
    "wrong_tank": (
        "Another tank fills than was planned",
        "A valve of another tank is open, the wrong tank was lined up, or a second receipt was not entered",
        "Product goes where nobody watches for it: overfill or mixing of products",
        "Stop the receipt; check the line-up of valves before it goes on, or enter the second receipt",
        "at once",
    ),
    "no_rise": (
        "A planned receipt does not arrive",
        "The receipt has not begun, or the product goes elsewhere: another tank, another site, the ground",
        "What was sent is not where it should be",
        "Ask the sender whether product flows; if it does, stop it and walk the line",
        "at once when the sender pumps, else before the next step of the plan",
    ),
    "unordered_movement": (
        "Unordered movement",
        "A valve left open or leaking, a leak, a theft, or a movement that nobody entered",
        "Fuel is lost or goes where it should not",
        "Find out who moves fuel; if nobody does, close the tank's valves, walk the line, and dip the tank",
        "within the hour; at once for a fall that goes on",
    ),
    "receipt_divergence": (
        "Line and tank disagree on a receipt",
        "Fuel goes elsewhere (another tank, a leak, a line that is being filled), or the meter or the gauge is wrong",
        "Fuel that was paid for is not in the tank, or more is in it than anybody counts",
        "Stop the receipt; check the line-up and walk the line; dip the tank; go on only when the difference is found",
        "at once",
    ),
    "issue_not_released": (
        "Issue from a tank that is not released",
        "The wrong tank was lined up, a valve leaks, or somebody issues before the fuel has settled and was tested",
        "Fuel that nobody has tested, with water or dirt in it, goes out to aircraft",
        "Stop the issue now; hold back what has gone out until a sample shows what it is; line up a released tank",
        "at once",
    ),
    "receipt_with_issue": (
        "Receipt and issue from one tank at once",
        "A tank that receives was left lined up for issue, or two valves are open between tanks",
        "Unsettled fuel goes straight out, and the gauge sees neither quantity: only their difference",
        "Stop the issue; line up another tank that is released; write down what the meters showed",
        "within minutes",
    ),
    "leak_suspected": (
        "Leak test found a loss",
        "A leak of the tank or its pipes, a valve that lets fuel by, fuel that went out without a paper, or a "
        "temperature or gauge that moved",
        "Fuel is lost, and goes into the ground, the drains, or another tank",
        "Stop issuing and receiving; look around the tank safely; tell those whom local rules name; then valves, "
        "papers, thermometer, a dip; test again over whole days. A licensed tester decides",
        "at once",
    ),
    "level_deviation": (
        "The two gauges of the tank disagree",
        "One of them drifts, sticks, has lost its reference, or hangs in foam or vapour",
        "One of the levels is wrong, and the alarms that stand on it with it",
        "Dip the tank; take the gauge that is wrong out of use and have it seen to; stop a receipt until then",
        "within the hour; at once while the tank receives",
    ),
    "water_high": (
        "High water",
        "Rain through fittings, a wet receipt, water shed by cooling fuel, or draining put off",
        "Water reaches the suction and goes out with the fuel",
        "Stop issues from the tank, let it settle, drain the water, and enter what was drained",
        "before the next issue",
    ),
    "water_rising": (
        "Water rises",
        "Water comes in: rain through a fitting or roof seal, a leaking coil, a wet receipt",
        "The water will reach the suction; in a tank below ground water a leak works both ways",
        "Drain and enter it; look where it comes from: fittings, vents, the last receipt",
        "this shift",
    ),
    "temperature_high": (
        "High temperature of the product",
        "A warm receipt, a heater that does not switch off, fire nearby, or a probe that drifts",
        "More vapour and evaporation; outside what the product may have",
        "Check heater and probe; keep issues back until the product is within its range",
        "this shift; at once if fire cannot be ruled out",
    ),
    "temperature_low": (
        "Low temperature of the product",
        "Cold weather, a heater that has failed, or a probe that drifts",
        "Wax, ice or thick product: filters block and pumps starve",
        "Check heater and probe; keep issues back until the product is within its range",
        "this shift",
    ),
    "condensation_risk": (
        "Condensation on the gauge's window or the shell",
        "The surface is nearly as cold as the dew point of the air about it, or its heater has failed",
        "Droplets on the window make the gauge lose the level or see a false high one; water gathers in the tank",
        "Check the window's heater and purge; trust the level only with a dip beside it until it is clear",
        "this shift; before a receipt",
    ),
    "high_level_switch": (
        "Independent high-level switch",
        "The fuel has reached the switch, or the switch or its wiring has failed to its safe side",
        "The tank is about to overflow, whatever its gauge shows",
        "Stop all flow into the tank now; gauge it by hand before anything is believed or reset",
        "at once",
    ),
    "notification_failing": (
        "People are not told",
        "The mail server, broker or service of this channel is away, refuses the message, or the way to it is broken",
        "Whoever relies on this channel does not hear of alarms: nobody may come",
        "Watch the alarm page, tell those concerned by telephone, have the channel mended; what waits is told then",
        "within the hour, at once while a tank receives and nobody is at the alarm page",
    ),
    "store_late": (
        "Readings are not being stored",
        "The disk is full, slow or failing, or another program holds the store",
        "History has a hole when the memory that bridges it is used up; figures on the pages are still live",
        "Look at the disk and at what else uses it; keep gauging by hand for the record if it lasts",
        "within the hour",
    ),
    "publisher_late": (
        "Readings and alarms do not reach the broker",
        "The broker or the network to it is down, or it refuses the sign-in",
        "Whoever looks at other screens sees old figures and no new alarms",
        "Tell those who rely on it; have broker and network looked at. Alarms are sent later, none is lost",
        "this shift",
    ),
    "disk_filling": (
        "The disk is filling up",
        "Readings, records or other programs have used up the room",
        "When it is full nothing is recorded any more, and no decision is told that cannot be written",
        "Make room, or move what does not belong there; never delete the record book",
        "this week at first, at once when it is nearly full",
    ),
    "clock_wrong": (
        "The clock is wrong",
        "It has stepped, or it is before times that are stored already: no time server, or an empty clock battery",
        "Times in records and on papers are not to be trusted; days may begin at the wrong moment",
        "Set the clock by its time server; note in the record which times are wrong and by how much",
        "this shift",
    ),
    "check_overdue": (
        "A check is overdue",
        "A loop check has failed and none has passed since, or the tests of alarms are due",
        "A gauge or an alarm that is relied on has not been shown to work",
        "Have the loop mended and checked again, or the alarms tested, and enter it",
        "this week",
    ),
    "store_damaged": (
        "A file of the history is damaged",
        "A disk that fails, a power loss in spite of its cache, or somebody else who wrote to the file",
        "Readings or records of some time cannot be read any more; what is whole is still shown",
        "Have the disk looked at; put a backup of the file in place; gaugehouse history verify names what is damaged",
        "within the day",
    ),
}
