"""Documents as people read them: a line of the list, and the fields of the form. Refuses to sum."""

from collections import Counter
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from console import document_words as words
from console.facts import Json
from console.figures import NBSP, NOTHING, clock, trimmed, unit, until, with_unit, written
from console.words import DAYS as DAY_NAMES
from console.words import MONTHS

STANDS: Final = ("opening balance", "outside stock")


def row(document: Json, names: Json, now: str, zone: ZoneInfo) -> Json:
    """One document. names: ids to names of tanks, places and owners."""
    signed = document["kind"] not in STANDS
    place = document["details"].get("place", "")
    undone = document["undone"]
    return {
        "number": document["number"],
        "kind": document["kind"],
        "paper": document["paper"],
        "where": names.get(document["tank"] or place, document["tank"] or place),
        "observed": trimmed("paper_m3", document["observed_m3"], signed=signed),
        "standard": trimmed("paper_m3", document["standard_m3"], signed=signed),
        "temperature": written("temperature_degC", document["temperature_degC"]),
        "density": written("density_kgpm3", document["density_kg_m3"]),
        "by": document["by"],
        "time": until(document["time"], now, zone),
        "notes": "; ".join(notes(document, names)),
        "undone": undone is not None,
        "can_undo": document["open"],
        "can_correct": undone is None and not document["put_right_by"] and "reverses" not in document["details"],
        "said": document["said"],
    }


def _volume(value: float | None) -> str:
    return NOTHING if value is None else f"{trimmed('paper_m3', value)} {unit('paper_m3')}"


def notes(document: Json, names: Json) -> list[str]:
    """What a document tells beside its figures."""
    details: Json = document["details"]
    said = [words.OWNER.format(owner=names.get(document["owner"], document["owner"]))] if document["owner"] else []
    if "drawn_m3" in details:
        parts = {name: _volume(details.get(f"{name}_m3")) for name in ("drawn", "water", "fuel")}
        said.append(words.DRAWN.format(**parts))
    if "meter_closing_m3" in details:
        opening, closing = (with_unit("meter_m3", details[f"meter_{name}_m3"]) for name in ("opening", "closing"))
        said.append(f"{names.get(details['meter'], details['meter'])}: "
                    + words.READ.format(opening=opening, closing=closing))  # fmt: skip
    for name, sentence in words.NOTES.items():
        stated = name in ("place", "meter") and (not document["tank"] or name == "meter")
        if name in details and not stated:
            said.append(sentence.format(value=names.get(details[name], details[name])))
    said += [text for name, text in words.FLAG_NOTES.items() if details.get(name)]
    if document["corrects"] is not None and "reverses" not in details:
        said.append(words.CORRECTS.format(number=document["corrects"]))
    if document["put_right_by"]:
        said.append(words.PUT_RIGHT.format(numbers=", ".join(map(str, document["put_right_by"]))))
    if document["comment"]:
        said.append(document["comment"])
    if document["undone"] is not None:
        said.append(undone(document["undone"]))
    return said


def undone(told: Json) -> str:
    parts = [words.UNDONE.format(by=told["by"])]
    if told["instead"] is not None:
        parts.append(words.INSTEAD.format(number=told["instead"]))
    if told["comment"]:
        parts.append(told["comment"])
    return ", ".join(parts)


def newest_days(found: list[Json], moves: list[Json], most: int) -> tuple[list[str], bool]:
    """The newest days with papers or movements, newest first, until there are so many papers; whether more are left."""
    counts = Counter(document["day"] for document in found)
    every = sorted({*counts, *(one["day"] for one in moves)}, reverse=True)
    shown: list[str] = []
    papers = 0
    for day in every:
        if shown and papers + counts[day] > most:
            break
        shown.append(day)
        papers += counts[day]
    return shown, len(shown) < len(every)


def days(shown: list[str], found: list[Json], moves: list[Json], names: Json, now: str, zone: ZoneInfo) -> list[Json]:
    """Days, newest first: in each its tanks, what came and what went apart, with papers and what the gauge saw."""
    return [_day(day, found, moves, names, now, zone) for day in shown]


def _day(day: str, found: list[Json], moves: list[Json], names: Json, now: str, zone: ZoneInfo) -> Json:
    papers = [document for document in reversed(found) if document["day"] == day]
    checks = {(one["tank"], one["way"]): one for one in moves if one["day"] == day}
    of = {number: key for key, one in checks.items() for number in one["documents"]}
    groups: dict[tuple[str, str], list[Json]] = {key: [] for key in checks}
    for document in papers:
        key = of.get(document["number"], _place_of(document))
        if key in checks and document["number"] not in of:  # it puts a paper of a closed day right
            key = (key[0], "")
        groups.setdefault(key, []).append(document)
    order = list(names)
    keys = sorted(groups, key=lambda key: (order.index(key[0]) if key[0] in order else -1, WAYS.index(key[1])))
    return {
        "day": day,
        "title": day_title(day),
        "count": len(papers),
        "groups": [_group(key, groups[key], checks.get(key), names, now, zone) for key in keys],
    }


WAYS: Final = ("in", "out", "")


def _place_of(document: Json) -> tuple[str, str]:
    """Where a paper stands that answers to no movement: by its tank or place, and its way where it has one."""
    volume = document["standard_m3"] if document["standard_m3"] is not None else document["observed_m3"]
    mends = "reverses" in document["details"]
    moves = document["kind"] in words.MOVING and document["undone"] is None and volume and not mends
    return document["tank"] or document["details"].get("place", ""), ("in" if volume > 0 else "out") if moves else ""


def _group(key: tuple[str, str], papers: list[Json], check: Json | None, names: Json, now: str, zone: ZoneInfo) -> Json:
    tank, way = key
    seen = {} if check is None else {
        one["document"]: _move(one, zone) for one in check["movements"] if one["document"] is not None
    }  # fmt: skip
    counted = check if check is not None and (papers or check["others"]) else None
    total = "" if counted is None else trimmed("paper_m3", counted["paper_m3"], signed=True)
    rows = [row(one, names, now, zone) | {"seen": seen.get(one["number"], "")} for one in papers]
    return {
        "name": words.WAYS[way].format(where=names.get(tank, tank)) if tank else words.ELSEWHERE,
        "count": words.COUNT[len(rows) == 1].format(count=len(rows)) if rows else words.NO_PAPERS,
        "others": "" if check is None or not check["others"] else words.OTHERS.format(
            numbers=", ".join(map(str, check["others"]))
        ),
        "observed": "" if counted is None or counted["standard"] else total,
        "standard": "" if counted is None or not counted["standard"] else total,
        "gauge": "" if check is None else _gauge(check, zone),
        "mark": check["verdict"] if check is not None and check["verdict"] in ("apart", "no paper") else "",
        "rows": rows,
    }  # fmt: skip


def _gauge(check: Json, zone: ZoneInfo) -> str:
    """What the gauge saw beside these papers, in a sentence."""
    moves, difference = check["movements"], check["difference_m3"]
    told = words.BESIDE[check["verdict"]].format(
        moved=with_unit("volume_m3", check["moved_m3"], signed=True),
        u95=written("volume_m3", check["u95_m3"]),
        movements=words.MOVEMENTS[len(moves) == 1].format(count=len(moves)),
        times=", ".join(_times(one, zone) for one in moves),
        apart="" if difference is None else with_unit("volume_m3", abs(difference)),
        way=words.MORE if (difference or 0.0) > 0 else words.LESS,
    )
    if check["like_document"] is not None:
        return told + words.LIKE_DOCUMENT.format(number=check["like_document"])
    like = [_move(one, zone) for one in moves if one["number"] == check["like_movement"]]
    return told + "".join(words.LIKE_MOVEMENT.format(movement=one) for one in like)


def _move(one: Json, zone: ZoneInfo) -> str:
    within = written("volume_m3", one["gsv_u95_m3"])
    return f"{written('volume_m3', one['gsv_m3'], signed=True)}{NBSP}±{NBSP}{within} {_times(one, zone)}"


def _times(one: Json, zone: ZoneInfo) -> str:
    return f"{clock(one['start'], zone)[:5]}–{clock(one['end'], zone)[:5]}"


def day_title(day: str) -> str:
    on = date.fromisoformat(day)
    return f"{DAY_NAMES[on.weekday()]} {on.day} {MONTHS[on.month - 1]} {on.year}"


def span_title(shown: list[str], first: str, before: str) -> str:
    """Which days are shown."""
    if not shown:
        last = (date.fromisoformat(before) - timedelta(days=1)).isoformat()
        return words.NONE.format(first=day_title(first), last=day_title(last))
    if len(shown) == 1:
        return day_title(shown[0])
    return words.SPAN.format(first=day_title(shown[-1]), last=day_title(shown[0]))


def form(facts: Json, products: Json) -> Json:
    """The fields of the form with what may be chosen, and which of them a kind has. products: names by tank."""
    called = {one["product"]: products.get(one["id"], one["product"]) for one in facts["tanks"]}
    options: dict[str, list[tuple[str, str]]] = {
        "tank": [(one["id"], f"{one['name']} · {called[one['product']]}") for one in facts["tanks"]],
        "place": [
            (one["id"], f"{one['name']} · {called.get(one['product'], one['product'])}") for one in facts["places"]
        ],
        "meter": [(one["id"], one["name"]) for one in facts["meters"]],
        "owner": [(one["id"], one["name"]) for one in facts["owners"]],
    }
    options |= {"to_tank": options["tank"], "from_place": options["place"]}
    fields = [
        {
            "name": name,
            "words": title,
            "options": options.get(name),
            "flag": name in words.FLAGS,
            "unit": "volume"
            if name in words.VOLUMES
            else {"temperature": "temperature_degC", "density": "density_kgpm3"}.get(name, ""),
        }
        for name, title in words.FIELDS.items()
        if name not in words.CHOICES or options[name]
    ]
    return {"fields": fields, "kinds": {kind: _fields_of(kind, takes, facts) for kind, takes in facts["kinds"].items()}}


def _fields_of(kind: str, takes: Json, facts: Json) -> list[str]:
    """Which fields of the form a kind has. A totaliser's volume follows from its readings."""
    taken = {
        name.removesuffix("_m3").removesuffix("_degC").removesuffix("_kg") for name in takes["needs"] + takes["may"]
    }
    if kind == "meter totaliser":
        taken -= {"observed", "standard", "tank"}
    if facts["owners"]:
        taken.add("owner")
    return [name for name in words.FIELDS if name in taken | {"paper", "comment"}]


def names_of(facts: Json) -> Json:
    """Ids to names."""
    kinds: Any = ("owners", "meters", "places", "tanks")
    return {one["id"]: one["name"] for kind in kinds for one in facts[kind]}
