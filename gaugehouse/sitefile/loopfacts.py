"""Supplies and loops of a site: what their keys mean together, and the values that the budget is reckoned from."""

from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.loopschema import CircuitTable, LoadTable, LoopTable, SupplyTable
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.schema import InstrumentTable
from models.copper import Cable, area_ohm_per_km, awg_ohm_per_km
from models.loopbudget import Circuit, Load, Supply, SupplyBudget, supply_budget

SIZES: Final = ("awg", "area", "ohm_per_km")


class Fed(NamedTuple):
    """A circuit, the supply that feeds it, and the instrument that it belongs to."""

    instrument: str
    supply: str
    circuit: Circuit


class LoopSupply(NamedTuple):
    """A supply as the site describes it, with what hangs on it beside the loops."""

    supply: Supply
    name: str
    loads: tuple[Load, ...]


class Power(NamedTuple):
    """All supplies of a site and the circuits on them, in the file's order."""

    supplies: tuple[LoopSupply, ...] = ()
    fed: tuple[Fed, ...] = ()

    def budgets(self) -> list[SupplyBudget]:
        """The budget of every supply with all that hangs on it."""
        return [
            supply_budget(s.supply, [f.circuit for f in self.fed if f.supply == s.supply.id], s.loads)
            for s in self.supplies
        ]

    def budgets_of(self, instrument: str) -> list[SupplyBudget]:
        """Of the supplies that feed an instrument's loop or output."""
        feeding = {fed.supply for fed in self.fed if fed.instrument == instrument}
        return [budget for budget in self.budgets() if budget.supply.id in feeding]


def supply_of(table: SupplyTable) -> LoopSupply:
    """A checked table in our units."""
    supply = Supply(
        table.id,
        table.volts,
        table.limit,
        table.lowest_volts,
        table.surge,
        table.derates_above,
        (table.derating_per_degC or 0.0) / 100,
        table.enclosure,
    )
    return LoopSupply(supply, table.name or table.id, tuple(map(load_of, table.load)))


def load_of(table: LoadTable) -> Load:
    return Load(table.name, table.current, table.inrush)


def fed_of(instrument: str, loop: LoopTable) -> Iterator[Fed]:
    """The loop of an instrument, and its passive output where it has one."""
    yield Fed(instrument, loop.supply, _circuit(instrument, loop))
    if loop.output is not None:
        yield Fed(instrument, loop.output.supply, _circuit(f"{instrument} output", loop.output))


def _circuit(name: str, table: CircuitTable) -> Circuit:
    return Circuit(
        name,
        table.liftoff,
        table.liftoff_low,
        table.lowest,
        table.highest,
        table.burden,
        table.drop,
        _cable(table),
        table.limiter,
    )


def _cable(table: CircuitTable) -> Cable | None:
    if table.length is None:
        return None
    if table.awg is not None:
        ohm_per_km, size = awg_ohm_per_km(table.awg), f"AWG {table.awg}"
    elif table.area is not None:
        ohm_per_km, size = area_ohm_per_km(table.area), f"{table.area:g} mm2"
    else:
        assert table.ohm_per_km is not None, "a cable with a length has a size"
        ohm_per_km, size = table.ohm_per_km, f"{table.ohm_per_km:g} ohm/km"
    return Cable(ohm_per_km, table.length, table.cable_temperature, size)


def power_of(supplies: Iterable[SupplyTable], instruments: Iterable[InstrumentTable]) -> Power:
    """The supplies and loops of a site without mistakes."""
    return Power(
        tuple(map(supply_of, supplies)),
        tuple(fed for i in instruments if i.loop is not None for fed in fed_of(i.id, i.loop)),
    )


def check_power(draft: Draft) -> None:
    """Tell what is wrong between the keys of supplies and loops."""
    for key, supply in draft.items("supply"):
        check_supply(draft.report, key, supply)
    for key, instrument in draft.items("instrument"):
        loop = instrument.loop
        if loop is None:
            continue
        check_circuit(draft.report, f"{key}.loop", loop)
        draft.expect_id(f"{key}.loop.supply", loop.supply, "supply")
        if loop.output is not None:
            check_circuit(draft.report, f"{key}.loop.output", loop.output)
            draft.expect_id(f"{key}.loop.output.supply", loop.output.supply, "supply")


def check_supply(report: Report, key: str, table: SupplyTable) -> None:
    """What the keys of a supply mean together."""
    if table.volts is not None and table.lowest_volts is not None and table.lowest_volts > table.volts:
        text = f"{table.lowest_volts:g} V are above its volts of {table.volts:g} V; turn them round"
        report.error(
            _at(key, "lowest_volts"), text, found=f"{table.lowest_volts:g} V", allowed=f"up to {table.volts:g} V"
        )
    if table.limit is not None and table.surge is not None and table.surge < table.limit:
        text = f"{table.surge:g} mA for a moment are less than its limit of {table.limit:g} mA; remove one of the two"
        report.error(_at(key, "surge"), text, found=f"{table.surge:g} mA", allowed=f"from {table.limit:g} mA")
    pair = {"derates_above": table.derates_above, "derating_per_degC": table.derating_per_degC}
    missing = [name for name, value in pair.items() if value is None]
    if len(missing) == 1 and _clean(report, key, missing):
        (other,) = (name for name in pair if name != missing[0])
        report.error(_at(key, missing[0]), f"missing; `{other}` goes with it, add {missing[0]} or remove {other}")


def check_circuit(report: Report, key: str, table: CircuitTable) -> None:
    """What the keys of a loop or an output mean together."""
    sizes = [name for name in SIZES if getattr(table, name) is not None]
    if len(sizes) > 1:
        text = f"the cable has {len(sizes)} sizes ({', '.join(sizes)}); keep one"
        report.error(_at(key, sizes[1]), text, found=getattr(table, sizes[1]))
    elif sizes and table.length is None and _clean(report, key, ("length",)):
        text = f'missing; {sizes[0]} goes with a length one way, add a line such as length = "300 m"'
        report.error(_at(key, "length"), text)
    elif not sizes and table.length is not None and _clean(report, key, SIZES):
        text = "a length goes with a size of the wires; add awg, area or ohm_per_km, or remove it"
        report.error(_at(key, "length"), text, found=f"{table.length:g} m")
    lowest, highest = table.lowest, table.highest
    if lowest is not None and highest is not None and not lowest < 20 <= highest:
        text = f"a loop goes from below 20 mA up to 20 mA or more, this one from {lowest:g} to {highest:g} mA; mend it"
        report.error(_at(key, "highest"), text, found=f"{highest:g} mA", allowed="20 mA or more")


def _clean(report: Report, key: str, names: Iterable[str]) -> bool:
    wrong = {problem.key for problem in report.problems}
    return not any(_at(key, name) in wrong for name in names)


def _at(key: str, name: str) -> str:
    """The path of a key; options of a command lie in no table."""
    return f"{key}.{name}" if key else name
