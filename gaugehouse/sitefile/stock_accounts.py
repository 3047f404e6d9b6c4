"""The `[stock.accounts]` table: the rule that judges a variance, and what its parts rest on.

Says what each key may hold by itself; what they mean together is in `stock_accountfacts`.
"""

from typing import Annotated, Final

from pydantic import Field, PlainValidator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import one_of, quantity
from gaugehouse.sitefile.table import Table, Text
from inventory.accountrules import SharedBy
from inventory.tolerances import Base, RuleName

BASES: Final = {base.value: base for base in (Base.FLOW_THROUGH, Base.OPENING_RECEIPTS)}


class OwnRuleTable(Table):
    """A rule of the site's own."""

    words: Text = Field(examples=['"0.3 % of flow-through"'])
    source: Text = Field(examples=['"storage agreement of 2025, clause 7"'])
    base: Annotated[Base, PlainValidator(one_of(BASES))] = Base.FLOW_THROUGH
    percent: Annotated[float, quantity("%", "0.3 %", 0, 10)] = 0.0
    fixed: Annotated[float, quantity("m3", "500 L", 0, 1e6)] = 0.0
    corrected: bool = True


class AccountsTable(Table):
    """How the accounts of this site's stock book are judged, and what their variances are split by."""

    rule: Annotated[RuleName, PlainValidator(one_of({rule.value: rule for rule in RuleName}))] | None = None
    own: OwnRuleTable | None = None
    max_age: f.Age = 600_000
    dip_age: f.Age = 7_200_000
    shared_by: Annotated[SharedBy, PlainValidator(one_of({by.value: by for by in SharedBy}))] = SharedBy.THROUGHPUT
    meter_limits: Annotated[float, quantity("%", "0.2 %", 0.001, 5)] | None = None
    evaporation: Annotated[float, quantity("%", "0.01 %", 0, 1)] | None = None
    line_fill: f.Volume | None = None
    daily_samples: f.Volume | None = None
