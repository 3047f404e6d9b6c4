"""Why a loop failed: causes ranked by the signature in its trace and what is known around it."""

from alerts.diagnosis.evidence import (
    AROUND,
    DipRow,
    Earlier,
    Question,
    Seen,
    Slow,
    Span,
    Surroundings,
    TraceRow,
)
from alerts.diagnosis.ranking import Diagnosis, diagnose
from alerts.diagnosis.weighing import Finding
from alerts.diagnosis.words import CAUTION, WORDS, Cause, Words

__all__ = [
    "AROUND",
    "CAUTION",
    "WORDS",
    "Cause",
    "Diagnosis",
    "DipRow",
    "Earlier",
    "Finding",
    "Question",
    "Seen",
    "Slow",
    "Span",
    "Surroundings",
    "TraceRow",
    "Words",
    "diagnose",
]
