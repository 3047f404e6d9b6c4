"""Alarms as people read them: their order, the one line at the head of every page, the list.

Knows the words of states and which act a state admits; refuses to decide what an alarm is. Order: what waits for a
person first, then what stands, then what is set aside; within each the priority, then the age.
"""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, duration, moment, number, parse_time, until
from console.words import CONDITIONS, EVENTS, GROUPS, PAGE, STATES, URGENCY

WAITING: Final = frozenset({"unacknowledged", "returned_unacknowledged", "latched_unacknowledged"})
AUDIBLE: Final = frozenset({"unacknowledged", "latched_unacknowledged"})
"""States that call. Source: ISA-18.2 / IEC 62682 state model (from memory): one that has returned is quiet."""
MOST_SOUNDING: Final = 500
"""More keys than that need not be told apart: nobody silences them one by one."""
ASIDE: Final = frozenset({"shelved", "suppressed_by_design", "out_of_service"})


def waits(alarm: Json) -> bool:
    """True while a person still has to acknowledge it."""
    return alarm["state"] in WAITING


def ordered(alarms: Iterable[Json]) -> list[Json]:
    """Not acknowledged, acknowledged, set aside; within each the most urgent, then the oldest."""
    return sorted(alarms, key=lambda alarm: (_rank(alarm), alarm["priority"], alarm["raised"] or "", alarm["id"]))


def grouped(alarms: Iterable[Json]) -> list[tuple[str, list[Json]]]:
    """The same in its three parts, with their headings; a part without an alarm is left out."""
    parts: list[tuple[str, list[Json]]] = [(heading, []) for heading in GROUPS]
    for alarm in ordered(alarms):
        parts[_rank(alarm)][1].append(alarm)
    return [part for part in parts if part[1]]


def standing_first(alarms: Iterable[Json]) -> list[Json]:
    """For a line that has room for one alarm: a cause that still stands comes before one that has gone."""
    return sorted(
        alarms, key=lambda alarm: (_rank(alarm), _gone(alarm), alarm["priority"], alarm["raised"] or "", alarm["id"])
    )


def _gone(alarm: Json) -> bool:
    """True when its cause no longer stands."""
    return bool(alarm["returned"])


def _rank(alarm: Json) -> int:
    return 0 if waits(alarm) else 2 if alarm["state"] in ASIDE else 1


def name_of(alarm: Json) -> str:
    """The alarm's own name, else that of its condition."""
    return str(alarm.get("name") or CONDITIONS.get(alarm["condition"], alarm["condition"]))


def state_words(alarm: Json, now: str, zone: ZoneInfo) -> str:
    """The state; what hides an alarm says until when, or while what."""
    hide = next((hide for hide in alarm.get("hides", ()) if hide["state"] == alarm["state"]), None)
    word = STATES.get(alarm["state"], alarm["state"])
    if hide is None:
        return word
    if hide["until"]:
        return PAGE["shelved_until"].format(time=until(hide["until"], now, zone))
    return f"{word}, {hide['reason']}" if alarm["state"] == "suppressed_by_design" else word


def hidden_words(alarm: Json, now: str, zone: ZoneInfo) -> list[str]:
    """By whom and why an alarm is hidden, one line for each reason."""
    lines = []
    for hide in alarm.get("hides", ()):
        since = moment(hide["since"], now, zone)
        if hide["state"] == "suppressed_by_design":
            lines.append(PAGE["suppressed_since"].format(rule=hide["reason"], time=since))
            continue
        text = PAGE["hidden_by"].format(what=STATES[hide["state"]], name=hide["by"], time=since, reason=hide["reason"])
        if hide["until"]:
            text += PAGE["hidden_until"].format(time=until(hide["until"], now, zone))
            text += PAGE["one_shot"] if alarm.get("one_shot") else ""
        lines.append(text)
    return lines


def can(alarm: Json) -> list[str]:
    """The acts that its state admits, by their names in the address."""
    hidden = {hide["state"] for hide in alarm.get("hides", ())}
    acts = ["acknowledge"] if waits(alarm) else []
    if alarm["state"] == "latched_acknowledged":
        acts.append("reset")
    acts.append("unshelve" if "shelved" in hidden else "shelve")
    if alarm.get("test"):
        under_way = alarm["test"]["under_way"]
        acts += ["test/end"] if under_way else [] if hidden or alarm.get("active") else ["test"]
    acts.append("return-to-service" if "out_of_service" in hidden else "remove-from-service")
    return acts


def sounding(alarms: Iterable[Json]) -> list[str]:
    """What the sound calls for, the most urgent first: priority, alarm and occurrence."""
    return [f"{a['priority']}:{a['id']}#{a['occurrence']}" for a in ordered(alarms) if a["state"] in AUDIBLE][
        :MOST_SOUNDING
    ]


def tab(alarm: Json | None) -> Json:
    """The mark on the tape and in lists: strokes for the priority, fill for the state; none = empty."""
    return {"p": str(alarm["priority"]), "s": alarm["state"]} if alarm else {"p": "", "s": ""}


def head(alarms: Sequence[Json], places: dict[str, str]) -> Json:
    """The line at the head of every page: the alarm that wants a person first, and how many more wait."""
    waiting = [alarm for alarm in standing_first(alarms) if waits(alarm)]
    if waiting:
        first = waiting[0]
        more = PAGE["also_waiting"].format(count=len(waiting) - 1) if len(waiting) > 1 else ""
        return {**tab(first), "text": f"{place_of(first, places)}: {name_of(first)}", "more": more}
    standing = sum(alarm["state"] not in ASIDE for alarm in alarms)
    more = PAGE["alarms_acknowledged"].format(count=standing) if standing else ""
    return {**tab(None), "text": PAGE["nothing_standing"], "more": more}


def place_of(alarm: Json, places: dict[str, str]) -> str:
    """Where it is, by its tank's name; the source's id where the site knows no better name."""
    source = str(alarm["source"])
    return places.get(alarm.get("tank") or source, source)


def proved(test: Json | None, now: str, zone: ZoneInfo) -> list[str]:
    """How an alarm was last proved, in lines; the first one says so where that is too long ago."""
    if test is None:
        return []
    lines = []
    if test["overdue"]:
        lines.append(PAGE["test_overdue" if test["last"] else "test_never"].format(day=test["due"]))
    if test["under_way"]:
        run = test["under_way"]
        lines.append(PAGE["test_runs"].format(name=run["by"], means=run["means"], time=until(run["until"], now, zone)))
    newest = test["newest"]
    if newest:
        took = "" if newest["raised_s"] is None else f"{number(newest['raised_s'], 1)}{NBSP}s"
        word = PAGE["test_passed" if newest["passed"] else "test_failed"].format(took=took)
        lines.append(f"{word}, {newest['means']}, {newest['by']}, {moment(newest['time'], now, zone)}")
    elif test["last"]:
        lines.append(PAGE["test_last"].format(day=test["last"]))
    if test["method"]:
        lines.append(test["method"])
    return lines


def view(alarm: Json, places: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    """One alarm in the list."""
    source = str(alarm["source"])
    return {
        **tab(alarm),
        "id": alarm["id"],
        "occurrence": alarm["occurrence"],
        "name": name_of(alarm),
        "place": place_of(alarm, places),
        "tank": alarm.get("tank") or "",
        "source": source,
        "loop": source if alarm.get("tank") not in (None, "", source) else "",
        "urgency": URGENCY.get(alarm["priority"], ""),
        "state": state_words(alarm, now, zone),
        "hidden": hidden_words(alarm, now, zone),
        "aside": alarm["state"] in ASIDE,
        "now": PAGE["condition_on" if alarm.get("active") else "condition_off"],
        "can": " ".join(can(alarm)),
        "test": proved(alarm.get("test"), now, zone),
        "overdue": bool(alarm.get("test") and alarm["test"]["overdue"]),
        "waits": waits(alarm),
        "raised": PAGE["raised"].format(time=moment(alarm["raised"], now, zone)) if alarm["raised"] else "",
        "returned": PAGE["returned"].format(time=moment(alarm["returned"], now, zone)) if alarm["returned"] else "",
        "age": age(alarm["raised"], now),
        "by": _by(alarm, now, zone),
        "comment": alarm.get("comment") or "",
        "action": alarm.get("action") or "",
        "respond": alarm.get("respond") or "",
        "cause": alarm.get("cause") or "",
        "consequence": alarm.get("consequence") or "",
        "not_independent": bool(alarm.get("not_independent")),
    }


def _by(alarm: Json, now: str, zone: ZoneInfo) -> str:
    who = alarm.get("acknowledged_by")
    if not who:
        return ""
    when = moment(alarm["acknowledged"], now, zone) if alarm.get("acknowledged") else ""
    return f"{PAGE['by'].format(name=who)} {when}".rstrip()


def age(since: str | None, now: str) -> str:
    return duration((parse_time(now) - parse_time(since)).total_seconds()) if since else ""


def revision(alarms: Iterable[Json], tests: Iterable[str] = ()) -> str:
    """Changes whenever the list has to be drawn anew. tests: the alarms that are being tested."""
    text = "|".join(
        f"{alarm['id']},{alarm['occurrence']},{alarm['priority']},{alarm['state']},{alarm.get('comment') or ''}"
        f",{alarm.get('active')},{[tuple(hide.values()) for hide in alarm.get('hides', ())]}"
        for alarm in ordered(alarms)
    )
    text += "".join(f"|{alarm}" for alarm in tests)
    return sha256(text.encode()).hexdigest()[:12]


def history_view(row: Json, places: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    """One transition in the history."""
    return {
        "time": moment(row["time"], now, zone),
        "name": name_of(row),
        "place": places.get(row["source"], row["source"]),
        "event": EVENTS.get(row["event"], row["event"]),
        "state": STATES.get(row["state"], row["state"]),
        "p": str(row["priority"]),
        "s": row["state"],
        "by": row.get("by") or "",
        "comment": row.get("comment") or "",
    }
