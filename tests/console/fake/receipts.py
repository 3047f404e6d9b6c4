"""Receipts of the fake farm: a real core receives on a simulated tank, so that what pages get is what the daemon gives.

The core is made when first asked, with a farm, clock and record book of its own.
"""

import tempfile
from pathlib import Path
from typing import Any

from console.facts import ActAnswer, Json, PaperSize
from gaugehouse.acts import act_of
from gaugehouse.errors import CallError
from gaugehouse.paper import pdf_of
from gaugehouse.receiptjson import receipt_json
from gaugehouse.receiptpaper import paper_of
from simulator.layout import Act, Planned

FIRST_S = 900
THERE, HERE = "ridge", "ostler-s"
"""The tank in the core, and the one that it is called in the fake farm."""
PACE_S = 60


class FakeReceipts:
    """Acts go into the core of `tests.gaugehouse.test_receipts.Receiving`."""

    def __init__(self) -> None:
        self._kept: Any = None
        self._over: list[Json] = []

    @property
    def kept(self) -> Any:
        if self._kept is None:
            from tests.gaugehouse.test_receipts import Receiving

            self._kept = Receiving(Path(tempfile.mkdtemp()), 41, THERE)
            self._kept.run(FIRST_S)
        return self._kept

    def act(self, name: str, fields: Json) -> ActAnswer:
        try:
            act_of(name, fields)
        except CallError as error:
            return ActAnswer("wrong", str(error))
        if fields.get("tank", HERE) != HERE:
            return ActAnswer("unknown", f"there is no tank {fields['tank']!r}")
        told = fields | ({"tank": THERE} if "tank" in fields else {})
        answer = self.kept.do(name, **told)
        if name == "start_receipt" and answer.status == "done":
            volume_m3 = answer.body["paper"]["observed_m3"]
            self.kept.farm.start(Planned(0, Act.RECEIVE, THERE, 60, volume_m3=volume_m3))
        for body in self.kept.entries:
            if body["event"] in ("decided", "called off"):
                told = {"head": f"7:{'ab' * 32}", "simulated": True, "time_ms": 1_700_000_000_000}
                self._over.insert(0, _named(body) | told)
        return ActAnswer(answer.status.value, answer.text, _named(dict(answer.body)))

    def advance(self) -> None:
        """Let the tank go on, where there is one."""
        if self._kept is not None:
            self._kept.run(PACE_S)

    def all(self) -> list[Json]:
        if self._kept is None:
            return []
        return [_named(receipt_json(self.kept.core, one)) for one in self.kept.core.receipts.all()] + self._over

    def one(self, number: int) -> Json | None:
        return next((row for row in self.all() if row["number"] == number), None)

    def paper(self, number: int, size: PaperSize) -> bytes | None:
        found = next((row for row in self._over if row["number"] == number), None)
        return None if found is None else pdf_of(paper_of(found, "Fake farm", "Etc/UTC", size=size))


def _named(body: Json) -> Json:
    return body | {"tank": HERE, "tank_name": "Ostler south"} if body.get("tank") == THERE else body
