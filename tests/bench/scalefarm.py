"""Large simulated farms for the benchmark of scale: a site file over the ports of `unitserver`, one tank a unit."""

import contextlib
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from gaugehouse.site import Site, load_site

LINES = 50

HEAD = """
[site]
id = "scale"
name = "Scale (simulated)"
zone = "Etc/UTC"
reference_temperature = "15 degC"
[console]
port = {console}
[[product]]
id = "jet"
name = "Jet A-1"
group = "jet"
base_density = "800 kg/m3"
"""
BUS = """
[[bus]]
id = "line{n}"
kind = "tcp"
host = "127.0.0.1"
port = {port}
period = "1 s"
timeout = "800 ms"
"""
UNIT = """
[[instrument]]
id = "i{n}"
bus = "line{line}"
unit = {unit}
[[instrument.signal]]
name = "level"
function = 3
address = 0
counted_from = 0
type = "float32"
unit = "mm"
[[instrument.signal]]
name = "current"
function = 3
address = 2
counted_from = 0
type = "uint16"
scale = 0.001
unit = "mA"
[[tank]]
id = "t{n}"
product = "jet"
level = "i{n}.level"
measures = "innage"
at_4mA = "0 m"
at_20mA = "10 m"
reference_height = "13.5 m"
capacity = "capacity.csv"
[tank.limits]
critical_high = "9.8 m"
high_high = "9.6 m"
high = "9.2 m"
low = "1 m"
low_low = "0.5 m"
"""


def units_of(total: int, lines: int) -> list[tuple[int, int]]:
    """Line and unit number of each unit, spread evenly."""
    return [(n % lines, n // lines + 1) for n in range(total)]


def farm_site(folder: Path, total: int, ports: Sequence[int], console: int = 0) -> Site:
    """A site of so many tanks, over the ports of the unit server."""
    lines = min(len(ports), total)
    (folder / "capacity.csv").write_text("level [mm],volume [L]\n0,0\n13000,1021000\n", encoding="utf-8")
    parts = [HEAD.format(console=console or 8600)]
    parts += [BUS.format(n=line, port=ports[line]) for line in range(lines)]
    parts += [UNIT.format(n=n, line=line, unit=unit) for n, (line, unit) in enumerate(units_of(total, lines))]
    path = folder / "site.toml"
    path.write_text("".join(parts), encoding="utf-8")
    return load_site(path)


@contextlib.contextmanager
def unit_server(ports: int = LINES) -> Iterator[tuple[list[int], int]]:
    """The ports of a running unit server, and its process number."""
    call = [sys.executable, "-m", "tests.bench.unitserver", str(ports)]
    with subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        try:
            yield [int(port) for port in process.stdout.readline().split()], process.pid
        finally:
            process.stdin.close()
            process.wait(5)
