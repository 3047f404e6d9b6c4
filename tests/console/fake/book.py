"""A stock book for the fake farm: invented papers and stands through the real sums, so that its pages add up."""

import math
from datetime import date, timedelta
from typing import Any

from console.facts import ActAnswer, Json
from gaugehouse.bookjson import judged_json, outside_json, owner_json, split_json
from inventory.account import Opening, Physical, Volumes, entries_of, exact, in_force, total, unmeasured
from inventory.accountrules import AccountRules
from inventory.book import Day, month_row, tank_days
from inventory.documents import DocumentKind as K
from inventory.judging import judged_product, judged_tank
from inventory.outside import outside_rows
from inventory.owners import owner_rows
from inventory.tolerances import PUBLISHED, RuleName
from models.capacity import CapacityTable
from models.quantity import Gauging, Product, Vessel
from models.stock import StockModel
from models.stock_budget import Rest, accuracy_of
from tests.inventory.books import paper

RULES = AccountRules(PUBLISHED[RuleName.FLOW_THROUGH], line_fill_m3=2.5, evaporation_frac=0.0001)
AREA_M2 = math.pi * 25
TABLE = CapacityTable([0.0, 14.0], [0.0, 14.0 * AREA_M2])
MODEL = StockModel(
    Vessel(TABLE, 14.5, water_measured=False), Product("jet", 800.0), {rest: accuracy_of(None, rest) for rest in Rest}
)  # fmt: skip
HEAD = "1204:5f0c2b6e9a7d41c8a1b2c3d4e5f60718293a4b5c6d7e8f901a2b3c4d5e6f7081"
TANKS = {"ostler-n": "Ostler north", "fennock": "Fennock"}
TODAY = "2026-11-25"


def stand(tank: str, m3: float, degC: float) -> Physical:
    gauging = Gauging(m3 / AREA_M2, degC)
    q = MODEL.calculate(gauging)
    budget = MODEL.budget(q, gauging, Rest.AT_REST)
    assert budget is not None and q.gov_m3 is not None and q.gsv_m3 is not None
    volumes = Volumes(exact(q.gov_m3), exact(q.gsv_m3))
    return Physical(tank, 1_795_564_799_000, "gauge", "", volumes, budget.expanded, budget, m3 / AREA_M2, degC,
                    None, AREA_M2)  # fmt: skip


class FakeBook:
    """November until today is without papers on the 14th; October is complete and can be signed."""

    def __init__(self) -> None:
        self.signed: dict[str, Json] = {}

    def answer(self, kind: str, name: str, zone_time: str) -> Json:
        name = name or (TODAY if kind == "day" else TODAY[:7])
        try:
            days = self._days(kind, name)
        except ValueError:
            example = "2026-01-31" if kind == "day" else "2026-01"
            raise ValueError(f"{name!r} is no {kind}; write it as {example}") from None
        rule = RULES.rule
        assert rule is not None
        return {
            "kind": kind, "period": name, "from": f"{days[0]}T00:00:00.000Z", "to": f"{days[-1]}T23:59:59.000Z",
            "over": days[-1] < TODAY, "time": zone_time, "reference_degC": 15.0, "edition": "API MPMS 11.1-2004",
            "rule": {"name": rule.name, "words": rule.words, "source": rule.source, "base": rule.base.value,
                     "standard": rule.standard},
            "head": HEAD, "products": [self._product(kind, name, days)],
        }  # fmt: skip

    def close(self, kind: str, name: str, product: str, by: str, seal: str | None) -> ActAnswer:
        if product != "jet":
            raise ValueError(f"no product {product!r} here; there are jet")
        found = self.answer(kind, name, "")["products"][0]
        if found["closed"] is not None:
            return ActAnswer("already", "", {"by": found["closed"]["by"], "name": name, "head": HEAD})
        if found["obstacles"]:
            return ActAnswer("refused", "; ".join(found["obstacles"]))
        if seal not in (None, found["seal"]):
            return ActAnswer("refused", "the figures have changed since they were shown; look at them again, then sign")
        self.signed[name] = {"entry": 1205, "time": "2026-11-25T12:00:00.000Z", "by": by, "comment": "", "head": HEAD,
                             "period": kind, "name": name}  # fmt: skip
        return ActAnswer("done", "", {"by": by, "name": name, "head": HEAD, "product": product})

    @staticmethod
    def _days(kind: str, name: str) -> list[str]:
        first = date.fromisoformat(name if kind == "day" else f"{name}-01")
        days = [first]
        while kind == "month" and (after := days[-1] + timedelta(days=1)).month == first.month:
            days.append(after)
        return [day.isoformat() for day in days]

    def _product(self, kind: str, name: str, days: list[str]) -> Json:
        month = [f"{days[-1][:8]}{n:02d}" for n in range(1, int(days[-1][8:]) + 1)]
        papers: list[Any] = []
        tanks = []
        for place, (tank, words) in enumerate(TANKS.items()):
            m3, known = 420.0 + 60 * place, []
            for n, day in enumerate(month):
                bare = day == "2026-11-14" or day > TODAY
                if not bare:
                    papers.append(
                        paper(2 * n + place, K.TICKET, day, -6.0 - place, tank, "north" if n % 3 else "south")
                    )
                    m3 -= 6.0 + place
                if n % 7 == 3 and not bare:
                    papers.append(paper(100 + n, K.DELIVERY, day, 36.0, tank, "north"))
                    m3 += 36.0
                m3 -= 0.011 * (n % 4)
                held = unmeasured(tank, "level is Bad: BadSensorFailure") if bare else stand(tank, m3, 15 + n % 3)
                known.append(Day(day, held, not bare))
            ours = [one for one in papers if one.tank == tank]
            opening = Opening("2026-01-01", Volumes(0.0, 0.0), {})
            entries = entries_of(in_force(ours))
            rows = tank_days(tank, "jet", opening, known, entries, stand(tank, 420.0 + 60 * place, 15))
            judged = [judged_tank(RULES, 15.0, row, rows, {}) for row in rows]
            whole = judged[-1] if kind == "day" else judged_tank(RULES, 15.0, month_row(rows), rows, {})
            shown = judged[-len(days) :]
            tanks.append((tank, words, whole, shown))
        product = judged_product(RULES, [one[2] for one in tanks], "jet", Volumes(0.0, 0.0))
        entries = entries_of(in_force(papers))
        openings = {"north": Volumes(600.0, 600.0), "south": Volumes(300.0, 300.0)}
        owners = owner_rows("jet", name, openings, entries, product.row.variance, "throughput")
        stands = [
            ("2026-09-30", "bowser-1", "jet", Volumes(11.2, 11.1)),
            (days[-1], "bowser-1", "jet", Volumes(9.8, 9.7)),
        ]
        obstacles = [] if days[-1] < TODAY else [f"{name} is not over yet: sign it when its last day has ended"]
        obstacles += [f"{one}: enter the papers that are missing" for one in product.row.missing if "incomplete" in one]
        closed = self.signed.get(name)
        return {
            "product": "jet", "name": "Jet A-1", "begun": "2026-01-01",
            "whole": judged_json(product), "split": split_json(product), "days": [],
            "tanks": [
                {"tank": tank, "name": words, "begun": "2026-01-01", "whole": judged_json(whole),
                 "split": split_json(whole),
                 "days": [judged_json(one) for one in shown] if kind == "month" else []}
                for tank, words, whole, shown in tanks
            ],
            "owners": [owner_json(one) for one in owners] if kind == "month" else [],
            "outside": [outside_json(one) for one in outside_rows(stands, [], name)] if kind == "month" else [],
            "papers": len(papers), "seal": f"{abs(hash(name)) % 16**16:016x}",
            "obstacles": [f"{name} was closed by {closed['by']}"] if closed else obstacles,
            "remarks": ["ostler-n: no calibration certificate; accepted by the stock keeper in the site file"],
            "closed": closed,
        }  # fmt: skip


__all__ = ["FakeBook", "total"]
