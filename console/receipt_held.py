"""What came in by one account held against another: the line's figures, the papers, the line's own meter.

Knows words, units and decimals; refuses to judge: verdicts come with the state.
"""

from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, NOTHING, moment, number, written
from console.receipt_figures import degrees, density, litres, sure
from console.receipt_words import APART, BASES, METER, NOT_DONE, NOT_STATED, TEXT, THREE


def line_said(last: Json | None) -> str:
    if last is None:
        return ""
    if last["beyond"]:
        return TEXT["diverges"]
    if last["difference_m3"] is None or last["u95_m3"] > last["limit_m3"]:
        return TEXT["cannot_tell_yet"]
    return TEXT["agrees"]


def line_check(check: Json, now: str, zone: ZoneInfo, degC: str) -> Json:
    difference = check["difference_m3"]
    return {
        "time": moment(check["time"], now, zone),
        "by": check["by"],
        "figure": litres(check["figure_m3"]),
        "basis": BASES[check["basis"]].format(degC=degC),
        "line": litres(check["line_m3"]),
        "tank": litres(check["tank_m3"]),
        "difference": NOTHING if difference is None
        else f"{litres(difference, signed=True)} ± {litres(check['u95_m3'])}",
        "limit": litres(check["limit_m3"]),
        "beyond": check["beyond"],
        "said": TEXT["beyond"] if check["beyond"] else line_said(check),
        "comment": check["comment"],
    }  # fmt: skip


def match(row: Json, degC: str) -> Json | None:
    """The tank against the papers."""
    found = row["reconciliation"]
    if found is None:
        return None
    quantities = [found[basis] for basis in ("standard", "observed") if found[basis] is not None]
    rows = [
        {
            "name": f"Quantity, {BASES[one['basis']].format(degC=degC)}",
            "paper": f"{litres(one['paper_m3'])} ± {litres(one['paper_u95_m3'])}",
            "tank": sure(one["tank_m3"], one["tank_u95_m3"]),
            "difference": f"{litres(one['difference_m3'], signed=True)} ± {litres(one['u95_m3'])} "
            f"({number(one['percent'], 2, signed=True)}{NBSP}%)",
            "limit": f"± {litres(one['limit_m3'])}",
            "verdict": one["verdict"],
            "bad": one["verdict"] == "beyond the limit",
        }
        for one in quantities
    ]
    for name, words, shown, apart in (
        ("density", "Density at 15 °C", density, "density_kgpm3"),
        ("temperature", "Temperature", degrees, "apart_degC"),
    ):  # fmt: skip
        one = found[name]
        off = one["difference"]
        rows.append({
            "name": words, "paper": NOT_STATED if one["paper"] is None else shown(one["paper"]),
            "tank": NOT_DONE if one["measured"] is None else shown(one["measured"]),
            "difference": written(apart, off, signed=True),
            "limit": f"± {written(apart, one['limit'])}",
            "verdict": one["verdict"], "bad": one["verdict"] == "beyond the limit",
        })  # fmt: skip
    error = found["paper_error_percent"]
    said = [one["said"] for one in quantities[:1]] or [
        TEXT["unseen"].format(why=TEXT["no_level" if row["opening"] else "no_opening"])
    ]
    if error is not None and abs(error) >= 0.05:
        said.append(TEXT["paper_error"].format(percent=number(error, 2, signed=True)))
    return {"rows": rows, "said": said, "three": _three(found.get("three"), row.get("meter"), degC)}


def metered(found: Json | None, degC: str) -> Json | None:
    """What the line's own meters say so far."""
    if found is None:
        return None
    if found["why_not"]:
        return {"so_far": METER["not_now"], "registers": []}
    basis = "standard" if found["standard_m3"] is not None else "observed"
    volume = sure(found[f"{basis}_m3"], found[f"{basis}_u95_m3"])
    so_far = METER["so_far"].format(volume=volume, basis=BASES[basis].format(degC=degC))
    return {"so_far": so_far, "registers": _registers(found)}


def _registers(found: Json) -> list[str]:
    told = []
    for one in found["counts"]:
        line = found["temperature_degC"]
        how = METER["no_degC"] if line is None else METER["at"].format(degC=degrees(line))
        told.append(
            METER["register"].format(
                name=one["name"], opening=litres(one["opening_m3"]), closing=litres(one["closing_m3"]),
                factor=number(one["factor"], 4), how=METER["compensated"] if one["compensated"] else how,
            )
        )  # fmt: skip
    return told


def _three(found: Json | None, meter: Json | None, degC: str) -> Json | None:
    """Tank, papers and line meter two and two, each with its own uncertainty."""
    if found is None or meter is None:
        return None
    values = {one["of"]: one for one in found["figures"]}
    rows = [
        {
            "name": f"{THREE[one['of']]} less {THREE[one['against']].lower()}",
            "figures": f"{sure(values[one['of']]['m3'], values[one['of']]['u95_m3'])}; "
            f"{sure(values[one['against']]['m3'], values[one['against']]['u95_m3'])}",
            "difference": f"{litres(one['difference_m3'], signed=True)} ± {litres(one['u95_m3'])} "
            f"({number(one['percent'], 2, signed=True)}{NBSP}%)",
            "limit": f"± {litres(one['limit_m3'])}",
            "verdict": one["verdict"],
            "bad": one["verdict"] == "beyond the limit",
        }
        for one in found["pairs"]
    ]
    return {
        "title": f"Tank, papers and line meter, {BASES[found['basis']].format(degC=degC)}",
        "figures": [(THREE[one["of"]], sure(one["m3"], one["u95_m3"])) for one in found["figures"]],
        "rows": rows,
        "said": [*_registers(meter), *([APART[found["apart"]]] if found["apart"] else [])],
    }
