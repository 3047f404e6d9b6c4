"""The keys of [register_server]: the figures as Modbus registers for a control room. What they mean together is in
`registersfacts`. Every key stands in docs/site-file.md (a test compares the two)."""

from typing import Annotated

from pydantic import Field, PlainValidator

from gaugehouse.sitefile.fields import one_of, whole
from gaugehouse.sitefile.table import Table, Text

WORD_ORDERS = ("high first", "low first")


class RegisterServerTable(Table):
    host: Text = "127.0.0.1"
    port: Annotated[int, whole(0, 65535)] = 1502
    unit: Annotated[int, whole(1, 247)] = 1
    allow: list[Text] = Field(default_factory=lambda: ["127.0.0.1"])
    tanks: list[Text] | None = None
    word_order: Annotated[str, PlainValidator(one_of({word: word for word in WORD_ORDERS}))] = "high first"
    bad_value: Text = "NaN"
