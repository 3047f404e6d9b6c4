"""Labelled loops: one loop with one thing wrong with it (or nothing), as a site would have recorded it.

For benchmarks and tests of diagnosis. `scenarios` says what happens, `recorded` runs the farm and writes down what a
reader sees of it; which label is right is known because it was injected. Equal label and seed give equal cases.
"""

from simulator.cases.healthy import Day, areas_m2, healthy_days, ranges_m
from simulator.cases.recorded import Case, Loop, Row, Seen
from simulator.cases.scenarios import LABELS, case

__all__ = ["LABELS", "Case", "Day", "Loop", "Row", "Seen", "areas_m2", "case", "healthy_days", "ranges_m"]
