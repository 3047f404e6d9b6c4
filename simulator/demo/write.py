"""Puts the demo's site file and its capacity tables into a folder, with the ports and the period that a run has.

Knows text and files; the tables come from what the layout says the certificates say, never from the true shells.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from simulator.demo.layout import DEMO
from simulator.errors import SimulatorError
from simulator.geometry import Shell, Upright
from simulator.layout import TankLayout

SITE: Final = Path(__file__).with_name("site.toml")
STOCK: Final = Path(__file__).with_name("stock.toml")

_ROW_MM: Final = 10
_PORTS: Final = ("port = 15020\n", "port = 15021\n")
_PERIOD: Final = 'period = "1 s"\n'


def write_demo(folder: Path | str, ports: Sequence[int], period: str = "1 s", *, stock: bool = False) -> Path:
    """Write `site.toml` and its tables into a folder, which is made; gives the site file's path.

    `ports`: those that the farm's gateways listen on, in the layout's order. `period`: how often a bus is asked, on the
    site's clock ("1 s"; a fast demo needs a longer one). stock: with the rules by which the demo keeps a stock book.
    Files that stand there already are replaced.
    """
    if len(ports) != len(_PORTS):
        raise SimulatorError(f"the demo has {len(_PORTS)} gateways, but {len(ports)} ports were given")
    text = SITE.read_text(encoding="utf-8")
    for standing, port in zip(_PORTS, ports, strict=True):
        text = _put(text, standing, f"port = {port}\n", 1)
    text = _put(text, _PERIOD, f'period = "{period}"\n', len(_PORTS))
    if stock:
        text += STOCK.read_text(encoding="utf-8")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for tank in DEMO.tanks:
        if isinstance(tank.shape, Upright) and f'capacity = "{tank.id}.csv"' in text:
            (folder / f"{tank.id}.csv").write_text(capacity_csv(tank), encoding="utf-8", newline="\n")
    path = folder / SITE.name
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def capacity_csv(tank: TankLayout) -> str:
    """The capacity table as an invented certificate prints it: one row a centimetre, whole litres, no tilt, no bulge.

    The true shell is another one (`Upright.flawed`): what lies between the two is the bias of the table.
    """
    shell = Shell(tank.shape)
    rows = [f"# Simulated farm: invented table of {tank.name}.", "level [mm],volume [L]"]
    for level_mm in range(0, round(tank.shape.height_m * 1000) + 1, _ROW_MM):
        rows.append(f"{level_mm},{1000 * shell.volume_m3(min(level_mm / 1000, tank.shape.height_m)):.0f}")
    return "\n".join(rows) + "\n"


def _put(text: str, standing: str, wanted: str, times: int) -> str:
    if text.count(standing) != times:
        raise SimulatorError(
            f"{SITE.name} holds {standing.strip()!r} {text.count(standing)} times where {times} belong"
        )
    return text.replace(standing, wanted)
