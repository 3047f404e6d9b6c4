"""The demo: a farm of our own invention (`layout`), and the site file that a daemon reads it by (`write`)."""

from simulator.demo.write import write_demo

__all__ = ["write_demo"]
