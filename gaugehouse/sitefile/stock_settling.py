"""`[stock.settling]` as it is written: the site's own rules of settling and release.

Rules differ threefold from source to source, so none is built in: a site without this table keeps no tank status. What
the keys mean together is in `settlingfacts`.
"""

from typing import Annotated, Final

from pydantic import Field, PlainValidator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import milliseconds, one_of, quantity
from gaugehouse.sitefile.table import Table, Text
from inventory.batches import MIXINGS, Mixing
from inventory.settling import SUCTIONS
from inventory.tankstate import RESULTS

NEEDED: Final = ("appearance", "water test")

_Time = Annotated[int, milliseconds("24 h", 60, 30 * 86_400)]


class SettlingRuleTable(Table):
    """One rule of settling, for a product and a kind of suction or for any."""

    source: Text = Field(examples=['"our fuel quality manual, 4.2"'])
    product: str | None = None
    suction: Annotated[str, PlainValidator(one_of({word: word for word in SUCTIONS}))] | None = None
    time: _Time | None = None
    per_depth: Annotated[float, quantity("s/m", "1 h/ft", 60, 360_000)] | None = None
    at_least: _Time | None = None
    at_most: _Time | None = None
    small_rise: f.SmallLength | None = None
    small_time: _Time | None = None


class SettlingTable(Table):
    """How tanks settle and are released on this site."""

    rule: list[SettlingRuleTable] = Field(min_length=1, examples=["[[stock.settling.rule]]"])
    floating_suction: list[Text] = Field(default_factory=list)
    issues_restart: bool = True
    blind_counts: bool = False
    down_counts: bool = True
    early_release_by: list[Text] = Field(default_factory=list)
    needed: list[Annotated[str, PlainValidator(one_of({word: word for word in RESULTS}))]] = Field(
        default_factory=lambda: list(NEEDED)
    )
    receiving_points: list[Text] = Field(default_factory=list)
    issuing_points: list[Text] = Field(default_factory=list)
    mixing: Annotated[Mixing, PlainValidator(one_of(MIXINGS))] = Mixing.MIXED
    recertify_after: Annotated[int, milliseconds("180 d", 86_400, 3_650 * 86_400)] | None = None
    recertify_source: Text | None = None
