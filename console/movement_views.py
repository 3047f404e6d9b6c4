"""Movements as people read them: a line of the tank page's list each. Knows words and units; refuses to count."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NOTHING, moment, with_unit, written
from console.words import DIFFERS, FAULTS, MOVEMENT_FLAGS, MOVEMENT_STAGES, MOVEMENTS, ORDERED

FINAL: Final = "final"


def movement(row: Json, now: str, zone: ZoneInfo) -> Json:
    """One movement. While it runs its volume is the observed one so far; the final figures are gross and standard."""
    final = row["stage"] == FINAL
    return {
        "kind": MOVEMENTS.get(row["kind"], row["kind"]),
        "stage": MOVEMENT_STAGES.get(row["stage"], row["stage"]),
        "start": moment(row["start"], now, zone),
        "end": moment(row["end"], now, zone) if row["end"] else NOTHING,
        "gross": _volume(row, "gov_m3") if final and row["gov_m3"] is not None else _volume(row, "tov_m3"),
        "standard": _volume(row, "gsv_m3") if final else NOTHING,
        "rate": written("rate_m3_per_h", row["mean_m3_per_h"]),
        "ordered": ORDERED.get(row["ordered"], row["ordered"]),
        "notes": "; ".join(_notes(row)),
    }


def _volume(row: Json, name: str) -> str:
    value, u95 = row[name], row[name.replace("_m3", "_u95_m3")]
    if value is None:
        return NOTHING
    text = written("tov_m3", value)
    return text if u95 is None else f"{text} ± {written('tov_m3', u95)}"


def _difference(row: Json, what: str) -> str:
    """One way in which it is not what was ordered, in words."""
    more, ratio, early = row["more_m3"], row["rate_ratio"], row["early_s"]
    signed = with_unit("tov_m3", more)
    return DIFFERS[what].format(
        product=row["ordered_product"],
        more=f"+{signed}" if more and more > 0 else signed,
        percent="" if ratio is None else f"{100 * ratio:.0f}",
        minutes="" if early is None else f"{early / 60:.0f}",
    )


def _notes(row: Json) -> list[str]:
    notes: list[Any] = [_difference(row, one) for one in (row.get("differs") or "").split()]
    if row["pair"]:
        notes.append(MOVEMENT_FLAGS["pair"].format(pair=row["pair"]))
    if row["start_u95_s"] is None:
        notes.append(MOVEMENT_FLAGS["start_unseen"])
    if row["faults"] or row["blind_s"]:
        named = ", ".join(FAULTS.get(one, one) for one in row["faults"].split())
        notes.append(MOVEMENT_FLAGS["blind"].format(seconds=f"{row['blind_s']:.0f}", faults=named).rstrip(": "))
    if row["rough"]:
        notes.append(MOVEMENT_FLAGS["rough"])
    if row.get("by_dips_m3") is not None:
        notes.append(MOVEMENT_FLAGS["by_dips"].format(volume=with_unit("tov_m3", row["by_dips_m3"])))
    elif row.get("dip_start_m") is not None or row.get("dip_end_m") is not None:
        notes.append(MOVEMENT_FLAGS["by_one_dip"])
    if row.get("revision", 1) > 2:
        notes.append(MOVEMENT_FLAGS["amended"])
    return notes
