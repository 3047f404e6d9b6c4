"""The terms of the pages: what each means, and the standard that it is a term of, "" where it is plain English.

Only words. A standard is named here as docs/ name it; where its full text was not read, docs/ say so.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple


class Term(NamedTuple):
    """A term as people read it. standard: "" for a word of ours."""

    name: str
    meaning: str
    standard: str = ""


TERMS: Final[Mapping[str, Term]] = MappingProxyType(
    {
        "innage": Term(
            "Level (innage)",
            "Height of the liquid above the datum plate or the zero of the tank's table.",
            "API MPMS 3.1A",
        ),
        "ullage": Term("Ullage", "What is left above the liquid: reference height less innage.", "API MPMS 3.1A"),
        "tov": Term(
            "Volume, TOV",
            "Total observed volume: all that the tank's table gives for the level, free water included.",
            "API MPMS 12.1.1",
        ),
        "gov": Term("GOV", "Gross observed volume: TOV less free water, corrected for the shell.", "API MPMS 12.1.1"),
        "gsv": Term(
            "GSV",
            ("Gross standard volume: GOV brought to the reference temperature by the liquid's correction factor."),
            "API MPMS 11.1 and 12.1.1",
        ),
        "u95": Term(
            "± beside a figure",
            "Expanded uncertainty: the true value lies within it in about 95 of 100 cases.",
            "JCGM 100",
        ),
        "water": Term("Water", "Free water at the bottom, by a gauge or by the newest dip; its age stands beside it."),
        "room": Term("Still fits", "Volume from the level to the maximum working level (high)."),
        "next": Term(
            "Next limit",
            ("The limit that the level moves to, and the shortest time to it that the measured rate allows."),
        ),
        "limits": Term(
            "Critical high, high-high, high, low, low-low",
            (
                "The limits of a tank from the top down. High is the maximum working level, low the minimum; "
                "high-high leaves time to stop before critical high."
            ),
            "API 2350",
        ),
        "tape": Term(
            "The tape",
            (
                "The tank as a strip of gauging tape: grey up to the product, a second line at the water, a "
                "notch at each limit. Torn: the level cannot be trusted."
            ),
        ),
        "quality": Term(
            "≈, ≥ and – – –",
            ("Uncertain; at or beyond the range; no figure that can be trusted. The word beside it says why."),
        ),
        "stale": Term("Struck and hatched", "An old figure: nothing was heard for the time that is shown."),
        "status107": Term(
            "F, C, S, M",
            "Status of a device: failure, function check, out of specification, maintenance required.",
            "NE 107",
        ),
        "ne43": Term(
            "Bands of the current",
            (
                "3.8 to 20.5 mA measures; to 3.6 mA and from 21 mA on the transmitter reports a failure; "
                "between them neither is trusted."
            ),
            "NE 43",
        ),
        "priority": Term(
            "Strokes on the mark",
            ("Three: act now. Two: act soon. One: act this shift. From what follows and how much time is left."),
        ),
        "acknowledged": Term(
            "Acknowledged",
            "A named person has seen this occurrence. It goes on standing until its cause has gone.",
            "ISA-18.2 / IEC 62682",
        ),
        "returned": Term(
            "Returned, not acknowledged", "Its cause has gone before anybody looked.", "ISA-18.2 / IEC 62682"
        ),
        "latched": Term(
            "Latched", "Stays after its cause has gone, until it is acknowledged and reset.", "ISA-18.2 / IEC 62682"
        ),
        "shelved": Term(
            "Shelved",
            "Hidden by a person for a limited time, with a reason. It comes back by itself.",
            "ISA-18.2 / IEC 62682",
        ),
        "suppressed": Term(
            "Suppressed by design",
            "Hidden by a rule of the alarm sheet while something else is so.",
            "ISA-18.2 / IEC 62682",
        ),
        "out_of_service": Term(
            "Out of service",
            "Hidden for work on the instrument, until somebody brings it back.",
            "ISA-18.2 / IEC 62682",
        ),
        "flood": Term("Flood", "More alarms at once than an operator can follow.", "ISA-18.2 / IEC 62682"),
        "chattering": Term(
            "Chattering, fleeting, stale",
            "Three or more within a minute; gone within a minute; shown for more than 24 hours.",
            "ISA-18.2 / IEC 62682",
        ),
        "independent": Term(
            "Not independent",
            "This alarm comes from the instrument that also gauges the tank: if it fails, both fail.",
            "API 2350",
        ),
        "fault": Term(
            "Loop fault",
            ("A time in which a loop could not be trusted: failed low or high, no answer, frozen, noisy and others."),
        ),
        "trace": Term("Fault trace", "The raw samples kept around a fault."),
        "check": Term(
            "Loop check",
            (
                "A named person sets the current of a loop and compares it with what arrives. While it runs, "
                "the alarms that it blinds are listed. It is no calibration certificate."
            ),
            "NE 107 (function check)",
        ),
        "noise": Term("Noise", "How far single readings scatter about the level, as one standard deviation."),
        "polls": Term(
            "Polls, answers, utilisation",
            ("How often an instrument was asked and what came back; how much of the line's time that takes."),
        ),
        "book": Term(
            "Book",
            (
                "What should be there: opening and receipts less issues, with transfers, draws and "
                "adjustments, all from papers."
            ),
        ),
        "physical": Term("Physical", "What was measured at the end of the day, by gauge or dip."),
        "variance": Term(
            "Variance",
            (
                "Physical less book. It is judged by the site's rule, and by whether the tank can tell so "
                "small a difference at all."
            ),
        ),
        "close": Term(
            "Close",
            ("A named person signs a day or a month. Its papers are locked; what is wrong is put right by new papers."),
        ),
        "document": Term(
            "Document",
            (
                "A paper of the stock book: delivery note, fuelling ticket, totaliser, transfer note, water "
                "draw, adjustment."
            ),
        ),
        "dip": Term(
            "Dip", "A level measured by hand with a tape: two readings alike, or three close together.", "API MPMS 3.1A"
        ),
        "relaxation": Term(
            "Relaxation time",
            "Time after flow before anything is lowered into a tank: static electricity.",
            "API RP 2003",
        ),
        "cusum": Term(
            "Watched for drift",
            "Differences of gauge and dip are added up, so that a small shift that stays is seen early.",
        ),
        "density": Term(
            "Density sample",
            (
                "Density measured on a sample, brought to the reference temperature. An accepted one counts "
                "for its tank."
            ),
            "API MPMS 11.1",
        ),
        "receipt": Term(
            "Receipt",
            ("Fuel that comes in: before (will it fit), during (line against tank) and after (against its papers)."),
        ),
        "settling": Term("Settling", "Rest after a receipt, by the site's own rule, so that water and dirt sink."),
        "release": Term(
            "Released",
            ("A named person has said, by the site's quality rules, that fuel may be issued from this tank."),
        ),
        "batch": Term("Batch", "A receipt with its batch and certificate numbers, as part of what is in a tank."),
        "leak": Term(
            "Leak test",
            (
                "The slope of the standard volume of a quiet tank, with the smallest loss that it could have "
                "seen. It never says that a tank is tight."
            ),
        ),
        "wateraccount": Term(
            "More water than expected", "More was found than rain, air, receipts and cooling fuel explain."
        ),
        "forecast": Term(
            "Days of stock", "How long what can be issued lasts at the usual use, with what it may lie between."
        ),
        "due": Term(
            "Due, overdue, coming", "What has to be done about the tanks and instruments, by the site's own intervals."
        ),
        "session": Term("Session", "The time that you stay signed in. Every change bears your name."),
        "arc": Term(
            "Minutes of arc",
            "How large a figure looks from afar. At 12 m, 25 minutes are 87 mm.",
            "NUREG-0700 rev. 2, 1.3.1-4",
        ),
        "site_file": Term(
            "Site file",
            ("The file that says what this site has. It is read when the daemon starts; this page changes nothing."),
        ),
        "record_book": Term("Record book", "All decisions and acts, each chained to the one before by its hash."),
    }
)
