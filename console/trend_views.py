"""Marks on a time axis: alarms, movements and loop faults as stretches of time, each with its words.

Knows how transitions pair up to stretches; refuses to ask for them. A stretch that began before what was asked for has
no `start`, one that goes on after it no `end`.
"""

from collections.abc import Iterable
from typing import Final

from console.facts import Json
from console.figures import parse_time, with_unit
from console.words import CONDITIONS, FAULTS, MOVEMENTS

MOST_MARKS: Final = 600
ENDS: Final = ("normal", "returned_unacknowledged", "latched_unacknowledged", "latched_acknowledged")
"""States in which an alarm's cause is over."""


def alarm_marks(rows: Iterable[Json], standing: Iterable[Json], tank_of: dict[str, str]) -> list[Json]:
    """Alarms from raised to returned. rows: transitions, newest first; standing: those of the live state.

    tank_of: the tank that each source (tank or instrument) speaks of; others are left out.
    """
    open_: dict[str, Json] = {}
    found: list[Json] = []
    for row in sorted(rows, key=lambda row: str(row["time"])):
        if row["source"] not in tank_of:
            continue
        alarm = row["id"]
        if row["event"] in ("raised", "raised_again"):
            found.append(open_.setdefault(alarm, _alarm(row, tank_of, row["time"])))
        elif row["event"] == "returned" or (row["state"] in ENDS and alarm in open_):
            begun = open_.pop(alarm, None)
            if begun is None:
                begun = _alarm(row, tank_of, None)
            begun["end"] = row["time"]
            found.append(begun)
    for alarm in standing:
        if alarm["source"] in tank_of and alarm["id"] not in open_ and alarm["returned"] is None and alarm["raised"]:
            found.append(_alarm(alarm, tank_of, alarm["raised"]))
    return list({id(mark): mark for mark in found}.values())


def _alarm(row: Json, tank_of: dict[str, str], start: str | None) -> Json:
    name = row.get("name") or CONDITIONS.get(row["condition"], row["condition"])
    return {
        "tank": tank_of[row["source"]], "kind": "alarm", "start": start, "end": None, "words": name,
        "priority": row["priority"], "id": row["id"],
    }  # fmt: skip


def movement_marks(rows: Iterable[Json]) -> list[Json]:
    """Movements from start to end with their gross volume, the observed one while they run."""
    out = []
    for row in rows:
        volume = row["gov_m3"] if row["gov_m3"] is not None else row["tov_m3"]
        kind = MOVEMENTS.get(row["kind"], row["kind"])
        words = kind if volume is None else f"{kind} {with_unit('tov_m3', volume)}"
        out.append(_plain(row["tank"], "movement", row, words, f"{row['tank']}:{row['number']}"))
    return out


def fault_marks(rows: Iterable[Json], tanks_of: dict[str, list[str]]) -> list[Json]:
    """Loop faults from start to end, once for each tank that the loop measures."""
    return [
        _plain(tank, "fault", row, FAULTS.get(row["class"], row["class"]), f"{row['instrument']}:{row['number']}")
        for row in rows
        for tank in tanks_of.get(row["instrument"], ())
    ]


def _plain(tank: str, kind: str, row: Json, words: str, mark: str) -> Json:
    return {
        "tank": tank, "kind": kind, "start": row["start"], "end": row["end"], "words": words,
        "priority": None, "id": mark,
    }  # fmt: skip


def in_view(marks: Iterable[Json], start: str, end: str) -> Json:
    """Those that touch from start up to end, in the order of their beginning, and how many were left out.

    Of too many the longest stay: of a year a person sees days, not seconds.
    """
    touching = [mark for mark in marks if (mark["start"] or "") < end and (mark["end"] is None or mark["end"] >= start)]
    kept = touching
    if len(touching) > MOST_MARKS:
        kept = sorted(touching, key=lambda mark: _length_s(mark, start, end), reverse=True)[:MOST_MARKS]
    return {
        "marks": sorted(kept, key=lambda mark: (mark["start"] or "", mark["kind"], mark["id"])),
        "left_out": len(touching) - len(kept),
    }


def _length_s(mark: Json, start: str, end: str) -> float:
    from_, to = max(mark["start"] or start, start), min(mark["end"] or end, end)
    return (parse_time(to) - parse_time(from_)).total_seconds()
