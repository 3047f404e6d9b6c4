"""The daemon as the console sees it: `console.facts.Facts`, an area a file as there, joined in `whole.py`.

Nothing here blocks the loop: questions to the stores go to reader threads, an act waits for the record book.
"""

from gaugehouse.facts.asking import House
from gaugehouse.facts.whole import DaemonFacts

__all__ = ["DaemonFacts", "House"]
