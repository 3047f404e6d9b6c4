"""What exploring a line has found, for people and for programs: units, readable registers, decodings, best first.

Knows words and columns; refuses to ask anything.
"""

from typing import Any, Final

from collector.explore import Searched, Stretch, Unit
from collector.spec import BusSpec
from gaugehouse.printing import table
from modbus.decodings import Candidate, Known, decodings

Json = dict[str, Any]

SHOWN: Final = 20
"""So many decodings are printed for people."""


def decoded(
    searched: list[tuple[int, int, Searched]], known: Known | None, expected: int | None
) -> list[tuple[Stretch, Candidate]]:
    """Every plausible decoding of every stretch, best first."""
    if known is None:
        return []
    told = [
        (stretch, candidate)
        for _, function, seen in searched
        if function in (3, 4)
        for stretch in seen.stretches
        for candidate in decodings(stretch.start, stretch.registers, known, expected)
    ]
    return sorted(told, key=lambda one: -one[1].score)


def text_of(
    bus: BusSpec,
    found: list[Unit],
    searched: list[tuple[int, int, Searched]],
    told: list[tuple[Stretch, Candidate]],
    known: Known | None,
) -> str:
    if not found:
        return (
            f"bus {bus.id}: no unit answers. Look at the address and the port, on a serial line at baud, parity, stop "
            "bits, the two wires (turned round?), termination and power."
        )
    units = [{"unit": u.unit, "says": u.text, "ms": round(u.took_ms, 1)} for u in found]
    out = [table(("unit", "says", "ms"), units), "", *_stretch_lines(searched)]
    if known is None:
        return "\n".join(out)
    out.append("")
    if not told:
        out.append(
            f"no register says {known.level_m:g} m to within {known.within_m:g} m; look at more addresses or "
            "functions, or give --reference-height (a distance) or --range (percent, mA)"
        )
        return "\n".join(out)
    out.append(
        f"decodings near {known.level_m:g} m, best first; a second level after the tank has moved tells them apart"
    )
    out.append(table(tuple(_row(*told[0])), [_row(*one) for one in told[:SHOWN]]))
    if len(told) > SHOWN:
        out.append(f"and {len(told) - SHOWN} more (--json gives all)")
    out += ["", "the first as the site file writes it:", "", _snippet(*told[0])]
    return "\n".join(out)


def _stretch_lines(searched: list[tuple[int, int, Searched]]) -> list[str]:
    lines = []
    for unit, function, seen in searched:
        for stretch in seen.stretches:
            last = stretch.start + len(stretch.registers) - 1
            some = " ".join(f"{word:04X}" for word in stretch.registers[:8])
            more = " ..." if len(stretch.registers) > 8 else ""
            lines.append(f"unit {unit}, function {function}: addresses {stretch.start} to {last}: {some}{more}")
        if seen.why:
            lines.append(f"unit {unit}, function {function}: ended early: {seen.why}")
        elif not seen.stretches:
            lines.append(f"unit {unit}, function {function}: nothing readable in these addresses")
    return lines


def _row(stretch: Stretch, one: Candidate) -> Json:
    return {
        "unit": stretch.unit,
        "function": stretch.function,
        "from 0": one.address,
        "from 1": one.address + 1,
        "type": " or ".join(str(kind) for kind in (one.type, *one.also)),
        "words": str(one.word_order),
        "bytes": str(one.byte_order),
        "reads": f"{one.quantity}, {one.unit}" + ("" if one.scale == 1 else f" x {one.scale:g}"),
        "value": round(one.value, 4),
        "level [m]": round(one.level_m, 4),
        "off [mm]": round(1000 * one.error_m, 1),
        "step [mm]": None if one.step_m is None else round(1000 * one.step_m, 3),
    }


def _snippet(stretch: Stretch, one: Candidate) -> str:
    lines = [
        "[[instrument.signal]]",
        f'name = "{"level" if one.quantity in ("level", "distance") else one.quantity}"',
        f"function = {stretch.function}",
        f"address = {one.address}",
        "counted_from = 0",
        f'type = "{one.type}"',
        f'unit = "{one.unit}"',
    ]
    if one.type.registers > 1:
        lines.insert(-1, f'word_order = "{one.word_order}"')
    if str(one.byte_order) != "high first":
        lines.insert(-1, f'byte_order = "{one.byte_order}"')
    if one.scale != 1:
        lines.insert(-1, f"scale = {one.scale:g}")
    if one.quantity == "distance":
        lines.append('# and in [[tank]]: measures = "distance"')
    return "\n".join(lines)


def json_of(
    found: list[Unit], searched: list[tuple[int, int, Searched]], told: list[tuple[Stretch, Candidate]]
) -> Json:
    return {
        "units": [unit._asdict() for unit in found],
        "registers": [
            {
                "unit": unit,
                "function": function,
                "requests": seen.requests,
                "ended_early": seen.why,
                "stretches": [{"start": s.start, "registers": list(s.registers)} for s in seen.stretches],
            }
            for unit, function, seen in searched
        ],
        "decodings": [_told_json(stretch, one) for stretch, one in told],
    }


def _told_json(stretch: Stretch, one: Candidate) -> Json:
    body = one._asdict()
    return {"unit": stretch.unit, "function": stretch.function, "value_unit": body.pop("unit"), **body}
