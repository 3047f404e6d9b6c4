"""Receipts as people read them: the check before, the live view, the comparison after, a line of the list.

Knows words, units and decimals; refuses to judge: verdicts come with the state.
"""

from typing import Any
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, NOTHING, duration, moment, number, until, with_unit, written
from console.receipt_figures import degrees, density, litres, rate, sure
from console.receipt_held import line_check, line_said, match, metered
from console.receipt_words import (
    DUE,
    FITS,
    NOT_DONE,
    NOT_STATED,
    PAPER,
    PHASES,
    TEXT,
    TOPS,
    WATER,
)
from console.words import LIMITS

OVER = ("accepted", "accepted with protest", "rejected", "called off")
RATE = "rate_m3_per_h"
STANDS = ("released", "in use")


def listed(row: Json, now: str, zone: ZoneInfo) -> Json:
    """One receipt as a line of the list."""
    over = row["stage"] in OVER
    progress = row.get("progress")
    return {
        "number": row["number"],
        "tank": row["tank_name"],
        "tank_id": row["tank"],
        "phase": PHASES.get(row["phase"], row["phase"]),
        "over": over,
        "quantity": litres(_stated(row["paper"])),
        "note": row["paper"]["note"] or NOTHING,
        "received": NOTHING if progress is None else sure(progress["gross_m3"], progress["gross_u95_m3"]),
        "made": moment(row["made"], now, zone),
        "by": row["decided_by"] if over else row["by"],
        "time": moment(row["time"], now, zone) if over else moment(row["started"], now, zone),
    }


def before(found: Json, now: str, zone: ZoneInfo) -> Json:
    """The check before a receipt. found: `{forecast, now, water_source, density_objection, ...}`."""
    f = found["forecast"]
    return {
        "fits": FITS[f["fits"]].format(top=_top(f)),
        "bad": f["fits"] in ("does not fit", "not surely", "not judged"),
        "rows": _forecast_rows(f),
        "notes": _paper_notes(found),
        "water": _water(found),
        "beside": _beside(found["beside"], now, zone),
        "caution": found["caution"],
        "checks": found["checks"],
    }


def _beside(rows: list[Json], now: str, zone: ZoneInfo) -> list[tuple[str, str]]:
    """What the house itself knows: dips, water checks, status; "not done" where nobody has."""
    told = []
    for row in rows:
        text = row["status"] or (NOT_DONE if row["value_m"] is None else with_unit("level_m", row["value_m"]))
        if row["status"] in STANDS:
            text += TEXT["ends_release"]
        when = "" if row["time"] is None else f", {moment(row['time'], now, zone)}"
        told.append((row["what"][0].upper() + row["what"][1:], f"{text}{when}{', ' + row['by'] if row['by'] else ''}"))
    return told


def _top(f: Json) -> str:
    return f"{TOPS[f['top']]} ({with_unit('level_m', f['top_m'])})"


def _forecast_rows(f: Json) -> list[tuple[str, str, bool]]:
    """Name, what is said, and whether it is to be heeded."""
    response, passes = f["response"], f["passes"]
    rows: list[tuple[str, str, bool]] = [
        ("Fills the tank by, once mixed", sure(f["incoming_m3"], None), False),
        ("Room for it now", litres(f["room_m3"]), False),
        ("Level in the end", with_unit("level_m", f["end_level_m"]), False),
        ("Volume in the end, by the tank's own table", sure(f["end_tov_m3"], f["end_u95_m3"]), False),
        ("Temperature in the end", degrees(f["end_temperature_degC"]), False),
        ("Lasts, at the agreed rate", _lasts(f["lasts_s"]), False),
        ("Agreed rate", TEXT[{True: "rate_too_high", False: "rate_fine", None: "rate_unknown"}[f["rate_too_high"]]],
         f["rate_too_high"] is True),
    ]  # fmt: skip
    for one in passes:
        name = f"{LIMITS.get(one['condition'], one['condition'])}, {with_unit('level_m', one['level_m'])}"
        rows.append((name, _passed(one), bool(one["passed"])))
    if response["enough"] is None:
        rows.append(("Response time", TEXT["response_unknown"], False))
    else:
        said = TEXT["response_enough" if response["enough"] else "response_short"]
        text = said.format(available=duration(response["available_s"]), needed=duration(response["needed_s"]))
        rows.append(("Response time", text, not response["enough"]))
    return rows


def _lasts(seconds: float | None) -> str:
    """To the nearest minute: nobody waits for it as for a limit."""
    return NOTHING if seconds is None else duration(60 * round(seconds / 60))


def _passed(one: Json) -> str:
    if not one["passed"]:
        return TEXT["not_passed"].format(room=litres(one["left_m3"]))
    if one["room_m3"] <= 0:
        return TEXT["passed_now"]
    return TEXT["passed_no_rate"] if one["after_s"] is None else TEXT["passed"].format(time=duration(one["after_s"]))


def _paper_notes(found: Json) -> list[str]:
    notes = []
    if found.get("density_objection"):
        notes.append(found["density_objection"])
    error = found.get("paper_error_percent")
    if error is not None and abs(error) >= 0.05:
        notes.append(TEXT["paper_error"].format(percent=number(error, 2, signed=True)))
    return notes


def _water(found: Json) -> str:
    now, source = found.get("now"), found["water_source"]
    if source == "none" or now is None or now["water_m"] is None:
        return WATER["none"] if source == "none" else NOT_DONE
    return f"{with_unit('water_m', now['water_m'])} {WATER[source]}"


def view(row: Json, now: str, zone: ZoneInfo) -> Json:
    """A receipt whole: planned, running or over."""
    over = row["stage"] in OVER
    degC = f"{row['reference_degC']:g}"
    paper = row["paper"]
    return {
        "number": row["number"],
        "tank": row["tank"],
        "tank_name": row["tank_name"],
        "product": row["product_name"],
        "stage": row["stage"],
        "phase": row["phase"],
        "said": PHASES.get(row["phase"], row["phase"]),
        "over": over,
        "paper": [(words.format(degC=degC), _paper_cell(paper, name)) for name, words in PAPER.items()],
        "agreed": rate(row["rate_m3_per_h"]),
        "people": _people(row, now, zone),
        "checks": row["checks"],
        "undone": [check["what"] for check in row["checks"] if not check["done"]],
        "next_check": next((check["what"] for check in row["checks"] if not check["done"]), ""),
        "beside": _beside(row["beside"], now, zone),
        "sample": _sample(row["sample"], now, zone),
        "document": row.get("document"),
        "documentable": row["stage"] in ("accepted", "accepted with protest") and row.get("document") is None,
        "forecast": None if row["forecast"] is None else {
            "fits": FITS[row["forecast"]["fits"]].format(top=_top(row["forecast"])),
            "bad": row["forecast"]["fits"] != "fits",
            "rows": _forecast_rows(row["forecast"]),
        },
        "live": _live(row, now, zone),
        "line": [line_check(check, now, zone, degC) for check in reversed(row["line"])],
        "meter": metered(row.get("meter"), degC),
        "match": match(row, degC),
        "why_not": row["why_not"],
        "notes": row["notes"],
        "caution": row["caution"],
        "limits": row["limits"]["source"],
        "decision": "" if row["decision"] is None else f"{row['decision']}, by {row['decided_by']}",
        "comment": row.get("comment", ""),
    }  # fmt: skip


def _stated(paper: Json) -> float | None:
    value: float | None = paper["observed_m3"] if paper["observed_m3"] is not None else paper["standard_m3"]
    return value


def _paper_cell(paper: Json, name: str) -> str:
    value: Any = paper[name]
    if value in (None, ""):
        return NOT_STATED
    match name:
        case "observed_m3" | "standard_m3":
            return litres(value)
        case "temperature_degC":
            return degrees(value)
        case "density_15_kgpm3":
            return density(value)
    return str(value)


def _people(row: Json, now: str, zone: ZoneInfo) -> list[tuple[str, str]]:
    people = [("Planned", f"{moment(row['made'], now, zone)}, {row['by']}")]
    if row["sender"]:
        people.append(("Sender", row["sender"]))
    if row["stops"]:
        people.append(("Who stops the flow", row["stops"]))
    if row["started"]:
        people.append(("Started", f"{moment(row['started'], now, zone)}, {row['started_by']}"))
    if row["begun"]:
        people.append(("Flow since", moment(row["begun"], now, zone)))
    return people


def _plain(text: str) -> str:
    """Units as the pages write them."""
    return text.replace("kg/m3", "kg/m³").replace(" degC", f"{NBSP}°C")


def _sample(sample: Json | None, now: str, zone: ZoneInfo) -> str:
    if sample is None:
        return NOT_DONE
    told = []
    if sample["density_15_kgpm3"] is not None:
        told.append(f"{density(sample['density_15_kgpm3'])} at 15 °C ({_plain(sample['how'])})")
    if sample["temperature_degC"] is not None:
        told.append(f"delivery at {degrees(sample['temperature_degC'])}")
    return f"{'; '.join(told)}; {moment(sample['time'], now, zone)}, {sample['by']}"


def _live(row: Json, now: str, zone: ZoneInfo) -> Json | None:
    """What moves during a delivery; None before its start and after its end."""
    if row["stage"] != "started":
        return None
    found, prompt, last = row["progress"], row["prompt"], row["line"][-1] if row["line"] else None
    due = DUE[prompt["state"]].format(time=until(prompt["due"], now, zone) if prompt["due"] else "")
    said = {
        "due": due if row["phase"] in ("receiving", "not seen") else "",
        "due_bad": prompt["state"] in ("due", "overdue"),
        "missed": TEXT["missed"].format(count=prompt["missed"]) if prompt["missed"] else "",
        "line": line_said(last) if row["phase"] in ("receiving", "not seen") else "",
        "line_bad": last is not None and last["beyond"],
    }
    if found is None:
        why = TEXT["no_level"] if row["phase"] == "not seen" else TEXT["no_opening"]
        return said | {
            "gross": NOTHING, "gross_u95": TEXT["unseen"].format(why=why), "standard": NOTHING, "share": NOTHING,
            "permille": 0, "left": NOTHING, "beyond": "", "rate": NOTHING, "rate_note": "",
            "finish": NOTHING, "finish_span": "", "stop": _stop(row), "quality": "bad",
        }  # fmt: skip
    share = found["share_frac"]
    return said | {
        "gross": written("tov_m3", found["gross_m3"]),
        "gross_u95": f"± {litres(found['gross_u95_m3'])}, 95 %",
        "standard": sure(found["standard_m3"], found["standard_u95_m3"]),
        "share": f"{number(100 * share, 1)}{NBSP}%",
        "permille": min(1000, max(0, round(1000 * share))),
        "left": litres(found["left_m3"]),
        "beyond": TEXT["beyond_paper"] if found["beyond_paper"] else "",
        "rate": written(RATE, found[RATE]),
        "rate_note": _rate_note(row, found),
        "finish": _finish(found),
        "finish_span": _span(found),
        "stop": _stop(row),
        "quality": "good",
    }


def _rate_note(row: Json, found: Json) -> str:
    if row["rate_m3_per_h"] is None:
        return TEXT["no_rate"]
    if row["phase"] != "receiving":
        return TEXT["no_flow"]
    if found["slow_start"] or found["rate_off_frac"] is None:
        return TEXT["slow_start"]
    off = f"{number(100 * found['rate_off_frac'], 0, signed=True)}{NBSP}%"
    return TEXT["rate_agrees"].format(agreed=rate(row["rate_m3_per_h"]), off=off)


def _finish(found: Json) -> str:
    times = found["finish"]
    return NOTHING if times is None or times["expected_s"] is None else f"in {duration(times['expected_s'])}"


def _stop(row: Json) -> str:
    """The level at which all of it is in."""
    level_m = None if row["forecast"] is None else row["forecast"]["end_level_m"]
    return NOTHING if level_m is None else written("level_m", level_m)


def _span(found: Json) -> str:
    times = found["finish"]
    if times is None or times["earliest_s"] is None:
        return ""
    latest = "later" if times["latest_s"] is None else duration(times["latest_s"])
    return f"{duration(times['earliest_s'])} to {latest}"
