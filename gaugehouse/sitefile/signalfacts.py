"""Signals of the site file: the one a reference names, its register, its unit in ours, the step it can tell."""

from typing import Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.quantities import linear
from gaugehouse.sitefile.schema import SignalTable
from gaugehouse.sitefile.tankchecks import level_kind
from modbus.signals import RegisterSignal, RegisterType
from models.tank import LevelKind, Linear, Tank

SI: Final = {LevelKind.CURRENT: "mA", LevelKind.LENGTH: "m", LevelKind.PERCENT: "%"}
_FLOATS: Final = frozenset({RegisterType.FLOAT32, RegisterType.FLOAT64})


def signal_of(draft: Draft, ref: SignalRef) -> SignalTable:
    signal = draft.signal(ref)
    assert signal is not None, f"{ref} was checked"
    return signal


def linear_of(draft: Draft, ref: SignalRef | str, si: str | None) -> Linear:
    """A signal with what turns its declared unit into ours; untouched where there is no unit of ours."""
    assert isinstance(ref, SignalRef)
    unit = signal_of(draft, ref).unit
    factor, constant = linear(unit, si) if si else (1.0, 0.0)
    return Linear(ref.instrument, ref.signal, factor, constant)


def register_of(signal: SignalTable) -> RegisterSignal:
    low, high = signal.valid or (None, None)
    return RegisterSignal(
        name=signal.name,
        function=signal.function,
        address=signal.address - (signal.counted_from or 0),
        type=signal.type,
        word_order=signal.word_order,
        byte_order=signal.byte_order,
        scale=signal.scale,
        offset=signal.offset,
        unit=signal.unit,
        bit=signal.bit or 0,
        invalid=tuple(signal.invalid),
        valid_min=low,
        valid_max=high,
    )


def step_of(signal: SignalTable) -> float | None:
    """The smallest step of a signal in its declared unit: as told, or one count of a whole-number register."""
    if signal.resolution is not None:
        return signal.resolution
    return None if signal.type in _FLOATS else abs(signal.scale)


def level_step_m(signal: SignalTable, tank: Tank | None) -> float | None:
    """The step of level that one step of a signal is, for a tank (10 m of range where there is none)."""
    step = step_of(signal)
    return None if step is None or level_kind(signal.unit) is None else abs(step * m_per_unit(signal, tank))


def m_per_unit(signal: SignalTable, tank: Tank | None) -> float:
    """The metres of level that one declared unit of a signal of the level is."""
    kind = level_kind(signal.unit)
    assert kind is not None, "only signals that follow the level"
    factor = linear(signal.unit, SI[kind])[0]
    part = {LevelKind.LENGTH: 1.0, LevelKind.CURRENT: span_m(tank) / 16, LevelKind.PERCENT: span_m(tank) / 100}
    return factor * part[kind]


def span_m(tank: Tank | None) -> float:
    """The range of a tank's gauge, its table's height where none is given; 10 m where there is no tank."""
    ends = tank.range_m if tank else None
    return abs(ends[1] - ends[0]) if ends else tank.table.top_m if tank else 10.0
