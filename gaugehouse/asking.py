"""The commands that ask for one figure: `read` (from the wire, or from the running daemon) and `convert` (by hand)."""

import asyncio
import sys
from argparse import Namespace
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from collector.clock import RealClock
from collector.collector import Collector
from gaugehouse.chain import budget_text, chain_json, chain_of
from gaugehouse.core import Core, Tick
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.local import ask_daemon
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.printing import as_json, steps_table
from gaugehouse.rows import reading_json
from gaugehouse.sampled import density_asked, with_sample
from gaugehouse.site import Site, load_site
from gaugehouse.stores import RECORDS, look_into_book
from gaugehouse.wiring import core_of, stock_of
from models.chain import Step
from models.errors import OutOfRange
from models.gauging import gauged, reading_of
from models.quantity import Gauging
from models.reading import Bound, Instant, Quality, Reason
from models.stock_budget import Rest
from models.tank import Measured, Tank
from models.trust import Trust

_EXAMPLES: Final = {"m": "9.2 m", "degC": "28 degC", "kg/m3": "800 kg/m3", "kPa": "5 kPa", "%": "0.05 %"}


def read(args: Namespace) -> int:
    """`gaugehouse read`: 0 when every level asked for is Good or Uncertain, 1 when one is Bad."""
    site = load_site(Path(args.site))
    tanks = [tank_of(site, args.tank)] if args.tank else list(site.tanks)
    question = {"do": "read", "tanks": [tank.id for tank in tanks], "settings": site.fingerprint()}
    said = ask_daemon(site, question)
    source = "asked on the wire" if said is None else "asked by the running daemon"
    chains: list[dict[str, Any]] = asyncio.run(_from_wire(site, tanks)) if said is None else said
    if args.json:
        print(as_json(chains[0] if args.tank else chains))
    else:
        print("\n\n".join(_text(site, chain, source) for chain in chains))
    return 1 if any(chain["quality"] == Quality.BAD.word for chain in chains) else 0


def tank_of(site: Site, tank_id: str) -> Tank:
    """A tank by its id, or a `CallError` with those that there are."""
    for tank in site.tanks:
        if tank.id == tank_id:
            return tank
    raise CallError(f"{site.path}: no tank {tank_id!r}; there are {', '.join(t.id for t in site.tanks)}")


async def _from_wire(site: Site, tanks: list[Tank]) -> list[dict[str, Any]]:
    """Ask each instrument that these tanks need once, and run one tick through a fresh core."""
    clock = RealClock()
    collector = Collector(site.buses, lambda sample: None, clock)
    asked = instruments_of(site, tanks)
    samples = [await collector.read_once(bus, instrument) for bus, instrument in asked]
    core = core_of(site)
    by_hand(site, core)
    core.step(Tick(Instant(1, clock.now_ms(), 0), samples))
    return [chain_of(site, core.keepers[tank.id]) for tank in tanks]


def by_hand(site: Site, core: Core) -> None:
    """Give a fresh core the dips and samples that the record book holds: water and density may be known from nothing
    else."""
    if not (site.store_path / RECORDS).exists():
        return
    try:
        with look_into_book(site) as book:
            core.restore({key: text for key, text in book.state().items() if key.startswith("dip/")})
    except CouldNot as error:
        print(f"gaugehouse: warning: dips and density samples could not be read: {error}", file=sys.stderr)


def instruments_of(site: Site, tanks: Iterable[Tank]) -> list[tuple[str, str]]:
    """Bus and instrument of everything that these tanks' figures rest on, in the site file's order."""
    wanted = {
        source.instrument
        for tank in tanks
        for source in (tank.level, tank.temperature, tank.water, tank.ambient)
        if source is not None
    }
    return [(bus.id, i.id) for bus in site.buses for i in bus.instruments if i.id in wanted]


def _text(site: Site, chain: dict[str, Any], source: str) -> str:
    tank = site.tank(chain["tank"])
    head = (
        f"{tank.name} ({tank.id}), {chain['time'] or 'no reading yet'}: {chain['quality']} {chain['reason']}".rstrip()
    )
    return f"{head}, {source}\n{_body(chain)}"


def _body(chain: dict[str, Any]) -> str:
    """The steps as a table, and below them how well the stock is known."""
    steps = steps_table([Step(**step) for step in chain["steps"]])
    budget = budget_text(chain["uncertainty"])
    return f"{steps}\n\n{budget}" if budget else steps


def convert(args: Namespace) -> int:
    """`gaugehouse convert`: the same steps for numbers given by hand. What cannot be is refused, nothing is clamped."""
    site = load_site(Path(args.site))
    tank = tank_of(site, args.tank)
    gauging = Gauging(
        innage_m=_quantity("--level", args.level, "m"),
        liquid_degC=_quantity("--temperature", args.temperature, "degC"),
        water_m=_quantity("--water", args.water, "m"),
        ullage_m=_quantity("--ullage", args.ullage, "m"),
        ambient_degC=_quantity("--ambient", args.ambient, "degC"),
        pressure_kPa=_quantity("--pressure", args.pressure, "kPa"),
        sediment_water_frac=(_quantity("--sediment-water", args.sediment_water, "%") or 0.0) / 100,
    )
    sampled = density_asked(args, site, tank.id, _quantity)
    density = sampled.density_kgpm3
    doubt = None if density is None else site.product_of(tank.id).objection(site.reference_degC, density)
    if doubt is not None:
        print(f"gaugehouse: warning: {doubt}", file=sys.stderr)
    vessel = replace(tank.vessel, slack_m=0.0, water_measured=tank.vessel.water_measured or gauging.water_m is not None)
    try:
        model = stock_of(site, tank.id, vessel=vessel, density_kgpm3=density)
        known = gauged(model, gauging, Rest.AFTER_RECEIPT)
    except OutOfRange as error:
        raise CallError(f"tank {tank.id}: {error}") from error
    level, refusals = known.quantities.innage_m, known.quantities.refusals
    if any(refusal.symbol == "TOV" for refusal in refusals):
        raise CallError(f"tank {tank.id}: {refusals[0].reason}")
    if gauging.water_m is not None and level is not None and not 0 <= gauging.water_m <= level:
        raise CallError(f"--water {args.water}: water innage is between 0 and the level ({level:g} m)")
    if refusals:
        raise CallError(f"tank {tank.id}: {refusals[0].reason}")
    budget = model.budget(known.quantities, gauging, known.rest)
    at, trust = Instant(0, RealClock().now_ms(), 0), Trust(Quality.GOOD, Reason.NONE)
    measured = Measured(Quality.GOOD, Reason.NONE, None, None, level, Bound.NONE)
    u95_m3 = model.u95_m3(known.quantities, gauging, known.rest)
    result = reading_json(reading_of(at, tank, measured, trust, known, u95_m3, None))
    steps = with_sample(model.steps(known.quantities, gauging, budget), sampled)
    chain = chain_json(tank.id, steps, budget, result)
    print(as_json(chain) if args.json else f"{tank.name} ({tank.id})\n{_body(chain)}")
    return 0


def _quantity(option: str, text: str | None, unit: str) -> float | None:
    """A quantity with its unit, as a person types it, in ours; None where the option is not given."""
    return quantity_or_none(option, text, unit, _EXAMPLES[unit])
