"""A site file between reading and judging: its tables, sound or in part, and who is called what.

Ids are also taken from tables with mistakes, so that one mistake is not told again by everything that points to it.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gaugehouse.sitefile.fields import SignalRef
from gaugehouse.sitefile.problems import Report, listed, nearest
from gaugehouse.sitefile.reading import label
from gaugehouse.sitefile.schema import BusTable, InstrumentTable, SignalTable, SiteFile
from models.capacity import CapacityTable


@dataclass(slots=True)
class Draft:
    """`capacities` gathers the capacity tables by tank, `levels` the innages of its level limits, `files` all files
    read, as the checks come upon them."""

    file: SiteFile
    raw: Mapping[str, Any]
    folder: Path
    report: Report
    capacities: dict[str, CapacityTable] = field(default_factory=dict)
    levels: dict[str, dict[str, float]] = field(default_factory=dict)
    files: list[Path] = field(default_factory=list)
    _instruments: "dict[str | None, InstrumentTable] | None" = None
    _buses: "dict[str | None, BusTable] | None" = None
    _ids: "dict[str, dict[str, None]]" = field(default_factory=dict)

    def ids(self, kind: str) -> Collection[str]:
        """The ids of a kind as they stand in the file, sound or not, each once and in its order."""
        known = self._ids.get(kind)
        if known is None:  # sought for every reference of every tank
            items = self.raw.get(kind)
            tables = (i for i in items if isinstance(i, Mapping)) if isinstance(items, list) else ()
            known = self._ids[kind] = dict.fromkeys(str(i["id"]) for i in tables if "id" in i)
        return known.keys()

    def items(self, kind: str) -> Iterable[tuple[str, Any]]:
        """Key path and table of each item of a kind."""
        raw = self.raw.get(kind)
        given_items = enumerate(raw) if isinstance(raw, list) else ()
        written = [(index, given) for index, given in given_items if isinstance(given, Mapping)]
        for (index, given), item in zip(written, getattr(self.file, kind) or (), strict=False):
            yield f"{kind}[{label(given, index)}]", item

    def report_is_clean(self, key: str) -> bool:
        """True when nothing is wrong yet at or below a key."""
        return self.report.is_clean(key)

    def bus(self, bus_id: str | None) -> BusTable | None:
        if self._buses is None:
            self._buses = {}
            for bus in self.file.bus or ():
                self._buses.setdefault(bus.id, bus)
        return self._buses.get(bus_id)

    def instrument(self, instrument_id: str | None) -> InstrumentTable | None:
        if self._instruments is None:  # sought for every signal that a tank names
            self._instruments = {}
            for instrument in self.file.instrument or ():
                self._instruments.setdefault(instrument.id, instrument)
        return self._instruments.get(instrument_id)

    def signal(self, ref: object) -> SignalTable | None:
        """The signal that a reference names, None where it is unknown or no reference at all."""
        if not isinstance(ref, SignalRef):
            return None
        found = self.instrument(ref.instrument)
        return next((s for s in (found.signal if found else None) or () if s.name == ref.signal), None)

    def expect_id(self, key: str, wanted: str | None, kind: str) -> None:
        """Tell a reference to something that is not there."""
        known = self.ids(kind)
        if wanted is not None and wanted not in known:
            here = f"known here: {listed(known)}" if known else f"there is no [[{kind}]] here"
            self.report.error(
                key,
                f'no {kind} has the id "{wanted}"; {here}{nearest(wanted, known)}',
                found=wanted,
                allowed=listed(known),
            )

    def expect_signal(self, key: str, ref: object) -> None:
        """Tell a reference to a signal that is not there, by the part that is wrong."""
        if not isinstance(ref, SignalRef) or self.signal(ref):
            return
        if ref.instrument not in self.ids("instrument"):
            self.expect_id(key, ref.instrument, "instrument")
            return
        raw = next(i for i in self.raw["instrument"] if isinstance(i, Mapping) and i.get("id") == ref.instrument)
        signals = raw.get("signal")
        names = [str(s.get("name")) for s in signals if isinstance(s, Mapping)] if isinstance(signals, list) else []
        if ref.signal not in names:
            text = f'instrument "{ref.instrument}" has no signal "{ref.signal}"; it has {listed(names) or "none"}'
            self.report.error(key, text + nearest(ref.signal, names), found=str(ref), allowed=listed(names))
