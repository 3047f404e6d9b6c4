"""Tank status as people read it: the state with its countdown, the release, what the content is made of.

Knows words and times; refuses to decide what a tank is ready for.
"""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import duration, moment, number, parse_time, until, with_unit
from console.status_words import STATUS

NO_STATUS: Final = {"word": "", "note": ""}


def words(entry: Json, now: str, zone: ZoneInfo) -> Json:
    """A tank's status in a few words and the small line under them; empty where none is kept. entry: of `live`."""
    status = entry.get("status")
    if not status:
        return dict(NO_STATUS)
    return {"word": _word(status, now, zone), "note": "; ".join(_note(status, now, zone))}


def _word(status: Json, now: str, zone: ZoneInfo) -> str:
    settling = status["settling"]
    if status["status"] != "settling" or settling is None:
        return str(status["status"])
    if settling["held"]:
        return STATUS["held"]
    over = settling["until"]
    return STATUS["not_watched"] if over is None else STATUS["until"].format(time=_minute(over, now, zone))


def _minute(time: str, now: str, zone: ZoneInfo) -> str:
    """The minute by which it is over: never too early, and it does not flicker."""
    return until((parse_time(time) + timedelta(seconds=59)).isoformat(), now, zone)


def _note(status: Json, now: str, zone: ZoneInfo) -> Iterator[str]:
    settling, release = status["settling"], status["release"]
    if status["status"] == "settling" and settling is not None:
        yield _left(settling)
    elif release is not None:
        yield _released(release, now, zone)
    elif status["by"]:
        time = moment(status["since"], now, zone)
        yield STATUS["said_by"].format(by=status["by"], time=time, reason=status["reason"])


def _left(settling: Json) -> str:
    return STATUS["left"].format(
        left=duration(settling["left_s"]),
        need=duration(settling["need_s"]),
        rule=settling["rule"],
        source=settling["source"],
    )


def _released(release: Json, now: str, zone: ZoneInfo) -> str:
    by = STATUS["released_by"].format(by=release["by"], time=moment(release["time"], now, zone))
    return f"{by}, {STATUS['early']}" if release["early"] else by


def row(tank: Json, status: Json, batches: Json | None, now: str, zone: ZoneInfo) -> Json:
    """One tank on the release page. tank: its names, of `live`; batches: None where they could not be read."""
    settling, release = status["settling"], status["release"]
    return {
        "tank": tank["tank"],
        "name": tank["name"],
        "product": tank["product"],
        "word": _word(status, now, zone),
        "may_issue": status["may_issue"],
        "since": "" if status["since"] is None else moment(status["since"], now, zone),
        "said": list(_said(status, now, zone)),
        "flows": list(_flows(status)),
        "settling": [] if settling is None else list(_settling(settling)),
        "rule": f"{status['rule']} ({status['source']})",
        "release": None if release is None else {
            "by": _released(release, now, zone),
            "certificate": release["certificate"],
            "found": ", ".join(_found(release)),
            "not_done": STATUS["not_done"].format(what=", ".join(release["not_done"])) if release["not_done"] else "",
            "comment": release["comment"],
        },
        "batches": None if batches is None else _batches(batches, now, zone),
    }  # fmt: skip


def _said(status: Json, now: str, zone: ZoneInfo) -> Iterator[str]:
    if status["by"] and status["release"] is None:
        time = moment(status["since"], now, zone)
        yield STATUS["said_by"].format(by=status["by"], time=time, reason=status["reason"])


def _flows(status: Json) -> Iterator[str]:
    for key, word in (("flow_in", "flows_in"), ("flow_out", "flows_out")):
        if status[key]:
            yield STATUS[word].format(what=", ".join(status[key]))


def _settling(settling: Json) -> Iterator[str]:
    """Everything that the countdown rests on, so that who releases can judge it."""
    yield _left(settling)
    if settling["depth_m"] is None:
        yield STATUS["no_depth"]
    if settling["restarts"]:
        count = settling["restarts"]
        yield STATUS["restarted_once"] if count == 1 else STATUS["restarts"].format(count=count)
    if settling["blind_s"] >= 60:
        word = "blind_counted" if settling["blind_counts"] else "blind"
        yield STATUS[word].format(time=duration(settling["blind_s"]))
    if settling["down_s"] >= 60:
        word = "down" if settling["down_counts"] else "down_not_counted"
        yield STATUS[word].format(time=duration(settling["down_s"]))


def _found(release: Json) -> Iterator[str]:
    """What the sample showed."""
    if release["appearance"]:
        yield release["appearance"]
    if release["water_test"]:
        yield f"water test {release['water_test']}"
    if release["density_kg_m3"] is not None:
        yield f"{with_unit('density_kgpm3', release['density_kg_m3'])} at 15 °C"
    if release["conductivity_pS_m"] is not None:
        yield f"{number(release['conductivity_pS_m'], 0)} pS/m"


def _batches(batches: Json, now: str, zone: ZoneInfo) -> Json:
    due = batches["recertify_due"]
    told = "overdue" if batches["recertify_overdue"] else "due"
    lack = batches["lack_m3"]
    return {
        "model": batches["model"],
        "rows": [
            {
                "batch": batch["batch"] or batch["origin"],
                "certificate": batch["certificate"],
                "since": moment(batch["since"], now, zone),
                "volume": with_unit("volume_m3", batch["volume_m3"]),
                "share": number(batch["share_percent"], 1),
                "origin": batch["origin"] if batch["batch"] else "",
                "via": STATUS["via"].format(tank=batch["via"]) if batch["via"] else "",
            }
            for batch in batches["batches"]
        ],
        "lack": STATUS["lack"].format(volume=with_unit("volume_m3", lack)) if lack > 0 else "",
        "due": ""
        if due is None
        else STATUS[told].format(time=moment(due, now, zone), source=batches["recertify_source"]),
    }


def history(rows: list[Json], names: dict[str, str], now: str, zone: ZoneInfo) -> list[Json]:
    """What became of the tanks lately, newest first."""
    return [
        {
            "time": moment(row["time"], now, zone),
            "name": names.get(row["tank"], row["tank"]),
            "event": row["event"],
            "to": row["to"],
            "why": row["why"],
            "by": row["by"],
        }
        for row in rows
    ]
