"""The keys of one [[store.server]] table: a time-series server that is a second home of the readings. What they mean
together is in `serverchecks`. Every key stands in docs/site-file.md (a test compares the two)."""

from pydantic import Field

from gaugehouse.sitefile.fields import Id
from gaugehouse.sitefile.table import Table, Text


class ServerTable(Table):
    id: Id = Field(examples=['"archive"'])
    url: Text = Field(examples=['"https://history.example.org:8086"'])
    org: Text | None = None
    bucket: Text = Field(examples=['"tanks"'])
    token_file: Text | None = None
    token_env: Text | None = None
    ca: Text | None = None
    reads: bool = False
