"""The words of loop checks, on the pages and on paper. The device status is that of NE 107; "as found" and "as left"
are common words of calibration records, no source."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

RUNS: Final[Mapping[str, str]] = MappingProxyType({"as_found": "as found", "as_left": "as left"})
WAYS: Final[Mapping[str, str]] = MappingProxyType({"up": "upward", "down": "downward"})
VERDICTS: Final[Mapping[bool | None, str]] = MappingProxyType(
    {True: "within the limit", False: "outside the limit", None: "not whole yet"}
)

CAUTION: Final = (
    "A simulated current is real to everything that the loop feeds: isolate trips and interlocks by the site's own "
    "procedure. In hazardous areas: the site's permit, equipment approved for the zone, a person who may do it."
)

FIELDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "organisation": "Tested by (organisation)",
        "customer": "Customer",
        "condition": "Condition of the loop before the check",
        "reference": "Reference instrument and its number",
        "reference_certificate": "Its certificate",
        "reference_due": "Its next calibration is due",
        "reference_uncertainty": "Its uncertainty",
        "ambient": "Ambient conditions",
        "adjusted": "What was adjusted",
        "witness": "Witness",
        "remarks": "Remarks",
    }
)
"""What a person may fill in when a check is finished, by name in the record: one list for the command, the pages and
the paper; `reference_due` is a date, 2026-01-31. Source of the list: what a certificate by ISO/IEC 17025:2017 7.8.2 to
7.8.6 tells of its item, method, conditions, reference and persons (from a summary), as far as it holds for a loop."""

CHECK: Final[Mapping[str, str]] = MappingProxyType(
    {
        "strip": "Loop check under way: {loop}, by {name}, until {until}. No level and no stock from it. Blind "
        "meanwhile: {blind}.",
        "no_alarm": "no alarm",
        "place": "{run}, {point} mA, {way}",
        "finish_or_adjust": "finish; after an adjustment, as left",
        "all_taken": "every step is taken",
        "covered": "Covered meanwhile by {point}.",
        "live": "live, {count} samples",
        "typed": "typed",
        "finished": "finished",
        "aborted": "aborted",
        "time over": "time over",
        "no_verdict": "no verdict",
    }
)
"""Sentences that change with the data; `{...}` is filled in."""

SCRIPT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "began": "Begun. Apply 4 mA.",
        "took": "{place}: shown {shown} mA, error {error} % of span.",
        "ended": "Ended: the loop measures again. Record {number}.",
        "next_left": "As found is whole. Finish it, or adjust and take the as-left steps.",
    }
)
"""What the page's own script says."""
