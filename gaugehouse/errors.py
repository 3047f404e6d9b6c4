"""What the front door raises, and the exit status that each kind leads to."""

from models.errors import GaugehouseError


class CallError(GaugehouseError):
    """The call, the site file or the samples are wrong: exit 2. Doing it again unchanged does not help."""


class CouldNot(GaugehouseError):
    """Something outside stood in the way (bus, disk, port, store busy): exit 3. Trying again may help."""
