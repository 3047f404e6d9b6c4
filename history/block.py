"""A stretch of one tank's readings as columns, and as named bytes for a file.

Knows which columns a reading has, which of them follow from others, and how the rest is kept; refuses to know files.
What was measured is kept (the level to its last bit, temperature, water, status, seq and time); of a figure that a
`Deriver` works out only what is left between the figure kept and the figure worked out, which is nothing at all unless
the two programs or processors round differently. So what comes back is what went in, whatever the deriver does.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple, Protocol

import numpy as np

from history.codec import Column, decode, encode, whole
from history.errors import StoreDamaged
from history.scale import BOUNDS, QUALITIES, REASONS
from history.store import Flags, Floats, Ints
from models.reading import QUANTITIES

FIGURES: Final = tuple(quantity.column for quantity in QUANTITIES)
FACTOR: Final[Mapping[str, float]] = {q.column: 10.0**q.decimals for q in QUANTITIES}
LEVEL: Final = "level_m"

_WORKED_OUT: Final = 1
_SAME_HOLES: Final = 2
_REASON_AT, _STOCK_AT, _BOUND_AT = 4, 256, 1024


class Measured(NamedTuple):
    """What a deriver gets: one place a reading; NaN where a figure is not known. Units are in the names."""

    time_ms: Ints
    quality: Ints
    level_m: Floats
    temperature_degC: Floats
    water_m: Floats


class Deriver(Protocol):
    """Works out what follows from a level by one version of a tank's model. Must never raise for odd rows: NaN."""

    @property
    def version(self) -> str: ...

    def derive(self, measured: Measured, wanted: Iterable[str]) -> Mapping[str, Floats]:
        """Columns of `QUANTITIES` by name, at least those of `wanted` that this model knows."""
        ...


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one tank by columns, in the order of seq.

    status: quality, reason, stock quality and bound in one number (`status_of`). fine_m: the level before it was
    rounded. figures: whole scaled numbers by column name (see `history.scale`).
    """

    seq: Ints
    time_ms: Ints
    status: Ints
    fine_m: Column
    figures: Mapping[str, Column]

    def __len__(self) -> int:
        return len(self.seq)

    @property
    def quality(self) -> Ints:
        return self.status % _REASON_AT

    def take(self, which: Flags | slice) -> "Columns":
        """The readings at some places."""
        if not isinstance(which, slice) and which.all():
            return self
        figures = {name: Column(c.values[which], c.known[which]) for name, c in self.figures.items()}
        fine = Column(self.fine_m.values[which], self.fine_m.known[which])
        return Columns(self.seq[which], self.time_ms[which], self.status[which], fine, figures)

    def figure(self, name: str) -> Floats:
        """A column in its unit, NaN where it is not known."""
        column = self.figures[name]
        values = column.values / FACTOR[name]
        return values if column.known.all() else np.where(column.known, values, np.nan)


def status_of(quality: int, reason: int, stock_quality: int, bound: int) -> int:
    """The four codes of `history.scale` in one number."""
    return quality + _REASON_AT * reason + _STOCK_AT * stock_quality + _BOUND_AT * bound


def status_parts(status: int) -> tuple[int, int, int, int]:
    """What `status_of` put together. Raises `StoreDamaged` for a code that no program of this format wrote."""
    parts = status % _REASON_AT, status % _STOCK_AT // _REASON_AT, status % _BOUND_AT // _STOCK_AT, status // _BOUND_AT
    for part, known in zip(parts, (QUALITIES, REASONS, QUALITIES, BOUNDS), strict=True):
        if part >= len(known):
            raise StoreDamaged(f"status {status} holds a code that no program of this format wrote")
    return parts


def columns_of(rows: Sequence[Sequence[int | float | None]]) -> Columns:
    """Rows `(seq, time_ms, quality, reason, stock_quality, bound, fine level, *figures)` turned into columns."""
    count = len(rows)
    turned = list(zip(*rows, strict=True)) if rows else [()] * (7 + len(FIGURES))
    seq, time_ms, *status = (np.array(column, np.int64) for column in turned[:6])
    packed = status[0] + _REASON_AT * status[1] + _STOCK_AT * status[2] + _BOUND_AT * status[3]
    figures = {name: _holed(column, np.int64, count) for name, column in zip(FIGURES, turned[7:], strict=True)}
    level = figures[LEVEL]
    fine = _holed(turned[6], np.float64, count)
    rough = level.known & ~fine.known  # rows of an older format
    if rough.any() or (fine.known & ~level.known).any():
        values = np.where(rough, level.values / FACTOR[LEVEL], fine.values)
        fine = Column(np.where(level.known, values, 0.0), level.known)
    return Columns(seq, time_ms, packed, fine, figures)


def _holed(values: Sequence[int | float | None], kind: type[np.int64] | type[np.float64], count: int) -> Column:
    if None not in values:
        return whole(np.array(values, kind))
    known = np.fromiter((value is not None for value in values), np.bool_, count)
    return Column(np.array([0 if value is None else value for value in values], kind), known)


def rows_of(columns: Columns) -> list[tuple[int | None, ...]]:
    """The whole numbers of each reading, as `history.scale.COLUMNS` names them."""
    codes = {status: status_parts(int(status)) for status in np.unique(columns.status)}
    listed = []
    for name in FIGURES:
        column = columns.figures[name]
        values = column.values.tolist()
        if not column.known.all():
            values = [value if known else None for value, known in zip(values, column.known.tolist(), strict=True)]
        listed.append(values)
    heads = zip(columns.seq.tolist(), columns.time_ms.tolist(), columns.status.tolist(), strict=True)
    return [
        (seq, time_ms, *codes[status], *figures)
        for (seq, time_ms, status), figures in zip(heads, zip(*listed, strict=True), strict=True)
    ]


def joined(parts: Sequence[Columns]) -> Columns:
    """Stretches one after the other."""

    def join(columns: Sequence[Column]) -> Column:
        return Column(np.concatenate([c.values for c in columns]), np.concatenate([c.known for c in columns]))

    return Columns(
        np.concatenate([p.seq for p in parts]),
        np.concatenate([p.time_ms for p in parts]),
        np.concatenate([p.status for p in parts]),
        join([p.fine_m for p in parts]),
        {name: join([p.figures[name] for p in parts]) for name in FIGURES},
    )


def pack(columns: Columns, deriver: Deriver | None) -> dict[str, bytes]:
    """The bytes to keep, by name: `seq`, `time_ms`, `status`, `fine_m` and the figures."""
    out = {
        "seq": encode(whole(columns.seq)),
        "time_ms": encode(whole(columns.time_ms)),
        "status": encode(whole(columns.status)),
        "fine_m": encode(columns.fine_m),
    }
    guessed = _guess(deriver, columns, FIGURES)
    for name in FIGURES:
        column = columns.figures[name]
        form = 0
        values = column.values
        guess = guessed.get(name)
        if guess is not None:
            form |= _WORKED_OUT
            values = np.where(column.known, values - guess, 0)
        if bool((column.known == columns.fine_m.known).all()):
            form |= _SAME_HOLES
            body = encode(whole(values[column.known]))
        else:
            body = encode(Column(values, column.known))
        out[name] = bytes([form]) + body
    return out


def unpack(parts: Mapping[str, bytes], deriver: Deriver | None, wanted: Iterable[str] = FIGURES) -> Columns:
    """The columns of packed bytes, with the `wanted` figures only. Raises `StoreDamaged`.

    deriver: of the version that packed them. Without one, figures that were worked out cannot come back.
    """
    seq, time_ms, status = (_ints(parts[name]) for name in ("seq", "time_ms", "status"))
    bare = Columns(seq, time_ms, status, decode(parts["fine_m"], floats=True), {})
    if len({len(seq), len(time_ms), len(status), len(bare.fine_m.known)}) != 1:
        raise StoreDamaged("the columns of a block are not of one length")
    wanted = tuple(wanted)
    needed = dict.fromkeys(wanted) | dict.fromkeys(
        name for name in ("temperature_degC", "water_m") if any(parts[w][0] & _WORKED_OUT for w in wanted)
    )
    figures: dict[str, Column] = {}
    leftover: dict[str, Column] = {}
    for name in needed:
        form, body = parts[name][0], parts[name][1:]
        column = decode(body)
        if form & _SAME_HOLES:
            known = bare.fine_m.known
            values = column.values
            if len(values) != len(known):
                values = np.zeros(len(known), np.int64)
                values[known] = column.values
            column = Column(values, known)
        (leftover if form & _WORKED_OUT else figures)[name] = column
    if leftover:
        guessed = _guess(deriver, replace(bare, figures=figures), tuple(leftover))
        for name, rest in leftover.items():
            if name not in guessed:
                raise StoreDamaged(f"{name} was kept as what a tank model leaves over, and that model is not known")
            values = guessed[name] if not rest.values.any() else rest.values + guessed[name]
            figures[name] = Column(values if rest.known.all() else np.where(rest.known, values, 0), rest.known)
    return replace(bare, figures={name: figures[name] for name in wanted})


def _ints(data: bytes) -> Ints:
    values = decode(data).values
    if values.dtype != np.int64:
        raise StoreDamaged("a column of whole numbers holds others")
    return values.astype(np.int64, copy=False)


def _guess(deriver: Deriver | None, columns: Columns, wanted: Sequence[str]) -> dict[str, Ints]:
    """Whole scaled numbers as they follow from the level; 0 where they do not. The level itself needs no model."""
    found: dict[str, Floats] = {LEVEL: _fine(columns)} if LEVEL in wanted else {}
    asked = [name for name in wanted if name not in (LEVEL, "temperature_degC", "water_m")]
    if deriver is not None and asked:
        measured = measured_of(columns)
        worked_out = deriver.derive(measured, asked)
        found |= {name: worked_out[name] for name in asked if name in worked_out}
    return {name: scaled_all(name, values) for name, values in found.items()}


def measured_of(columns: Columns) -> Measured:
    """What a deriver gets of a block."""
    return Measured(
        columns.time_ms,
        columns.quality,
        _fine(columns),
        columns.figure("temperature_degC"),
        columns.figure("water_m"),
    )


def _fine(columns: Columns) -> Floats:
    fine = columns.fine_m
    return fine.values if fine.known.all() else np.where(fine.known, fine.values, np.nan)


def scaled_all(name: str, values: Floats) -> Ints:
    """Figures as whole numbers of their last decimal, 0 for NaN. A tie may round the other way than `scaled` does."""
    product = values * FACTOR[name]
    np.rint(product, out=product)
    finite = np.isfinite(product)
    if not finite.all():
        product[~finite] = 0.0
    return product.astype(np.int64)
