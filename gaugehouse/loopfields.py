"""What a person may fill in when a loop check is finished: one list for the command, the pages and the paper.

Source of the list: what a certificate by ISO/IEC 17025:2017 7.8.2 to 7.8.6 tells of its item, method, conditions,
reference and persons (from a summary), as far as it holds for a loop.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

FIELDS: Final[Mapping[str, str]] = MappingProxyType(
    {
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
"""By their names in the record; `reference_due` is a date, 2026-01-31."""
