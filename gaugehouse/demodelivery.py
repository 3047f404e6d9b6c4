"""Deliveries of the past that are followed from call to signature: one that is over, and one that runs into the demo
and waits for whoever decides it. Another is planned. The rest comes with a note and no more ado.
"""

import math
from collections.abc import Mapping
from typing import Any, Final

from gaugehouse.act import Answer
from gaugehouse.core import Core
from gaugehouse.demopapers import Papers
from gaugehouse.demotold import ANA, BEN, Told
from gaugehouse.receiptjson import receipt_json
from models.reading import Instant
from simulator.demo.past import DAYS, TOP_M
from simulator.farm import Farm
from simulator.tank import Truth
from simulator.weather import DAY_MS

FOLLOWED: Final = (DAYS - 2, DAYS - 1)
TANK: Final = "north"
RATE_M3_PER_S: Final = 108 / 3600
MINUTES: Final = {"plan": 1330, "checks": 1372, "start": 1380}
LINE_MINUTES: Final = (1406, 1426)
NEXT_MINUTE: Final = 1345


class Delivery:
    """Plans, checks, starts, follows and decides a receipt of `TANK`."""

    def __init__(self, core: Core, farm: Farm, papers: Papers, start_ms: int, first: int, day: int) -> None:
        self._core, self._farm, self._papers = core, farm, papers
        self._start_ms = start_ms
        self._begins_ms = start_ms + (day - first) * DAY_MS
        self._last = day == DAYS - 1
        self._number: int | None = None
        self._before: Truth | None = None
        self._done: set[str] = set()
        papers.by_receipt.add((TANK, day))

    def look(self, at: Instant, truth: Mapping[str, Truth]) -> list[Told]:
        minute = (at.time_ms - self._begins_ms) / 60_000
        if minute < MINUTES["plan"] or self._begins_ms < self._start_ms:
            return []
        told: list[Told] = []
        if self._once("plan"):
            told.append(self._plan(truth[TANK]))
        elif self._number is not None:
            told += self._follow(minute, truth[TANK], self._number)
        if self._last and minute >= NEXT_MINUTE and self._once("next"):
            told.append(Told("plan_receipt", {
                "tank": "dune", "rate_m3_per_s": 48 / 3600, "observed_m3": 32.5, "temperature_degC": 29.0,
                "density_15_kgpm3": 840.0, "note": "DN-T1", "batch": "DIESEL-131", "certificate": "INV-2131",
                "vehicle": "road tanker 2", "by": ANA,
            }))  # fmt: skip
        return told

    def _once(self, what: str) -> bool:
        if what in self._done:
            return False
        self._done.add(what)
        return True

    def _plan(self, now: Truth) -> Told:
        area_m2 = math.pi / 4 * 10.0**2
        volume = round((TOP_M - now.level_m) * area_m2 + 0.3, 1)
        papers = self._papers.delivery(TANK)
        fields: dict[str, Any] = {
            "tank": TANK, "rate_m3_per_s": RATE_M3_PER_S, "observed_m3": volume,
            "temperature_degC": 28.5, "density_15_kgpm3": 800.0, "note": papers["paper"], "batch": papers["batch"],
            "certificate": papers["certificate"], "vehicle": "pipeline of the demo", "sender": "depot of the demo",
            "by": ANA,
        }  # fmt: skip
        return Told("plan_receipt", fields, self._planned)

    def _planned(self, answer: Answer) -> None:
        self._number = answer.body.get("number")

    def _follow(self, minute: float, now: Truth, number: int) -> list[Told]:
        if minute >= MINUTES["checks"] and self._once("checks"):
            # one of them is not done: the record says so
            checks = self._core.site.receipts.checks[:-1]
            said = [Told("note_receipt_check", {"number": number, "what": one, "found": "done", "by": BEN})
                    for one in checks]  # fmt: skip
            return [*said, Told("sample_receipt", {
                "number": number, "density_kgpm3": 788.6, "density_degC": 28.6, "temperature_degC": 28.6, "by": BEN,
            })]  # fmt: skip
        if minute >= MINUTES["start"] and self._once("start"):
            self._before = now
            return [Told("start_receipt", {"number": number, "by": BEN})]
        told = []
        for line in LINE_MINUTES:
            if minute >= line and self._before is not None and self._once(f"line {line}"):
                moved = round((now.received_m3 - self._before.received_m3) * 1.0006, 1)
                told.append(Told("check_receipt_line", {"number": number, "figure_m3": moved, "by": BEN}))
        receipt = self._core.receipts.get(number)
        if receipt is not None and "start" in self._done and minute > LINE_MINUTES[-1]:
            body = receipt_json(self._core, receipt)
            if body["phase"] == "calm" and self._once("decide"):
                told.append(Told("decide_receipt", {"number": number, "decision": "accepted", "by": ANA}))
        elif receipt is None and "decide" in self._done and self._once("document"):
            told.append(Told("document_receipt", {"number": number, "by": ANA, "sure": True}))
        return told
