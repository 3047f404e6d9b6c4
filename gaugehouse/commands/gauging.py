"""The commands of a site and its gauges: run it, check its file, read and reckon, replay."""

import argparse
from pathlib import Path
from typing import Final

from gaugehouse import capacitycall, explorecall, loopcall
from gaugehouse.commands.tree import Add, for_programs, way

EARLIEST_MS: Final = 946_684_800_000
LATEST_MS: Final = 4_102_444_800_000


def add(command: Add) -> None:
    demo = command("demo", _demo, "a simulated farm, the daemon and the console together", site=False)
    demo.add_argument("--port", type=_port, default=8600, help="of the console (default 8600; 0 takes a free one)")
    demo.add_argument("--speed", type=_speed, default=1.0, help="how many times faster than real time (1 to 1000)")
    demo.add_argument(
        "--at",
        type=_moment,
        metavar="TIME",
        help="what time it is there when it opens, such as 2026-12-01T09:00Z",
    )
    demo.add_argument("--bare", action="store_true", help="without days before it: an empty store, no stock rules")
    demo.add_argument("--dir", type=Path, default=Path("demo-data"), help="where the demo keeps its files")

    run = command("run", _run, "the daemon: polls, stores, raises alarms, serves the console")
    run.add_argument("--record", type=Path, metavar="FILE.csv", help="also write every Sample, for `replay`")

    checked = for_programs(
        command("check", _check, "validates a site file; prints the read plan, capacities and limits")
    )
    checked.add_argument("--map", action="store_true", help="the register map for the control room instead")
    checked.add_argument("--csv", action="store_true", help="with --map: as CSV")
    checked.add_argument("--pdf", metavar="FILE.pdf", help="with --map: as a paper")
    read = for_programs(command("read", _read, "asks once and prints every step from the registers to the stock"))
    read.add_argument("tank", nargs="?", metavar="TANK", help="one tank only")
    explorecall.add_arguments(read)

    convert = for_programs(command("convert", _convert, "the same steps for numbers given by hand"))
    convert.add_argument("tank", metavar="TANK")
    height = convert.add_mutually_exclusive_group(required=True)
    height.add_argument("--level", metavar='"9.2 m"', help="innage")
    height.add_argument("--ullage", metavar='"4.3 m"', help="from the reference point down to the surface")
    convert.add_argument("--temperature", metavar='"28 degC"', help="of the liquid")
    convert.add_argument("--water", metavar='"12 mm"', help="innage of free water")
    convert.add_argument("--density", metavar='"800 kg/m3"', help="at the reference temperature")
    convert.add_argument("--observed-density", metavar='"793 kg/m3"', help="of a sample, at its own temperature")
    convert.add_argument("--observed-at", metavar='"31 degC"', help="the sample's temperature")
    convert.add_argument("--meter", choices=["hydrometer", "densitometer"], help="it was read on (default: hydrometer)")
    convert.add_argument("--ambient", metavar='"12 degC"', help="of the air, for the temperature of the shell")
    convert.add_argument("--pressure", metavar='"5 kPa"', help="gauge pressure over the liquid (default: the tank's)")
    convert.add_argument("--sediment-water", metavar='"0.05 %"', help="sediment and water, of the standard volume")

    capacitycall.add_arguments(command("capacity", _capacity, "makes a capacity table as CSV", site=False))

    loopcall.add_arguments(
        command("loop", way("loop"), "what a loop's wires carry: its supply and its noise", site=False)
    )

    replay = command("replay", _replay, "runs recorded samples through the same core; same input, same bytes")
    replay.add_argument("samples", type=Path, metavar="SAMPLES.csv")
    replay.add_argument("--out", type=Path, required=True, metavar="DIR", help="where the four CSV files go")
    replay.add_argument("--sheet", type=Path, metavar="OTHER.csv", help="an alarm sheet in place of the site's own")

    whatif = for_programs(
        command("whatif", _whatif, "what other alarm sheets would have raised and missed, side by side")
    )
    whatif.add_argument("--sheet", action="append", required=True, metavar="OTHER.csv", help="may be given more often")
    whatif.add_argument("--samples", metavar="SAMPLES.csv", help="over a recording (default: over the kept readings)")
    whatif.add_argument("--from", dest="start", metavar="TIME", help="kept readings from this time on")
    whatif.add_argument("--to", dest="end", metavar="TIME", help="kept readings before this time")


def _demo(args: argparse.Namespace) -> int:
    from gaugehouse.demo import demo

    return demo(args)


def _run(args: argparse.Namespace) -> int:
    from gaugehouse.service import run

    return run(args)


def _check(args: argparse.Namespace) -> int:
    if args.map or args.csv or args.pdf:
        from gaugehouse.mapcall import print_map

        return print_map(args)
    from gaugehouse.checking import check
    from gaugehouse.printing import as_json

    report = check(Path(args.site))
    if args.json:
        print(as_json(report.json()))
    else:
        print(report.text(), end="")
    return report.exit_code


def _read(args: argparse.Namespace) -> int:
    explorecall.check(args)
    if args.explore is not None:
        from gaugehouse.exploring import explore

        return explore(args)
    from gaugehouse.asking import read

    return read(args)


def _convert(args: argparse.Namespace) -> int:
    from gaugehouse.asking import convert

    return convert(args)


def _capacity(args: argparse.Namespace) -> int:
    from gaugehouse.capacity import capacity

    return capacity(args)


def _replay(args: argparse.Namespace) -> int:
    from gaugehouse.replay import replay
    from gaugehouse.site import load_site

    replay(load_site(Path(args.site), sheet=args.sheet), args.samples, args.out)
    return 0


def _whatif(args: argparse.Namespace) -> int:
    from gaugehouse.whatif import whatif

    return whatif(args)


def _port(text: str) -> int:
    if not text.isdigit() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; allowed 0 to 65535")
    return int(text)


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 1 <= speed <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; allowed 1 to 1000")
    return speed


def _moment(text: str) -> int:
    from gaugehouse.days import parse_ms

    try:
        found = parse_ms(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no time: write it as 2026-12-01T09:00Z ({error})") from None
    if not EARLIEST_MS <= found <= LATEST_MS:
        raise argparse.ArgumentTypeError(f"{text!r}: the demo is set between 2000 and 2100")
    return found
