"""The words of the water, forecast and due pages."""

from typing import Final

VERDICTS: Final = {
    "more than expected": "More than expected",
    "within": "Within what is expected",
    "cannot tell": "Cannot tell",
}
STATES: Final = {
    "overdue": "Overdue",
    "due": "Due now",
    "coming": "Within a week",
    "later": "Later",
}
RESULTS: Final = {"clear": "clear", "water": "water", "not done": "not done"}
SOURCES: Final = {"signal": "water signal, one a day", "dip": "dips"}

WATER: Final = {
    "none_yet": "No drain check was written down yet.",
    "no_cuts": "No water cut is known in this time: no water signal and no dip that looked for water.",
    "not_known": "not known",
    "no_rise": "no rise that can be told from the noise",
    "rises": "it rises",
    "slope": "{slope} a day, standard error {error} ({count} cuts)",
    "nothing_drained": "Nothing was drained in this time.",
    "unread": "The readings or the record book cannot be read now. The page shows it again when they answer.",
    "withdrawn": "withdrawn by {by}: {comment}",
    "never": "never done: overdue",
    "chart": "Water cut of {name} from {first} to {last}: {low} to {high}",
    "flows": "Receipts and issues by {by}.",
    "no_flows": "Nothing was received or issued.",
}
SCRIPT: Final = {
    "name_first": "write your name first",
    "bad_volume": "{what}: less than nothing cannot be drained",
    "no_water": "write how much water came",
    "no_look": "say how the sample looked",
    "no_why": "say why it was not done",
    "written": "drain check {number} written by {name}; next due {due}{drained}",
    "overdue": "now: it stays overdue",
    "withdrawn": "drain check {number} counts no more",
    "no_comment": "say what was wrong with it",
    "failed": "not written: {why}",
    "offline": "the console does not answer; nothing was written",
}
ABOVE: Final = {
    "low": "the low limit",
    "low_low": "the low-low limit",
    "suction": "the lowest suction",
    "bottom": "the bottom",
}
"""What the smallest stock is, by the word of the data."""

FORECAST: Final = {
    "of_tank": "{what} of {tank}",
    "of_each": "{what} of each tank",
    "held": "not released: {m3}",
    "unknown": "The level of {tank} is not known now.",
    "silent": "{tank} was not measured since {time}.",
    "settles": ", settled at {time} at the earliest",
    "not_released": "{tank} is {status}{until}: its {m3} do not count until it is released.",
    "over": "more than two years",
    "now": "order now",
    "later": "beyond two years",
    "papers": "papers",
    "gauge": "gauge",
    "rests": "{known} of {asked} days known ({papers} by papers, {gauge} by the gauge)",
    "unread": WATER["unread"],
    "nothing": "No product of this site is handed out.",
    "weekdays": "Mon Tue Wed Thu Fri Sat Sun",
}
DUE: Final = {
    "nothing": "Nothing is due by any rule of this site.",
    "never": "never done",
    "no_date": "at once",
    "unread": WATER["unread"],
}
