"""Papers of the demo's past: each movement of the farm ends with tickets, a delivery note or a transfer note.

What they state is what went through the pumps, as a meter tells it: never what the gauge saw. Two papers are not as
they should be: one ticket is never written, one load is short of what its note says.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from gaugehouse.act import Json
from gaugehouse.days import Days
from gaugehouse.demotold import ANA, BEN, CLEO, DENSITY, Told
from gaugehouse.site import Site
from simulator.chance import stream
from simulator.demo.past import DAYS, day_before
from simulator.farm import Farm
from simulator.layout import Act
from simulator.tank import Truth
from simulator.weather import DAY_MS

CALM_MS: Final = 360_000
"""So long after a pump has stopped its paper is written: the line has drained by then."""

LOOKS_EVERY_MS: Final = 180_000
METER_SD: Final = 0.0004
LOAD_M3: Final = 12.0
"""Of an aircraft or a truck, about."""

SHORT_DAY: Final = 3
SHORT_FRAC: Final = 0.003
FORGOTTEN: Final = (DAYS - 3, "palm", 590.0)
"""Day, tank and minute of the issue whose ticket was forgotten."""

LEAST_M3: Final = 0.2


class Flow(NamedTuple):
    """What goes through a tank's pumps since they began."""

    began_ms: int
    stopped_ms: int | None
    received_m3: float
    issued_m3: float


class Papers:
    """Watches the pumps and writes. first: the day of the programme with which this past begins."""

    def __init__(self, site: Site, farm: Farm, seed: int, start_ms: int, first: int) -> None:
        self._site, self._farm, self._start_ms, self._first = site, farm, start_ms, first
        self._chance = stream(seed, "papers")
        self._days = Days(site.zone, site.day_starts_min)
        self._flows: dict[str, Flow] = {}
        self._before: dict[str, tuple[float, float]] = {}
        self._planned = {day: day_before(day, seed).movements for day in range(DAYS)}
        self._tickets = self._notes = self._transfers = 0
        self.by_receipt: set[tuple[str, int]] = set()
        """Receipts whose note is made otherwise: tank and day."""

    def look(self, time_ms: int, truth: Mapping[str, Truth]) -> list[Told]:
        """The papers that are written now."""
        told: list[Told] = []
        for tank, now in truth.items():
            flow = self._flows.get(tank)
            flows = now.inflow_m3_per_h > 0 or now.outflow_m3_per_h > 0
            if flow is None:
                if flows:
                    before = self._before.get(tank, (0.0, 0.0))
                    self._flows[tank] = Flow(time_ms, None, *before)
            elif flows:
                self._flows[tank] = flow._replace(stopped_ms=None)
            elif flow.stopped_ms is None:
                self._flows[tank] = flow._replace(stopped_ms=time_ms)
            elif time_ms - flow.stopped_ms >= CALM_MS:
                del self._flows[tank]
                told += self._of(tank, flow, now)
            if tank not in self._flows:
                self._before[tank] = (now.received_m3, now.issued_m3)
        return told

    def delivery(self, tank: str) -> Json:
        """What the next delivery note has beside its volume."""
        self._notes += 1
        product = self._site.tank(tank).product
        return {
            "batch": f"{product.upper()}-{100 + self._notes // 3}", "certificate": f"INV-{2000 + self._notes // 3}",
            "paper": f"DN-{self._notes:04d}",
        }  # fmt: skip

    def _of(self, tank: str, flow: Flow, now: Truth) -> list[Told]:
        day, since_ms = divmod(flow.began_ms - self._start_ms, DAY_MS)
        day, minute = day + self._first, since_ms / 60_000
        near = [p for p in self._planned[day] if tank in (p.tank, p.into) and abs(p.minute - minute) < 12]
        act = near[0].act if near else Act.ISSUE
        received, issued = now.received_m3 - flow.received_m3, now.issued_m3 - flow.issued_m3
        if act is Act.TRANSFER:
            return [] if near[0].into == tank else [self._transfer(tank, near[0].into, issued, now, flow)]
        if act is Act.DRAW_WATER:
            return [self._draw(tank, issued, flow)]
        if act is Act.RECEIVE:
            return [] if (tank, day) in self.by_receipt else [self._note(tank, received, day, flow)]
        if max(issued, received) < LEAST_M3 or (near and _forgotten(day, tank, near[0].minute)):
            return []
        return self._issues(tank, issued - received, now, flow)

    def _issues(self, tank: str, volume_m3: float, now: Truth, flow: Flow) -> list[Told]:
        over_midnight = self._days.at(flow.began_ms).date != self._day(flow)
        loads = 1 if over_midnight else max(1, round(volume_m3 / LOAD_M3))  # one paper can be split by the book
        parts = [self._chance.uniform(0.7, 1.3) for _ in range(loads)]
        customer = "truck of the demo" if self._site.tank(tank).product == "diesel" else "Invented Air"
        told = []
        for part in parts:
            self._tickets += 1
            fields = self._paper("fuelling ticket", tank, f"FT-{self._tickets:05d}", flow) | {
                "observed_m3": round(self._metered(volume_m3) * part / sum(parts), 2),
                "temperature_degC": round(now.temperature_degC, 1),
                "customer": f"{customer} {100 + self._chance.randrange(900)}",
            }
            told.append(Told("add_document", fields | {"by": self._chance.choice((BEN, CLEO))}))
        return told

    def _note(self, tank: str, volume_m3: float, day: int, flow: Flow) -> Told:
        stated = self._metered(volume_m3)
        if (day, tank) == (SHORT_DAY, "palm"):
            stated *= 1 + SHORT_FRAC
        fields = self._paper("delivery note", tank, "", flow) | self.delivery(tank) | {
            "observed_m3": round(stated, 2), "temperature_degC": round(self._farm.supply_degC(tank), 1),
        }  # fmt: skip
        return Told("add_document", fields | {"by": ANA})

    def _transfer(self, tank: str, to_tank: str, volume_m3: float, now: Truth, flow: Flow) -> Told:
        self._transfers += 1
        fields = self._paper("transfer note", tank, f"TN-{self._transfers:03d}", flow) | {
            "to_tank": to_tank, "observed_m3": round(self._metered(volume_m3), 2),
            "temperature_degC": round(now.temperature_degC, 1),
        }  # fmt: skip
        return Told("add_document", fields | {"by": BEN})

    def _draw(self, tank: str, volume_m3: float, flow: Flow) -> Told:
        water = round(0.9 * volume_m3, 4)
        fields = {
            "kind": "water draw", "tank": tank, "day": self._day(flow), "water_m3": water,
            "fuel_m3": round(volume_m3 - water, 4), "went_to": "waste drum of the demo", "by": CLEO, "sure": True,
        }  # fmt: skip
        return Told("add_document", fields)

    def _paper(self, kind: str, tank: str, paper: str, flow: Flow) -> Json:
        return {
            "kind": kind, "tank": tank, "paper": paper, "day": self._day(flow), "sure": True,
            "density_kg_m3": DENSITY[self._site.tank(tank).product],
        }  # fmt: skip

    def _day(self, flow: Flow) -> str:
        """When the pump was last seen to run: one that stopped just before midnight is of the day before."""
        ran_ms = flow.began_ms if flow.stopped_ms is None else max(flow.began_ms, flow.stopped_ms - LOOKS_EVERY_MS)
        return self._days.at(ran_ms).date

    def _metered(self, volume_m3: float) -> float:
        return volume_m3 * (1 + self._chance.gauss(0, METER_SD))


def _forgotten(day: int, tank: str, minute: float) -> bool:
    forgotten_day, forgotten_tank, about = FORGOTTEN
    return day == forgotten_day and tank == forgotten_tank and abs(minute - about) < 10
