"""What the collector raises. What goes wrong on the wire is never raised: it is the outcome of a Sample."""

from models.errors import GaugehouseError


class CollectorError(GaugehouseError):
    """The collector was told something that it cannot do. Names bus, instrument and key; asking again does not help."""


class CollectorStopped(CollectorError):
    """A reading was asked for, and the collector stopped before it was taken."""
