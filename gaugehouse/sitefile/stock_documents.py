"""The `[stock.documents]` table: whose fuel, places outside the tanks, meters, and what is usual on a paper.

Says what each key may hold by itself; what they mean together is in `stock_documentfacts`.
"""

from typing import Annotated

from pydantic import Field, PlainValidator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import Id, one_of
from gaugehouse.sitefile.table import Table
from inventory.documentrules import COOLEST_DEGC, UNUSUAL, WARMEST_DEGC, Counts, Direction, PlaceKind


class OwnerTable(Table):
    id: Id = Field(examples=['"north-air"'])
    name: str = ""


class PlaceTable(Table):
    id: Id = Field(examples=['"bowser-1"'])
    name: str = ""
    kind: Annotated[PlaceKind, PlainValidator(one_of({kind.value: kind for kind in PlaceKind}))] = Field(
        examples=['"refueller"']
    )
    product: str = Field(examples=['"jet-a1"'])
    capacity: f.Volume | None = None


class BookMeterTable(Table):
    id: Id = Field(examples=['"load-rack"'])
    name: str = ""
    meter: str | None = None
    tank: str | None = None
    direction: Annotated[Direction, PlainValidator(one_of({one.value: one for one in Direction}))] | None = None
    factor: Annotated[float, Field(gt=0.9, lt=1.1)] | None = None
    compensated: bool | None = None
    rolls_over_at: f.Volume | None = None
    counts: Annotated[Counts, PlainValidator(one_of({one.value: one for one in Counts}))] = Counts.BOOK


class DocumentsTable(Table):
    """What the papers of this site's stock book may say."""

    owner: list[OwnerTable] = Field(default_factory=list)
    place: list[PlaceTable] = Field(default_factory=list)
    meter: list[BookMeterTable] = Field(default_factory=list)
    largest_ticket: f.Volume | None = None
    largest_delivery: f.Volume | None = None
    unusual: Annotated[float, Field(ge=1.5, le=1000)] = UNUSUAL
    coolest: f.Temperature = COOLEST_DEGC
    warmest: f.Temperature = WARMEST_DEGC
