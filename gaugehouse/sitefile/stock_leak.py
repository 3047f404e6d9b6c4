"""The `[stock.leak]` table of the site file: how the leak test of a quiet tank is done here."""

from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import Id, milliseconds, quantity
from gaugehouse.sitefile.table import Table
from inventory.leakrules import LeakRules

if TYPE_CHECKING:
    from gaugehouse.sitefile.draft import Draft

Rate = Annotated[float, quantity("m3/s", "7.57 L/h", 1e-9, 1e-3)]
Wait = Annotated[int, milliseconds("24 h", 0, 30 * 86_400)]
Length = Annotated[int, milliseconds("24 h", 4 * 3600, 7 * 86_400)]

_DEFAULT = LeakRules()


class LeakTable(Table):
    """Everything has a default; without `tanks` no tank is tested."""

    tanks: list[Id] = Field(default_factory=list)
    averaging: list[Id] = Field(default_factory=list)
    standing: list[Id] = Field(default_factory=list)
    volatile: list[Id] = Field(default_factory=list)
    wait_after_receipt: Wait = _DEFAULT.wait_after_receipt_ms
    wait_after_issue: Wait = _DEFAULT.wait_after_issue_ms
    shortest: Length = _DEFAULT.shortest_ms
    longest: Length = _DEFAULT.longest_ms
    dry_shell_change: f.Difference = _DEFAULT.dry_shell_K
    unseen_by_spot: f.Difference = _DEFAULT.unseen_spot_K
    unseen_by_average: f.Difference = _DEFAULT.unseen_average_K
    claim_at_most: Rate = _DEFAULT.claim_at_most_m3_per_h / 3600

    def rules(self) -> LeakRules:
        return LeakRules(
            tanks=tuple(self.tanks),
            averaging=tuple(self.averaging),
            standing=tuple(self.standing),
            volatile=tuple(self.volatile),
            wait_after_receipt_ms=self.wait_after_receipt,
            wait_after_issue_ms=self.wait_after_issue,
            shortest_ms=self.shortest,
            longest_ms=self.longest,
            dry_shell_K=self.dry_shell_change,
            unseen_spot_K=self.unseen_by_spot,
            unseen_average_K=self.unseen_by_average,
            claim_at_most_m3_per_h=self.claim_at_most * 3600,
        )


def check_leak(draft: "Draft") -> None:
    """Ids that name nothing, a longest test that is shorter than the shortest, lists that go beyond `tanks`."""
    stock = draft.file.stock
    table = None if stock is None else stock.leak
    if table is None:
        return
    for key, kind in (("tanks", "tank"), ("averaging", "tank"), ("standing", "tank"), ("volatile", "product")):
        for wanted in getattr(table, key) or ():
            draft.expect_id(f"stock.leak.{key}", wanted, kind)
    for key in ("averaging", "standing"):
        for tank in getattr(table, key) or ():
            if table.tanks is not None and tank in draft.ids("tank") and tank not in table.tanks:
                text = f'tank "{tank}" is not tested; add it to `tanks`, or remove it here'
                draft.report.error(f"stock.leak.{key}", text, found=tank)
    if table.shortest is not None and table.longest is not None and table.shortest > table.longest:
        text = "the longest test is shorter than the shortest one; turn `shortest` and `longest` round"
        draft.report.error("stock.leak.longest", text)
