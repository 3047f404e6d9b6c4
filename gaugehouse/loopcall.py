"""The options of `gaugehouse loop`, apart from the commands themselves: no other command loads what those need."""

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from pathlib import Path
from typing import Final

from gaugehouse import loopcheckcall

SUPPLY: Final = {
    "--supply": ("volts", '"24 V"', "nominal volts of the supply"),
    "--lowest-volts": ("lowest_volts", '"23 V"', "what it still gives at full load (default: its volts)"),
    "--limit": ("limit", '"200 mA"', "the current that it gives for good"),
    "--surge": ("surge", '"300 mA"', "the current that it gives for a moment (default: its limit)"),
    "--derates-above": ("derates_above", '"50 degC"', "from this temperature on it gives less"),
    "--derating-per-degC": ("derating_per_degC", '"2.5 %"', "by so much of its limit for each degC"),
    "--enclosure": ("enclosure", '"60 degC"', "the highest temperature where the supply is"),
}
"""Options of a supply made by hand; the names are the site file's keys, docs/site-file.md says what each means."""

CIRCUIT: Final = {
    "--liftoff": ("liftoff", '"12 V"', "what the transmitter needs between its terminals"),
    "--liftoff-low": ("liftoff_low", '"13.5 V"', "what it needs at its lowest current"),
    "--lowest": ("lowest", '"3.6 mA"', "its lowest current (default 3.6 mA)"),
    "--highest": ("highest", '"22 mA"', "its highest current, in fault (default 22 mA)"),
    "--area": ("area", '"0.75 mm2"', "size of the wires by area"),
    "--ohm-per-km": ("ohm_per_km", '"24.5 ohm/km"', "size of the wires by resistance at 20 degC"),
    "--length": ("length", '"300 m"', "of the cable, one way"),
    "--cable-temperature": ("cable_temperature", '"60 degC"', "the highest along the cable (default 20 degC)"),
    "--limiter": ("limiter", '"30 mA"', "of this loop alone"),
}
SEVERAL: Final = {
    "--burden": ("burden", '"250 ohm"', "a receiver or shunt in the loop; may be given several times"),
    "--drop": ("drop", '"3.5 V"', "fixed volts in the loop, such as a loop-powered indicator; several times"),
}
OUTPUT: Final = ("liftoff", "highest", "burden", "drop")
"""Keys of a passive output that have an option, `--output-...`."""

_OTHERS: Final = ("awg", "loops", "load", "second_supply", "second_limit", "second_load", "output_on")
BY_HAND: Final = {
    **{option: key for option, (key, *_) in {**SUPPLY, **CIRCUIT, **SEVERAL}.items()},
    **{f"--{key.replace('_', '-')}": key for key in (*_OTHERS, *(f"output_{key}" for key in OUTPUT))},
}
"""Every option that describes a loop by hand, and where its value is."""

Added = Callable[[str, str], ArgumentParser]


def add_arguments(parser: ArgumentParser) -> None:
    """The subcommands of `loop`; each sets `loop` to the function that does it."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def added(name: str, words: str) -> ArgumentParser:
        return what.add_parser(name, help=words, description=words, epilog=parser.epilog)

    _budget(added)
    loopcheckcall.add_arguments(added("check", "the five-point loop check: start, steps, finish, records"))
    _damping(added)


def _budget(added: Added) -> None:
    sub = added("budget", "whether the supply leaves a loop what it needs, and what to change")
    sub.set_defaults(loop=_run_budget)
    sub.add_argument("site", nargs="?", metavar="SITE.toml", help="reckon the loops of a site file")
    sub.add_argument("--instrument", metavar="ID", help="one instrument of the site file only")
    for option, (key, example, words) in {**SUPPLY, **CIRCUIT}.items():
        sub.add_argument(option, dest=key, metavar=example, help=words)
    for option, (key, example, words) in SEVERAL.items():
        sub.add_argument(option, dest=key, action="append", metavar=example, help=words)
    sub.add_argument("--awg", type=int, metavar="18", help="size of the wires by gauge")
    sub.add_argument("--loops", type=int, metavar="N", help="so many such loops on the supply (default 1)")
    load = 'NAME "100 mA" ["180 mA"]'
    sub.add_argument(
        "--load",
        action="append",
        nargs="+",
        metavar=("NAME", "CURRENT"),
        help=f"another load on the supply: {load}, the second current while cold; several times",
    )
    sub.add_argument("--second-supply", metavar='"24 V"', help="nominal volts of a second supply")
    sub.add_argument("--second-limit", metavar='"500 mA"', help="the current that it gives for good")
    sub.add_argument(
        "--second-load", action="append", nargs="+", metavar=("NAME", "CURRENT"), help="a load on the second supply"
    )
    for key in OUTPUT:
        option = next(o for o, (k, *_) in {**CIRCUIT, **SEVERAL}.items() if k == key)
        action = "append" if option in SEVERAL else "store"
        sub.add_argument(
            f"--output-{key}", action=action, metavar="...", help=f"{key} of a passive output fed by a supply"
        )
    sub.add_argument("--output-on", choices=("first", "second"), help="the supply that feeds it (default: first)")
    sub.add_argument("--json", action="store_true", help="for programs")


def _run_budget(args: Namespace) -> int:
    from gaugehouse.loopbudget import budget

    return budget(args)


def _damping(added: Added) -> None:
    sub = added("damping", "what moves a level signal, what damping it gains and costs, what to set")
    sub.set_defaults(loop=_run_damping)
    sub.add_argument("site", metavar="SITE.toml", help="the site file")
    sub.add_argument("tank", metavar="TANK")
    sub.add_argument("--from", dest="start", metavar="TIME", help="of what was polled: from this time on")
    sub.add_argument("--to", dest="end", metavar="TIME", help="before this time (default: the last hour that is kept)")
    sub.add_argument("--file", type=Path, metavar="BURST", help="a recorder's CSV or WAV instead of what was polled")
    sub.add_argument("--rate", metavar='"200 Hz"', help="of the file, where it has no times")
    sub.add_argument("--column", metavar="NAME", help="of a CSV with several")
    sub.add_argument("--channel", type=int, metavar="N", help="of a WAV, from 1 (default 1)")
    sub.add_argument("--unit", metavar="mA", help="of the file's values, where its header does not say it")
    sub.add_argument("--shunt", metavar='"250 ohm"', help="over which volts were recorded")
    sub.add_argument("--full-scale", metavar='"20 mA"', help="what 1 means in the file: the full scale of a WAV")
    sub.add_argument("--update", metavar='"0.5 s"', help="how often the transmitter itself measures")
    sub.add_argument("--fill-rate", metavar='"1000 L/min"', help="the largest (default: max_fill_rate of the tank)")
    sub.add_argument("--suspect", action="append", metavar='"24.7 Hz"', help="where this would show; several times")
    sub.add_argument("--aim", metavar='"1 mm"', help="the noise that may remain (default 1 mm)")
    sub.add_argument("--json", action="store_true", help="for programs")


def _run_damping(args: Namespace) -> int:
    from gaugehouse.loopdamping import damping

    return damping(args)
