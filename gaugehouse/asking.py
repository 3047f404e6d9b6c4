"""The commands that ask for one figure: `read` (from the wire, or from the running daemon) and `convert` (by hand)."""

import asyncio
import json
import urllib.error
import urllib.request
from argparse import Namespace
from pathlib import Path
from typing import Any, Final

from collector.clock import RealClock
from collector.collector import Collector
from gaugehouse.core import Core, Tick
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.printing import as_json, steps_table
from gaugehouse.rows import reading_json
from gaugehouse.running import Running, find_daemon
from gaugehouse.site import Site, load_site
from gaugehouse.sitefile.quantities import BadQuantity, parse
from gaugehouse.wiring import core_of, standard_of
from models.errors import OutOfRange
from models.gauging import NO_STOCK, Extra, Step, reading_of, steps_of, volumes_of
from models.reading import Bound, Instant, Quality, Reason
from models.tank import Measured, Tank
from models.trust import Trust

ANSWER_S: Final = 5.0

_EXAMPLES: Final = {"m": "9.2 m", "degC": "28 degC", "kg/m3": "800 kg/m3"}


def read(args: Namespace) -> int:
    """`gaugehouse read`: 0 when every level asked for is Good or Uncertain, 1 when one is Bad."""
    site = load_site(Path(args.site))
    tanks = [tank_of(site, args.tank)] if args.tank else list(site.tanks)
    daemon = find_daemon(site)
    chains = [_from_daemon(daemon, tank) for tank in tanks] if daemon else asyncio.run(_from_wire(site, tanks))
    if args.json:
        print(as_json(chains[0] if args.tank else chains))
    else:
        print("\n\n".join(_text(site, chain, daemon) for chain in chains))
    return 1 if any(chain["quality"] == Quality.BAD.word for chain in chains) else 0


def tank_of(site: Site, tank_id: str) -> Tank:
    """A tank by its id, or a `CallError` with those that there are."""
    for tank in site.tanks:
        if tank.id == tank_id:
            return tank
    raise CallError(f"{site.path}: no tank {tank_id!r}; there are {', '.join(t.id for t in site.tanks)}")


def _from_daemon(daemon: Running, tank: Tank) -> dict[str, Any]:
    url = f"{daemon.url}api/tanks/{tank.id}/chain"
    try:
        with urllib.request.urlopen(url, timeout=ANSWER_S) as answer:  # noqa: S310 the daemon's own http address
            chain: dict[str, Any] = json.load(answer)
    except (OSError, urllib.error.URLError, ValueError) as error:
        raise CouldNot(
            f"the running daemon (process {daemon.pid}) does not answer at {url}: {error}; look at its log"
        ) from error
    return chain


async def _from_wire(site: Site, tanks: list[Tank]) -> list[dict[str, Any]]:
    """Ask each instrument that these tanks need once, and run one tick through a fresh core."""
    clock = RealClock()
    collector = Collector(site.buses, lambda sample: None, clock)
    sources = [source for tank in tanks for source in (tank.level, tank.temperature, tank.water)]
    wanted = {source.instrument for source in sources if source is not None}
    asked = [(bus.id, i.id) for bus in site.buses for i in bus.instruments if i.id in wanted]
    samples = [await collector.read_once(bus, instrument) for bus, instrument in asked]
    core = core_of(site)
    core.step(Tick(Instant(1, clock.now_ms(), 0), samples))
    return [chain_of(core, tank) for tank in tanks]


def chain_of(core: Core, tank: Tank) -> dict[str, Any]:
    """Every step behind a tank's newest reading in a core, as `read --json` prints it."""
    keeper = core.keepers[tank.id]
    reading, sample = keeper.latest, keeper.sample
    assert reading is not None
    assert sample is not None
    steps = [*steps_of(tank, reading, dict(sample.raw), dict(sample.values)), *core.standard[tank.id].steps(reading)]
    return _chain(tank, steps, reading_json(reading))


def _chain(tank: Tank, steps: list[Step], result: dict[str, Any]) -> dict[str, Any]:
    return {
        "tank": tank.id,
        "time": result["time"],
        "quality": result["quality"],
        "reason": result["reason"],
        "steps": [step._asdict() for step in steps],
        "result": result,
    }


def _text(site: Site, chain: dict[str, Any], daemon: Running | None) -> str:
    tank = site.tank(chain["tank"])
    source = f"from the running daemon, process {daemon.pid}" if daemon else "asked on the wire"
    head = (
        f"{tank.name} ({tank.id}), {chain['time'] or 'no reading yet'}: {chain['quality']} {chain['reason']}".rstrip()
    )
    return f"{head}, {source}\n{steps_table([Step(**step) for step in chain['steps']])}"


def convert(args: Namespace) -> int:
    """`gaugehouse convert`: the same steps for numbers given by hand. A level off the capacity table is refused."""
    site = load_site(Path(args.site))
    tank = tank_of(site, args.tank)
    level = _quantity("--level", args.level, "m")
    temperature = None if args.temperature is None else _quantity("--temperature", args.temperature, "degC")
    water = None if args.water is None else _quantity("--water", args.water, "m")
    density = None if args.density is None else _quantity("--density", args.density, "kg/m3")
    try:
        tank.table.volume_m3(level)
        if water is not None:
            tank.table.volume_m3(max(water, tank.table.bottom_m))
        standard = standard_of(site, tank.id, density)
        if temperature is not None:
            standard.ctl(temperature)
    except OutOfRange as error:
        raise CallError(f"tank {tank.id}: {error}") from error
    if water is not None and not 0 <= water <= level:
        raise CallError(f"--water {args.water}: water innage is between 0 and the level ({args.level})")
    measured = Measured(Quality.GOOD, Reason.NONE, None, None, level, Bound.NONE)
    at, trust = Instant(0, RealClock().now_ms(), 0), Trust(Quality.GOOD, Reason.NONE)
    liquid, bottom = Extra(temperature), Extra(water)
    volumes = volumes_of(tank, measured, trust, liquid, bottom)
    stock = NO_STOCK if volumes is None else standard(volumes.gov_m3, temperature)
    reading = reading_of(at, tank.id, measured, trust, liquid, bottom, volumes, stock, None)
    chain = _chain(tank, [*steps_of(tank, reading, {}, {}), *standard.steps(reading)], reading_json(reading))
    steps = [Step(**step) for step in chain["steps"]]
    print(as_json(chain) if args.json else f"{tank.name} ({tank.id})\n{steps_table(steps)}")
    return 0


def _quantity(option: str, text: str, unit: str) -> float:
    """A quantity with its unit, as a person types it, in ours."""
    try:
        return parse(text, unit, _EXAMPLES[unit])
    except BadQuantity as error:
        raise CallError(f"{option}: {error}") from error
