"""`gaugehouse loop budget`: what a supply leaves for its loops, from a site file or from options.

Options go through the same tables as the site file's keys, so that both are judged alike.
"""

from argparse import Namespace
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from gaugehouse.errors import CallError
from gaugehouse.loopcall import BY_HAND, CIRCUIT, OUTPUT, SEVERAL, SUPPLY
from gaugehouse.loopjson import supply_json
from gaugehouse.printing import as_json
from gaugehouse.site import load_site
from gaugehouse.sitefile.loopfacts import Fed, Power, check_circuit, check_supply, fed_of, supply_of
from gaugehouse.sitefile.loopschema import LoopTable, SupplyTable
from gaugehouse.sitefile.problems import Report, SiteError
from gaugehouse.sitefile.reading import read_tables
from models.loopadvice import fits, objections
from models.loopbudget import FULL_MA, CircuitBudget, SupplyBudget

CAUTION: Final = (
    "Direct current only. Loops into hazardous areas are for licensed practice: barriers, entity parameters and cable "
    "are of their certificates, and nothing here stands in for those. Follow local codes."
)
FIRST, SECOND = "supply", "second supply"
MOST_LOOPS: Final = 1000


def budget(args: Namespace) -> int:
    """Print the budget; 0 when everything fits, 1 when something does not."""
    budgets = _of_site(args) if args.site is not None else _by_hand(args)
    if args.json:
        print(as_json({"fits": all(map(fits, budgets)), "supplies": [supply_json(b) for b in budgets]}))
    else:
        print("\n".join([*(line for b in budgets for line in (*_lines(b), "")), CAUTION]))
    return 0 if all(map(fits, budgets)) else 1


def _of_site(args: Namespace) -> list[SupplyBudget]:
    given = [option for option, key in BY_HAND.items() if getattr(args, key) is not None]
    if given:
        raise CallError(f"{given[0]} describes a loop by hand and {args.site} has its own; give one of the two")
    site = load_site(Path(args.site))
    if args.instrument is None:
        found = site.power.budgets()
        if not found:
            raise CallError(f"{args.site}: there is no [[supply]]; docs/site-file.md has its keys")
        return found
    known = [loop.instrument for loop in site.loops]
    if args.instrument not in known:
        raise CallError(f"{args.site}: no instrument {args.instrument!r}; there are {', '.join(known)}")
    found = site.power.budgets_of(args.instrument)
    if not found:
        raise CallError(f"{args.site}: instrument {args.instrument} has no [instrument.loop]; add one")
    return found


def _by_hand(args: Namespace) -> list[SupplyBudget]:
    for option, value in (("--supply", args.volts), ("--limit", args.limit), ("--liftoff", args.liftoff)):
        if value is None:
            raise CallError(f"{option} is missing; give it, or a site file that has [[supply]] and [instrument.loop]")
    if args.instrument is not None:
        raise CallError("--instrument is for a site file; give that too")
    report = Report("loop budget")
    raw_supply = {key: v for key, *_ in SUPPLY.values() if (v := getattr(args, key)) is not None}
    raw_supply |= {"id": "supply", "load": [_load("--load", words) for words in args.load or ()]}
    loop = {key: v for key, *_ in (*CIRCUIT.values(), *SEVERAL.values()) if (v := getattr(args, key)) is not None}
    loop |= {"supply": FIRST} | ({} if args.awg is None else {"awg": args.awg})
    output = {key: v for key in OUTPUT if (v := getattr(args, f"output_{key}")) is not None}
    if output:
        loop["output"] = output | {"supply": SECOND if args.output_on == "second" else FIRST}
    elif args.output_on is not None:
        raise CallError("--output-on says where an output is fed from, and there is none; give --output-liftoff too")
    first = read_tables(SupplyTable, raw_supply, report)
    check_supply(report, "", first)
    table = read_tables(LoopTable, loop, report)
    check_circuit(report, "", table)
    second = _second(args, report)
    if report.errors:
        raise SiteError(report.errors)
    supplies = [supply_of(first)]
    if second is not None:
        named = supply_of(second)
        supplies.append(named._replace(supply=named.supply._replace(id=SECOND)))
    return Power(tuple(supplies), tuple(_loops(table, args.loops))).budgets()


def _second(args: Namespace, report: Report) -> SupplyTable | None:
    if args.second_supply is None:
        for option, given in (("--second-limit", args.second_limit), ("--second-load", args.second_load)):
            if given is not None:
                raise CallError(f"{option} is of a second supply; give --second-supply too")
        if args.output_on == "second":
            raise CallError("--output-on second: there is no second supply; give --second-supply too")
        return None
    loads = [_load("--second-load", words) for words in args.second_load or ()]
    raw = {"id": "second", "volts": args.second_supply, "limit": args.second_limit, "load": loads}
    return read_tables(SupplyTable, {key: value for key, value in raw.items() if value is not None}, report)


def _loops(table: LoopTable, count: int | None) -> Iterator[Fed]:
    count = 1 if count is None else count
    if not 1 <= count <= MOST_LOOPS:
        raise CallError(f"--loops {count}: allowed is 1 to {MOST_LOOPS}")
    for number in range(1, count + 1):
        yield from fed_of("loop" if count == 1 else f"loop {number}", table)


def _load(option: str, words: Sequence[str]) -> dict[str, str]:
    if not 2 <= len(words) <= 3:
        raise CallError(f'{option} {" ".join(words)}: write a name and one or two currents, such as heater "100 mA"')
    return dict(zip(("name", "current", "inrush"), words, strict=False))


def _lines(budget: SupplyBudget) -> Iterator[str]:
    supply = budget.supply
    derated = ""
    if supply.derated_mA < supply.limit_mA:
        derated = f", {supply.derated_mA:g} mA at {supply.enclosure_degC:g} degC in its enclosure"
    yield f"{supply.id}: {supply.least_V:g} V at the least, {supply.limit_mA:g} mA{derated}"
    loads = "".join(f", {load.name} {load.steady_mA:g} mA" for load in budget.loads)
    percent = "no current" if budget.load_percent is None else f"{budget.load_percent:.1f} % of what it gives"
    yield f"  load {budget.load_mA:g} mA, {percent}: loops at their highest {budget.loops_mA:g} mA{loads}"
    if budget.cold_mA > budget.load_mA and budget.cold_percent is not None:
        yield f"  cold start {budget.cold_mA:g} mA, {budget.cold_percent:.1f} % of what it gives for a moment"
    for loop in budget.circuits:
        yield from _circuit_lines(loop)
    found = objections(budget)
    yield "  all of this fits" if fits(budget) else "  this does not fit"
    yield from (f"  {objection.weight.value}: {objection.about}: {objection.text}" for objection in found)


def _circuit_lines(loop: CircuitBudget) -> Iterator[str]:
    circuit = loop.circuit
    parts = f"cable {circuit.cable_ohm:.1f}, burdens {sum(circuit.burdens_ohm):g}"
    drops = f", fixed drops {sum(circuit.drops_V):g} V" if circuit.drops_V else ""
    yield f"{circuit.name}: {circuit.ohm:.1f} ohm ({parts}){drops}; {loop.most_ohm:.0f} ohm at the most"
    spare = (
        (circuit.lowest_mA, loop.spare_lowest_V),
        (FULL_MA, loop.spare_20_V),
        (circuit.highest_mA, loop.spare_highest_V),
    )
    yield "  spare volts " + ", ".join(f"{volts:+.2f} V at {current:g} mA" for current, volts in spare)
    by_volts = "no end" if loop.ceiling_V_mA is None else f"{loop.ceiling_V_mA:.1f} mA"
    can = "can" if loop.fail_high else "cannot"
    yield (
        f"  current ceiling {loop.ceiling_mA:.1f} mA (volts {by_volts}, supply {loop.ceiling_supply_mA:.1f} mA); "
        f"fail-high {can} be signalled"
    )
