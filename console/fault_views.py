"""Loop faults as people read them: a line of the list, the whole of one fault, the figures of a loop, its budget.

Knows words and units; refuses to count or to judge.
"""

from typing import Any, Final
from zoneinfo import ZoneInfo

from console.alarm_views import age
from console.facts import Json
from console.figures import NBSP, NOTHING, duration, moment, number, parse_time, shown, with_unit, written
from console.words import CONDITIONS, DEVICE, FAULT_FLAGS, FAULT_PAGE, FAULTS, FLOWS, PAGE, QUANTITIES, SUPPLY_ROWS

DRAWN_FIRST: Final = ("level", "percent")
"""Where a loop tells no current: the signals that its trace is drawn of, by their conventional names."""

SAID: Final = ("found_by", "cause", "part", "action", "comment")
DIPS: Final = ("dip_before_m", "dip_after_m")


def fault(row: Json, now: str, zone: ZoneInfo) -> Json:
    """One fault as a line of the list, and all that stands around it for its own page."""
    level = row.get("level_m")
    return {
        "number": row["number"],
        "class": FAULTS.get(row["class"], row["class"]),
        "letter": row["status"],
        "status": DEVICE.get(row["status"], row["status"]),
        "start": moment(row["start"], now, zone),
        "open": not row.get("end"),
        "end": moment(row["end"], now, zone) if row.get("end") else PAGE["still_open"],
        "lasted": age(row["start"], row.get("end") or now),
        "entry": _mA(row.get("entry_mA")),
        "before": _mA(row.get("before_mA")),
        "low": _mA(row.get("min_mA")),
        "high": _mA(row.get("max_mA")),
        "level": with_unit("level_m", level),
        "noise": with_unit("noise_m", row.get("noise_before_m")),
        "movement": FLOWS.get(row.get("movement") or "", PAGE["flow_unknown"]),
        "blinded": _blinded(row, now),
        "blinds": [_alarm(alarm_id) for alarm_id in row.get("blinded") or ()],
        "around": [f"{name} {number(value, 2)}" for name, value in (row.get("around") or {}).items()],
        "repeats": [FAULT_PAGE["few"].format(count=row[f"repeats_{days}d"], days=days) for days in (30, 90)],
        "again": f"{row['repeats_30d']} / {row['repeats_90d']}",
        "said": {name: row.get(name) or "" for name in SAID},
        "dips": [with_unit("level_m", row.get(name)) for name in DIPS],
        "flag": FAULT_FLAGS.get(row["flag"], row["flag"]),
        "flagged": bool(row["flag"]),
        "closed": FAULT_PAGE["closed_by"].format(name=row["closed_by"], time=moment(row["closed"], now, zone))
        if row.get("closed_by")
        else "",
        "entries": _entries(row.get("entries") or [], now, zone),
    }


def _mA(value: float | None) -> str:
    return NOTHING if value is None else written("current_mA", value)


def _alarm(alarm_id: str) -> str:
    tank, _, condition = alarm_id.partition(".")
    return f"{CONDITIONS.get(condition, condition)} ({tank})"


def _blinded(row: Json, now: str) -> str:
    count = len(row.get("blinded") or ())
    if not count:
        return FAULT_PAGE["blinds_none"]
    if row.get("end"):
        return FAULT_PAGE["blinds"].format(count=count, time=duration(row["blinded_s"]))
    return FAULT_PAGE["blinds"].format(count=count, time=age(row["start"], now))


def _entries(entries: list[Json], now: str, zone: ZoneInfo) -> list[Json]:
    """Newest first; an entry that was replaced says by which."""
    by = {entry["corrects"]: entry["entry"] for entry in entries if entry["corrects"]}
    shown = []
    for entry in reversed(entries):
        words = [(name, entry[name]) for name in SAID if entry.get(name)]
        dips = [(name, with_unit("level_m", entry[name])) for name in DIPS if entry.get(name) is not None]
        replaced = by.get(entry["entry"])
        shown.append(
            {
                "entry": entry["entry"],
                "by": entry["by"],
                "time": moment(entry["time"], now, zone),
                "words": words + dips,
                "close": entry["close"],
                "corrects": FAULT_PAGE["corrects"].format(entry=entry["corrects"]) if entry["corrects"] else "",
                "replaced": FAULT_PAGE["replaced"].format(entry=replaced) if replaced else "",
            }
        )
    return shown


LEAST_WATCHED_H: Final = 1.0
"""Of less than that a share says nothing."""


def figures(rows: list[Json]) -> list[Json]:
    """What is known of a loop over 30 and 90 days."""
    out = []
    for row in rows:
        availability, mean = row["availability_percent"], row["mean_time_between_h"]
        out.append(
            {
                "days": row["days"],
                "faults": row["faults"],
                "watched": f"{number(row['watched_h'], 1)}{NBSP}h",
                "lost": f"{number(row['lost_h'], 2)}{NBSP}h",
                "availability": FAULT_PAGE["not_watched"]
                if availability is None or row["watched_h"] < LEAST_WATCHED_H
                else f"{number(availability, 2)}{NBSP}%",
                "mean": FAULT_PAGE["no_mean"] if mean is None else f"{number(mean, 0)}{NBSP}h",
            }
        )
    return out


def why(found: Json) -> Json:
    """The causes of a fault, best first, and in one line how sure the ranking is."""
    return {"verdict": FAULT_PAGE[VERDICTS[found["verdict"]]], "causes": found["causes"], "caution": found["caution"]}


VERDICTS: Final = {"told": "why_told", "cannot tell apart": "why_level", "unknown": "why_unknown"}


def last_fault(rows: list[Json], now: str, zone: ZoneInfo) -> Json | None:
    """The newest fault in a few words; rows newest first."""
    if not rows:
        return None
    row = fault(rows[0], now, zone)
    return {"what": row["class"], "when": row["start"], "repeats": row["repeats"][0], "number": row["number"]}


def noise(entry: Json) -> Json:
    """The noise of the level now, beside what the loop has learned to be its own."""
    now_m, usual, loud = (entry.get(f"noise_{name}_m") for name in ("now", "usual", "loud"))
    note = FAULT_PAGE["noise_learning"]
    if usual is not None and loud is not None:
        words = {"usual": with_unit("noise_m", usual), "loud": with_unit("noise_m", loud)}
        note = FAULT_PAGE["noise_of"].format(**words)
    return {
        "figure": {"t": written("noise_m", now_m), "q": "good" if now_m is not None else "bad", "n": ""},
        "note": note,
    }


def budget(supplies: list[Json], instrument: str) -> list[Json]:
    """Each supply with the volts that it leaves this loop, and what speaks against it."""
    out = []
    for supply in supplies:
        circuits = [c for c in supply["circuits"] if c["circuit"].partition(" ")[0] == instrument]
        load = supply["load_percent"]
        out.append(
            {
                "supply": supply["supply"],
                "volts": f"{number(supply['volts_V'], 1)}{NBSP}V",
                "load": NOTHING if load is None else f"{number(load, 0)}{NBSP}%",
                "fits": supply["fits"],
                "rows": [
                    (SUPPLY_ROWS[key], [_volts(key, circuit[key]) for circuit in circuits]) for key in SUPPLY_ROWS
                ],
                "circuits": [circuit["circuit"] for circuit in circuits],
                "objections": [{"what": o["what"], "change": o["change"]} for o in supply["objections"]],
            }
        )
    return out


def _volts(key: str, value: Any) -> str:
    if value is None:
        return NOTHING
    return f"{number(float(value), 1)}{NBSP}{'mA' if key.endswith('mA') else 'V'}"


def traced(samples: list[Json], ne43: Json) -> tuple[Json, list[list[Any]]]:
    """What the chart of a trace draws: the current on its bands, else the level or another signal as it stands.

    A point: UTC ms, value or None, outcome.
    """
    column: Json = {
        **shown("current_mA")._asdict(),
        "name": QUANTITIES["current_mA"],
        "lines": [],
        "bands": bands(ne43),
    }
    signal = ""
    if all(sample["current_mA"] is None for sample in samples):
        names = {name for sample in samples for name, value in sample["values"].items() if value is not None}
        signal = next((name for name in (*DRAWN_FIRST, *sorted(names)) if name in names), "")
        if signal:
            column |= {"factor": 1, "unit": signal, "decimals": 4, "name": signal, "bands": []}
    values = (sample["values"].get(signal) if signal else sample["current_mA"] for sample in samples)
    times = (_ms(sample["time"]) for sample in samples)
    outcomes = (sample["outcome"] for sample in samples)
    return column, [list(point) for point in zip(times, values, outcomes, strict=True)]


def marks(rows: list[Json]) -> list[Json]:
    """Faults as stretches of time for the chart; an open one has no end."""
    return [
        {
            "start": _ms(row["start"]),
            "end": _ms(row["end"]) if row.get("end") else None,
            "name": FAULTS.get(row["class"], row["class"]),
        }
        for row in rows
    ]


def _ms(text: str) -> int:
    return round(parse_time(text).timestamp() * 1000)


def bands(ne43: Json) -> list[Json]:
    """The NE 43 bands as stretches of the current, for a chart."""
    fail_low, low, high, fail_high = (ne43[key] for key in ("fail_low_mA", "low_mA", "high_mA", "fail_high_mA"))
    return [
        {"from": None, "to": fail_low, "kind": "fail"},
        {"from": fail_low, "to": low, "kind": "gap"},
        {"from": low, "to": 4.0, "kind": "edge"},
        {"from": 20.0, "to": high, "kind": "edge"},
        {"from": high, "to": fail_high, "kind": "gap"},
        {"from": fail_high, "to": None, "kind": "fail"},
    ]
