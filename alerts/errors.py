"""What the room of alarms raises on purpose. A person's act that comes late or twice is an answer, no error."""

from models.errors import GaugehouseError


class AlertsError(GaugehouseError):
    """Anything wrong with how alarms or loop faults were set up, saved or addressed."""


class BadSetup(AlertsError):
    """Limits, loops or alarm sheet contradict themselves. Stops the start; trying again does not help."""


class BadSavedState(AlertsError):
    """Saved state that this program cannot have written. Stops the start, so that nothing is guessed."""


class UnnamedPerson(AlertsError):
    """An act that only a named person may do came without a name. Whoever takes the act in asks for the name."""
