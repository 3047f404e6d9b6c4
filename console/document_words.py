"""Words of documents: what the page calls kinds, fields and what a document tells beside its figures."""

from types import MappingProxyType
from typing import Final

CAUTION: Final = (
    "Papers make the book; what the gauges saw only checks them. Keep the papers themselves: this is no measurement "
    "for custody transfer."
)

FIELDS: Final = MappingProxyType(
    {
        "tank": "Tank",
        "meter": "Meter",
        "place": "Place outside the tanks",
        "from_place": "or from a place",
        "to_tank": "To tank",
        "owner": "Owner",
        "paper": "Paper number",
        "observed": "Observed",
        "standard": "At reference temperature",
        "temperature": "Temperature",
        "density": "Base density",
        "water": "of it water",
        "fuel": "of it fuel",
        "meter_opening": "Reading before",
        "meter_closing": "Reading after",
        "meter_factor": "Other meter factor",
        "returned": "came back from an aircraft",
        "rolled_over": "the register began anew",
        "went_to": "Where it went",
        "batch": "Batch",
        "certificate": "Certificate",
        "customer": "Who took it",
        "authorised_by": "Authorised by",
        "comment": "Comment",
    }
)
"""Fields of the form, in its order, with their names for people."""

VOLUMES: Final = ("observed", "standard", "water", "fuel", "meter_opening", "meter_closing")
CHOICES: Final = ("tank", "to_tank", "place", "from_place", "meter", "owner")
FLAGS: Final = ("returned", "rolled_over")
UNITS: Final = (("L", "L"), ("m3", "m³"), ("gal", "US gal"))

NOTES: Final = MappingProxyType(
    {
        "to_tank": "to tank {value}",
        "place": "to {value}",
        "from_place": "from {value}",
        "meter": "meter {value}",
        "went_to": "to {value}",
        "batch": "batch {value}",
        "certificate": "certificate {value}",
        "customer": "for {value}",
        "authorised_by": "authorised by {value}",
        "reverses": "takes out document {value}",
    }
)
"""Details of a document, as they stand among its notes."""

FLAG_NOTES: Final = MappingProxyType(
    {
        "returned": "came back",
        "rolled_over": "register began anew",
        "compensated": "compensated",
        "only_checks": "a check only, not in the book",
    }
)

DRAWN: Final = "{drawn} drawn: {water} water, {fuel} fuel"
READ: Final = "{opening} to {closing}"
CORRECTS: Final = "puts right document {number}"
PUT_RIGHT: Final = "put right by {numbers}"
UNDONE: Final = "undone by {by}"
INSTEAD: Final = "in its place document {number}"
OWNER: Final = "of {owner}"

MOVING: Final = ("delivery note", "fuelling ticket", "meter totaliser", "transfer note")
WAYS: Final = MappingProxyType({"in": "Into {where}", "out": "Out of {where}", "": "{where}: no movement of its own"})
ELSEWHERE: Final = "Elsewhere"
COUNT: Final = MappingProxyType({True: "{count} paper", False: "{count} papers"})
NO_PAPERS: Final = "no paper"
OTHERS: Final = "and document {numbers} of the other end"
MOVEMENTS: Final = MappingProxyType({True: "1 movement", False: "{count} movements"})
MORE: Final = "more"
LESS: Final = "less"
NONE: Final = "No document from {first} to {last}."
SPAN: Final = "{last} back to {first}"
BESIDE: Final = MappingProxyType(
    {
        "agree": "the gauge saw {moved} ± {u95}, {movements}: agrees",
        "apart": "the gauge saw {moved} ± {u95}, {movements}: {apart} {way} than the papers, beyond its own ±",
        "no movement": "the gauge saw no movement: too little or too slow for it, or another day",
        "no paper": "the gauge saw {moved} ± {u95}, {times}: a paper is missing, or stands at another tank or day",
        "not known": "not compared: a paper lacks a volume",
    }
)
"""Papers of a tank's day beside the gauge; volumes signed into the tank."""

LIKE_MOVEMENT: Final = ". As much as one of them, {movement}: its paper may be missing"
LIKE_DOCUMENT: Final = ". As much as document {number}: it may stand twice, or belong to another tank or day"

SCRIPT: Final = MappingProxyType(
    {
        "name_first": "write your name first",
        "offline": "the console does not answer",
        "failed": "not done: {why}",
        "done": "Written down: document {numbers}{figures}.",
        "undone": "Document {number} is undone.",
        "taken": "{count} documents taken: {first} to {last}.",
        "mistakes": "Nothing was written down. What to mend:",
        "asked": "Nothing was written down. Look at the paper again:",
        "correct": "Document {number}: what is to be other than it is",
        "correct_closed": "Document {number} is of {day}, which is closed: it is put right on an open day, which takes "
        "the old volumes out and writes the right ones beside",
        "add": "A paper to write down",
        "arm": "Press again to undo",
        "file_first": "choose a file first",
        "file_large": "the file is too large; divide it",
        "row": "Row",
        "column": "Field",
        "found": "Found",
        "allowed": "Allowed",
        "mend": "What to do",
    }
)
