"""The readings of a tank with the version of the tank model that each was made with, in the order of seq.

Knows which rows and blocks belong to which model; refuses to know what a model is.
"""

import sqlite3
from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from history.block import Columns, columns_of
from history.layout import FOR_SEALING
from history.placing import Place, ranges_of
from history.sealed import Sealed


class Modelled(NamedTuple):
    """A stretch of readings of one version; empty where the store was opened without models."""

    version: str
    columns: Columns


def modelled(
    connection: sqlite3.Connection, sealed: Sealed, place: Place, start_ms: int, end_ms: int
) -> Iterator[Modelled]:
    """Those with start_ms <= time_ms < end_ms whose single readings are kept."""
    versions: dict[int | None, str] = dict(
        connection.execute("SELECT id, version FROM model WHERE tank = ?", (place.id,)).fetchall()
    )
    for block in sealed.blocks(connection, place.id, start_ms, end_ms):
        for columns in sealed.whole(connection, block):
            yield _cut(versions.get(block.model, ""), columns, start_ms, end_ms)
    for first_seq, last_seq in ranges_of(connection, place, start_ms, end_ms):
        rows = connection.execute(FOR_SEALING, (place.id, first_seq - 1, last_seq)).fetchall()
        query = "SELECT model FROM reading WHERE tank = ? AND seq >= ? AND seq <= ? ORDER BY seq"
        models = [model for (model,) in connection.execute(query, (place.id, first_seq, last_seq))]
        for model, pairs in groupby(zip(models, rows, strict=True), key=lambda pair: pair[0]):
            columns = columns_of([row for _, row in pairs])
            yield _cut(versions.get(model, ""), columns, start_ms, end_ms)


def _cut(version: str, columns: Columns, start_ms: int, end_ms: int) -> Modelled:
    return Modelled(version, columns.take((columns.time_ms >= start_ms) & (columns.time_ms < end_ms)))
