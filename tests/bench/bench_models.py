"""What a stock figure costs: one table interpolation, one scalar chain, and the chain on arrays of a million rows.

`python -m tests.bench.bench_models [--short]`. Every printed time is the best of its turns, per value. The scalar loop
is `models.quantity.quantities`, row by row; beside it the barest loop that gives the same GSV and mass, and what the
daemon does: a calculation built once, with the uncertainty of each figure.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from models.arrays import ArrayChain
from models.chain import chain
from models.correction import Edition, Form, ctl
from models.geometry import LyingCylinder, Shape, UprightCylinder
from models.geometry_tables import table_of
from models.liquidhead import LiquidHeadCorrection, Plates
from models.quantity import Calculation, Gauging, Product, Shell, Vessel, quantities
from models.roof import FloatingRoof
from models.stock_budget import Rest, StockBudgeter, accuracy_of

AIM = 100
DENSITY = 804.0
SHAPES: dict[str, Shape] = {"upright 10 m": UprightCylinder(10, 14), "lying 2.5 m": LyingCylinder(2.5, 10)}


def best(turns: int, values: int, work: Callable[[], object]) -> float:
    """Seconds per value of the fastest turn."""
    times = []
    for _ in range(turns):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times) / values


def measure(name: str, shape: Shape, rows: int, scalar_rows: int, turns: int) -> float:
    """Print the costs for one tank; the ratio of the scalar chain to the array form."""
    table = table_of(shape)
    shell = Shell(1.12e-5)
    vessel, product = Vessel(table, table.top_m + 0.5, shell, water_measured=False), Product("jet", DENSITY)
    rng = np.random.default_rng(1)
    levels, temperatures = rng.uniform(0, table.top_m, rows), rng.uniform(5, 40, rows)
    pairs = list(zip(levels[:scalar_rows].tolist(), temperatures[:scalar_rows].tolist(), strict=True))
    fast = ArrayChain(vessel, product)

    def interpolate() -> None:
        for level, _ in pairs:
            table.volume_m3(level)

    def barest() -> None:
        for level, t in pairs:
            gsv = table.volume_m3(level) * shell.factor(t) * ctl("jet", DENSITY, t)
            _ = gsv, gsv * DENSITY

    def scalar() -> None:
        for level, t in pairs:
            quantities(vessel, product, Gauging(level, t))

    calculate = Calculation(vessel, product)
    budgeter = StockBudgeter(vessel, product, accuracy_of(None, Rest.AT_REST))

    def prepared() -> None:
        for level, t in pairs:
            calculate(Gauging(level, t))

    def with_u95() -> None:
        for level, t in pairs:
            gauging = Gauging(level, t)
            budgeter.expanded_m3(calculate(gauging), gauging)

    def steps() -> None:
        for level, t in pairs[::10]:
            chain(vessel, product, Gauging(level, t))

    table_s, barest_s, scalar_s = (best(turns, scalar_rows, work) for work in (interpolate, barest, scalar))
    prepared_s, known_s = (best(turns, scalar_rows, work) for work in (prepared, with_u95))
    steps_s = best(turns, len(pairs[::10]), steps)
    array_s = best(turns, rows, lambda: fast(levels, temperatures))
    print(f"{name}, {len(table.levels_m)} rows, best of {turns}, per value:")
    print(f"  one table interpolation {table_s * 1e6:.2f} us, scalar chain {scalar_s * 1e6:.2f} us")
    print(f"  built once {prepared_s * 1e6:.2f} us, with its uncertainty {known_s * 1e6:.2f} us")
    print(f"  scalar chain with all steps {steps_s * 1e6:.1f} us, barest scalar loop {barest_s * 1e6:.2f} us")
    print(
        f"  array form {array_s * 1e9:.1f} ns on {rows} rows: {scalar_s / array_s:.0f} x the scalar chain (aim {AIM}),"
    )
    print(f"  {prepared_s / array_s:.0f} x the calculation built once, {barest_s / array_s:.0f} x the barest loop")
    return scalar_s / array_s


def ways() -> dict[str, tuple[Vessel, Product]]:
    """The other editions and forms that arrays know, a roof, liquid head, pressure."""
    table, shell = table_of(UprightCylinder(10, 14)), Shell(1.12e-5)
    plain = Vessel(table, 14.5, shell, water_measured=False)
    plates = (Plates(0.010, 6.0), Plates(0.008, 6.0), Plates(0.006, 2.0))
    return {
        "2004 rounded": (plain, Product("jet", DENSITY, form=Form.ROUNDED)),
        "1980 unrounded": (plain, Product("jet", DENSITY, edition=Edition.TABLES_1980)),
        "1980 rounded": (plain, Product("jet", DENSITY, edition=Edition.TABLES_1980, form=Form.ROUNDED)),
        "floating roof": (replace(plain, roof=FloatingRoof(20_000, 1.6, 1.8)), Product("jet", DENSITY)),
        "liquid head": (replace(plain, head=LiquidHeadCorrection(10.0, plates)), Product("jet", DENSITY)),
        "gauge pressure": (replace(plain, pressure_kPa=50.0), Product("jet", DENSITY)),
    }


def measure_ways(rows: int, scalar_rows: int, turns: int) -> list[float]:
    """Print what the array form costs beside the calculation built once; its ratios to the scalar chain."""
    rng = np.random.default_rng(2)
    levels, temperatures = rng.uniform(0, 14, rows), rng.uniform(5, 40, rows)
    pairs = list(zip(levels[:scalar_rows].tolist(), temperatures[:scalar_rows].tolist(), strict=True))
    ratios = []
    for name, (vessel, product) in ways().items():
        calculate, fast = Calculation(vessel, product), ArrayChain(vessel, product)

        def prepared(calculate: Calculation = calculate) -> None:
            for level, t in pairs:
                calculate(Gauging(level, t))

        def anew(vessel: Vessel = vessel, product: Product = product) -> None:
            for level, t in pairs:
                Calculation(vessel, product)(Gauging(level, t))

        prepared_s, scalar_s = best(turns, scalar_rows, prepared), best(turns, scalar_rows, anew)
        array_s = best(turns, rows, lambda fast=fast: fast(levels, temperatures))  # type: ignore[misc]  # no name for it
        ratios.append(scalar_s / array_s)
        print(
            f"{name}: array form {array_s * 1e9:.1f} ns, {scalar_s / array_s:.0f} x the scalar chain (aim {AIM}), "
            f"{prepared_s / array_s:.0f} x the calculation built once"
        )
    return ratios


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--short", action="store_true", help="fewer scalar rows and turns")
    scalar_rows, turns = (5_000, 3) if parser.parse_args().short else (50_000, 7)
    ratios = [measure(name, shape, 1_000_000, scalar_rows, turns) for name, shape in SHAPES.items()]
    ratios += measure_ways(1_000_000, scalar_rows // 5, min(turns, 3))
    print(f"smallest ratio {min(ratios):.0f} (aim at least {AIM})")


if __name__ == "__main__":
    main()
