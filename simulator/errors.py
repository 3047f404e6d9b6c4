"""What the simulator raises on purpose. Its own tree: the simulator imports nothing of `models`."""


class SimulatorError(Exception):
    """A call that the farm cannot follow (a tank or instrument it does not have, a clock that runs backwards).

    Raised to whoever wrote the call; asking again does not help.
    """


class BadShell(SimulatorError):
    """A shell's sizes make no tank, or a volume lies outside of it."""
