"""The front door: command line, site file, the one core and its wiring, daemon, replay, demo."""

__version__ = "0.1.0"
