"""The root of the project's exceptions, and what the models themselves raise.

Every message says what, where and the mend. Each package keeps its own branch below `GaugehouseError`.
"""


class GaugehouseError(Exception):
    """Anything this program raises on purpose. The command line turns it into one line on stderr."""


class OutOfRange(GaugehouseError):
    """A model was asked about a value outside of what it knows (a level above the capacity table).

    Callers flag the figure; asking again does not help.
    """


class BadTable(GaugehouseError):
    """A capacity table breaks its own rules (a level that falls, a volume that falls). Names the row."""


class IllegalTransition(GaugehouseError):
    """A state machine was sent an event that its table does not list: a bug, never a person's mistake."""
