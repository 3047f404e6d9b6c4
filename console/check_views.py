"""Loop checks as people read them: the strip on every page, the check at the instrument step by step, the records.

Knows words and figures; refuses to judge (errors and verdicts come with the state).
"""

from collections.abc import Mapping
from typing import Final
from zoneinfo import ZoneInfo

from console.check_words import CHECK, RUNS, VERDICTS, WAYS
from console.facts import Json
from console.figures import NOTHING, moment, number, with_unit

SPAN_MA: Final = 16.0


def strip(live: Json, places: dict[str, str], zone: ZoneInfo) -> Json:
    """What every page says while a check is under way anywhere."""
    checks = [entry["check"] for entry in live["loops"] if entry.get("check")]
    said = [_sentence(check, places, live["time"], zone) for check in checks]
    return {"any": "1" if said else "", "text": " ".join(said)}


def _sentence(check: Json, places: dict[str, str], now: str, zone: ZoneInfo) -> str:
    return CHECK["strip"].format(
        loop=places.get(check["instrument"], check["instrument"]),
        name=check["by"],
        until=moment(check["until"], now, zone),
        blind=", ".join(check["blinded_names"]) or CHECK["no_alarm"],
    )


def view(check: Json | None, now: str, zone: ZoneInfo) -> Json:
    """What moves of a loop's own check. `rev` changes whenever the steps must be shown anew."""
    if check is None:
        return {"on": "", "next": "", "following": "", "rev": "", "until": "", "whole": ""}
    following = check["next"]
    said = CHECK["all_taken"] if following is None else place(following)
    as_left = any(step["run"] == "as_left" for step in check["steps"])
    found_whole = following is not None and following["run"] == "as_left" and not as_left
    return {
        "on": "1",
        "next": said,
        "following": CHECK["finish_or_adjust"] if found_whole else said,
        "rev": f"{check['number']}.{len(check['steps'])}.{check['taken']}",
        "until": moment(check["until"], now, zone),
        "whole": "1" if following is None or following["run"] == "as_left" else "",
    }


def place(step: Json) -> str:
    """Which step, in words: "as found, 8 mA, upward"."""
    return CHECK["place"].format(run=RUNS[step["run"]], point=number(step["point_mA"], 0), way=WAYS[step["direction"]])


def sheet(check: Json, names: Mapping[str, str], now: str, zone: ZoneInfo) -> Json:
    """A check under way: who, until when, what is blind, the steps with their errors. names: of tanks."""
    covered = check["covered_by"]
    return {
        "by": check["by"],
        "since": moment(check["since"], now, zone),
        "until": moment(check["until"], now, zone),
        "covered": CHECK["covered"].format(point=covered) if covered else "",
        "blind": check["blinded_names"] or [CHECK["no_alarm"]],
        "limit": number(check["limit_percent"], 2),
        "before": [
            {"tank": names.get(tank, tank), "level": with_unit("level_m", level)}
            for tank, level in check["before_m"].items()
        ],
        "runs": [
            {
                "name": RUNS[run],
                "verdict": VERDICTS[check["verdict"][run]],
                "beyond": check["verdict"][run] is False,
                "steps": [_step(step, check["limit_percent"]) for step in check["steps"] if step["run"] == run],
            }
            for run in check["verdict"]
        ],
    }


def _step(step: Json, limit_percent: float) -> Json:
    error = 100 * (step["shown_mA"] - step["applied_mA"]) / SPAN_MA
    return {
        "point": number(step["point_mA"], 0),
        "way": WAYS[step["direction"]],
        "applied": number(step["applied_mA"], 3),
        "shown": number(step["shown_mA"], 4),
        "error": number(error, 3, signed=True),
        "beyond": abs(error) > limit_percent + 1e-9,
        "how": CHECK["live"].format(count=step["samples"]) if step["how"] == "live" else CHECK["typed"],
    }


def record_rows(rows: list[Json], now: str, zone: ZoneInfo) -> list[Json]:
    """The records of a loop, newest first."""
    return [
        {
            "number": row["number"],
            "ended": moment(row["ended"], now, zone),
            "by": row["by"],
            "how": CHECK.get(row["how"], row["how"]),
            "as_found": CHECK["no_verdict"] if row["as_found"] is None else VERDICTS[row["as_found"]],
            "as_left": NOTHING if row["as_left"] is None else VERDICTS[row["as_left"]],
        }
        for row in rows
    ]
