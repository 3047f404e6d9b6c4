"""Documents as people read them: a line of the list, and the fields of the form. Refuses to sum."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from console import document_words as words
from console.facts import Json
from console.figures import NOTHING, moment, number

STANDS: Final = ("opening balance", "outside stock")


def litres(value: float | None, *, signed: bool) -> str:
    """A volume to 0.1 L where it has such a part: a paper of whole litres looks like one."""
    if value is None:
        return NOTHING
    places = 0 if round(1000 * value, 1) == round(1000 * value) else 1
    return number(1000 * value, places, signed=signed)


def row(document: Json, names: Json, now: str, zone: ZoneInfo) -> Json:
    """One document. names: ids to names of tanks, places and owners."""
    signed = document["kind"] not in STANDS
    temperature, density = document["temperature_degC"], document["density_kg_m3"]
    place = document["details"].get("place", "")
    undone = document["undone"]
    return {
        "number": document["number"],
        "day": document["day"],
        "kind": document["kind"],
        "paper": document["paper"],
        "where": names.get(document["tank"] or place, document["tank"] or place),
        "observed": litres(document["observed_m3"], signed=signed),
        "standard": litres(document["standard_m3"], signed=signed),
        "temperature": NOTHING if temperature is None else number(temperature, 1),
        "density": NOTHING if density is None else number(density, 1),
        "by": document["by"],
        "time": moment(document["time"], now, zone),
        "notes": "; ".join(notes(document, names)),
        "undone": undone is not None,
        "can_undo": document["open"],
        "can_correct": undone is None and not document["put_right_by"] and "reverses" not in document["details"],
        "said": document["said"],
    }


def notes(document: Json, names: Json) -> list[str]:
    """What a document tells beside its figures."""
    details: Json = document["details"]
    said = [words.OWNER.format(owner=names.get(document["owner"], document["owner"]))] if document["owner"] else []
    if "drawn_m3" in details:
        parts = {name: litres(details.get(f"{name}_m3"), signed=False) for name in ("drawn", "water", "fuel")}
        said.append(words.DRAWN.format(**parts))
    if "meter_closing_m3" in details:
        opening, closing = (number(details[f"meter_{name}_m3"], 3) for name in ("opening", "closing"))
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


def form(facts: Json) -> Json:
    """The fields of the form with what may be chosen, and which of them a kind has."""
    options: dict[str, list[tuple[str, str]]] = {
        "tank": [(one["id"], f"{one['name']} · {one['product']}") for one in facts["tanks"]],
        "place": [(one["id"], f"{one['name']} · {one['product']}") for one in facts["places"]],
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
            "unit": "volume" if name in words.VOLUMES else {"temperature": "°C", "density": "kg/m³"}.get(name, ""),
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
