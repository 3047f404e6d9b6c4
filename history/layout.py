"""How the file of readings is laid out, and how a file of an earlier format becomes one of this.

Knows tables and their texts of SQL; refuses to know when anything is written. Every text is put together from constants
of this project; values always come as parameters.

`reading`: the newest rows, clustered by (tank, seq). `minute`: the roll-up of each stretch of them inside of one clock
minute. When an hour is over its rows are sealed: they become a `block` with its columns and roll-ups in `part`, and
leave the two tables (a tank's last row and its last good one stay, so that both are found at once). Hours of a day that
is over are merged into one block. `model`: every version of a tank's model that readings were made with. `outlet`: how
far each server has got (see `history.following`).
"""

from typing import Final

from history.files import Layout
from history.scale import COLUMN_OF, COLUMNS
from history.store import COUNTS_WHEN_BAD
from models.reading import QUANTITIES

FORMAT: Final = 3
FIGURES: Final = tuple(quantity.column for quantity in QUANTITIES)


def counted(column: str) -> str:
    """SQL: the figure where it counts in a trend, else NULL."""
    scaled = COLUMN_OF[column]
    return scaled if column in COUNTS_WHEN_BAD else f"CASE WHEN quality < 2 THEN {scaled} END"


_TANK = (
    "CREATE TABLE tank (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, closed_seq INTEGER NOT NULL DEFAULT 0, "
    "good_seq INTEGER, sealed_seq INTEGER NOT NULL DEFAULT 0)"
)
_READING = (
    f"CREATE TABLE reading (tank INTEGER NOT NULL, {', '.join(f'{c} INTEGER' for c in COLUMNS)}, "
    "model INTEGER, fine_m REAL, PRIMARY KEY (tank, seq)) WITHOUT ROWID"
)
_MINUTE = (
    "CREATE TABLE minute (tank INTEGER NOT NULL, minute INTEGER NOT NULL, first_seq INTEGER NOT NULL, "
    "last_seq INTEGER NOT NULL, readings INTEGER NOT NULL, good INTEGER NOT NULL, "
    + ", ".join(f"{c}_values INTEGER, {c}_total INTEGER, {c}_least INTEGER, {c}_most INTEGER" for c in FIGURES)
    + ", PRIMARY KEY (tank, minute, first_seq)) WITHOUT ROWID"
)
_SEALED = (
    "CREATE TABLE model (id INTEGER PRIMARY KEY, tank INTEGER NOT NULL, version TEXT NOT NULL, first_seen_ms INTEGER "
    "NOT NULL, definition TEXT NOT NULL, UNIQUE (tank, version))",
    # damaged: empty, or what was wrong with a block that is set aside; span: 'hour' or 'day'
    "CREATE TABLE block (id INTEGER PRIMARY KEY, tank INTEGER NOT NULL, first_seq INTEGER NOT NULL, last_seq INTEGER "
    "NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, readings INTEGER NOT NULL, span TEXT NOT NULL, "
    "model INTEGER, thinned INTEGER NOT NULL DEFAULT 0, damaged TEXT NOT NULL DEFAULT '')",
    "CREATE UNIQUE INDEX block_place ON block (tank, first_seq)",
    "CREATE INDEX block_hours ON block (tank, first_seq) WHERE span = 'hour'",
    "CREATE INDEX block_full ON block (tank, last_ms) WHERE thinned = 0",
    # a table with a rowid: columns of some kilobytes pack badly in a clustered one (measured)
    "CREATE TABLE part (block INTEGER NOT NULL, name TEXT NOT NULL, data BLOB NOT NULL)",
    "CREATE UNIQUE INDEX part_place ON part (block, name)",
)
_OUTLET = (
    "CREATE TABLE outlet (server TEXT PRIMARY KEY, seq INTEGER NOT NULL, sent INTEGER NOT NULL DEFAULT 0, "
    "rejected INTEGER NOT NULL DEFAULT 0, dropped INTEGER NOT NULL DEFAULT 0) WITHOUT ROWID"
)
# For people with a SQLite shell: the same figures in their units, of what is not sealed yet.
_VIEW = (
    "CREATE VIEW readings AS SELECT tank.name AS tank, seq, time_ms, quality, reason, stock_quality, bound, "  # noqa: S608
    + ", ".join(f"{COLUMN_OF[q.column]} / 1e{q.decimals} AS {q.column}" for q in QUANTITIES)
    + " FROM reading JOIN tank ON tank.id = reading.tank"
)
_SCHEMA: Final = (_TANK, _READING, _MINUTE, *_SEALED, _OUTLET, _VIEW)
_FROM_1: Final = (
    "ALTER TABLE tank ADD COLUMN sealed_seq INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE reading ADD COLUMN model INTEGER",
    "ALTER TABLE reading ADD COLUMN fine_m REAL",
    *_SEALED,
)

_FROM_2: Final = (_OUTLET,)

LAYOUT: Final = Layout("store of readings", 0x67685264, FORMAT, _SCHEMA, "NORMAL", {1: _FROM_1, 2: _FROM_2})

INSERT: Final = (
    f"INSERT INTO reading (tank, {', '.join(COLUMNS)}, model, fine_m) VALUES (?{', ?' * (len(COLUMNS) + 2)})"  # noqa: S608
)
SELECT: Final = f"SELECT {', '.join(COLUMNS)} FROM reading WHERE tank = ?1"  # noqa: S608
ROLL_UP: Final = (
    "INSERT INTO minute SELECT tank, min(time_ms) / 60000, min(seq), max(seq), count(*), sum(quality = 0), "  # noqa: S608
    + ", ".join(f"count({v}), sum({v}), min({v}), max({v})" for v in map(counted, FIGURES))
    + " FROM reading WHERE tank = ? AND seq > ? AND seq <= ? GROUP BY tank"
)
FOR_SEALING: Final = (
    "SELECT seq, time_ms, quality, reason, stock_quality, bound, fine_m, "  # noqa: S608
    + ", ".join(COLUMN_OF[name] for name in FIGURES)
    + " FROM reading WHERE tank = ? AND seq > ? AND seq <= ? ORDER BY seq"
)
