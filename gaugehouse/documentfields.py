"""What a person sends of a paper, from a page, a command or a row of a file, to a draft: every mistake at once.

Values come as JSON has them or as text. A volume is `observed_m3` as a number, or `observed` with its unit ("12000 L").
Knows the site's ids; refuses to judge whether a figure can be: `inventory.documentguards` does.
"""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from gaugehouse.site import Site
from gaugehouse.sitefile.problems import listed, nearest
from gaugehouse.sitefile.quantities import BadQuantity, parse
from inventory.documentdraft import Draft, says
from inventory.documentrules import Counts, Direction
from inventory.documents import DocumentKind

LONGEST_TEXT: Final = 500
LONGEST_PAPER: Final = 60
LARGEST_M3: Final = 1e6
_SPACED: Final = re.compile(r"\d\s+\d")

Fields = Mapping[str, Any]


class Mistake(NamedTuple):
    """What is wrong with one field. column: the field as the person wrote it."""

    column: str
    found: str
    allowed: str
    mend: str

    @property
    def text(self) -> str:
        found = f": {self.found}" if self.found else " is missing"
        return "; ".join(part for part in (f"{self.column}{found}", self.allowed, self.mend) if part)


QUANTITIES: Final[Mapping[str, tuple[str, str, str]]] = MappingProxyType(
    {
        "observed": ("observed_m3", "m3", "12000 L"),
        "standard": ("standard_m3", "m3", "11950 L"),
        "temperature": ("temperature_degC", "degC", "28.5 degC"),
        "density": ("density_kg_m3", "kg/m3", "800 kg/m3"),
        "meter_opening": ("meter_opening_m3", "m3", "10234.5 m3"),
        "meter_closing": ("meter_closing_m3", "m3", "10290 m3"),
        "water": ("water_m3", "m3", "15 L"),
        "fuel": ("fuel_m3", "m3", "5 L"),
    }
)
"""The quantities of a paper: the field in SI, its unit, an example. By the name that takes a text with its unit."""

TEXTS: Final = (
    "tank", "product", "owner", "paper", "place", "from_place", "to_tank", "meter", "went_to", "batch", "certificate",
    "customer", "authorised_by", "comment",
)  # fmt: skip
FLAGS: Final = ("returned", "rolled_over")
COLUMNS: Final = (
    "kind", "day", "tank", "product", "owner", "paper", "observed_m3", "standard_m3", "temperature_degC",
    "density_kg_m3", "place", "from_place", "to_tank", "returned", "meter", "meter_opening_m3", "meter_closing_m3",
    "meter_factor", "rolled_over", "water_m3", "fuel_m3", "went_to", "batch", "certificate", "customer",
    "authorised_by", "reverses", "comment",
)  # fmt: skip
"""Every field that a person can give, in the order of the file that documents are written to and read from."""

_WORDS: Final = {True: True, False: False, "yes": True, "true": True, "no": False, "false": False, "": False}

_VOLUMES: Final = ("observed_m3", "standard_m3", "temperature_degC", "density_kg_m3")
_ALWAYS: Final = ("kind", "day", "product", "owner", "paper", "comment", "reverses")


class Takes(NamedTuple):
    """What a kind of paper needs, and what it may say beside that and what every paper may."""

    needs: tuple[str, ...]
    may: tuple[str, ...]


TAKES: Final[Mapping[DocumentKind, Takes]] = MappingProxyType(
    {
        DocumentKind.OPENING: Takes(("tank",), _VOLUMES),
        DocumentKind.DELIVERY: Takes(("tank", "paper"), (*_VOLUMES, "batch", "certificate")),
        DocumentKind.TICKET: Takes(("paper",), (*_VOLUMES, "tank", "place", "returned", "customer")),
        DocumentKind.METER: Takes(
            ("meter", "meter_opening_m3", "meter_closing_m3"), (*_VOLUMES, "tank", "meter_factor", "rolled_over")
        ),
        DocumentKind.TRANSFER: Takes(("tank",), (*_VOLUMES, "to_tank", "place", "from_place")),
        DocumentKind.WATER_DRAW: Takes(("tank",), (*_VOLUMES, "water_m3", "fuel_m3", "place", "went_to")),
        DocumentKind.OUTSIDE: Takes(("place",), _VOLUMES),
        DocumentKind.ADJUSTMENT: Takes(("tank", "comment"), (*_VOLUMES, "authorised_by")),
    }
)


def draft_of_fields(site: Site, fields: Fields, today: str) -> Draft | list[Mistake]:
    """The draft that the fields of a paper make, or everything that is wrong with them. today: the day if none."""
    reader = _Reader(site, fields)
    draft = reader.draft(today)
    return reader.mistakes or draft


class _Reader:
    """Reads one paper's fields, gathering mistakes."""

    def __init__(self, site: Site, fields: Fields) -> None:
        self._site = site
        self._fields = {name: value for name, value in fields.items() if value is not None and value != ""}
        self.mistakes: list[Mistake] = []

    def _wrong(self, column: str, found: object, allowed: str, mend: str) -> None:
        self.mistakes.append(Mistake(column, str(found)[:80], allowed, mend))

    def draft(self, today: str) -> Draft:
        kind = self._kind()
        said: dict[str, Any] = {name: self._text(name) for name in TEXTS}
        said |= {field: self._quantity(name) for name, (field, _, _) in QUANTITIES.items()}
        said |= {name: self._flag(name) for name in FLAGS}
        said["meter_factor"] = self._number("meter_factor", 0.5, 1.5, "1.0013")
        reverses = self._number("reverses", 1, 2**31, "17")
        said["reverses"] = None if reverses is None else int(reverses)
        said["day"] = self._day(today)
        self._unknown()
        if kind is None:
            return Draft(kind=DocumentKind.ADJUSTMENT, day=today, product="")
        self._belongs(kind, said)
        self._ids(kind, said)
        return Draft(kind=kind, **said)

    def _kind(self) -> DocumentKind | None:
        value = self._fields.get("kind", "")
        words = [kind.value for kind in DocumentKind]
        if value in words:
            return DocumentKind(value)
        near = nearest(str(value), words) if value else ""
        self._wrong("kind", value, listed(words), f"write one of them{near}")
        return None

    def _text(self, name: str) -> str:
        value = self._fields.get(name, "")
        longest = LONGEST_PAPER if name == "paper" else LONGEST_TEXT
        if not isinstance(value, str) or len(value) > longest or not value.isprintable():
            self._wrong(name, value, f"a text of up to {longest} characters, in one line", "write it shorter")
            return ""
        return value.strip()

    def _day(self, today: str) -> str:
        value = self._fields.get("day", today)
        try:
            if isinstance(value, str) and date.fromisoformat(value).isoformat() == value:
                return value
        except ValueError:
            pass
        self._wrong("day", value, "a day as YYYY-MM-DD", f"write it such as {today}")
        return today

    def _flag(self, name: str) -> bool:
        value = self._fields.get(name, False)
        if isinstance(value, str):
            value = value.strip().lower()
        if isinstance(value, bool | str) and value in _WORDS:
            return _WORDS[value]
        self._wrong(name, value, '"yes" or "no"', "write one of them, or leave it empty")
        return False

    def _number(self, name: str, low: float, high: float, example: str) -> float | None:
        value = self._fields.get(name)
        if value is None:
            return None
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (TypeError, ValueError):
            number = math.nan
        if not low <= number <= high:
            mend = f"write a number such as {example}, with a point and without its unit"
            self._wrong(name, value, f"{low:g} to {high:g}", mend)
            return None
        return number

    def _quantity(self, name: str) -> float | None:
        field, unit, example = QUANTITIES[name]
        if name in self._fields and field in self._fields:
            self._wrong(name, self._fields[name], f"`{name}` or `{field}`", "keep one of them")
            return None
        bound = {"m3": LARGEST_M3, "degC": 150.0, "kg/m3": 2000.0}[unit]
        if name not in self._fields:
            plain = example.split(" ", maxsplit=1)[0]
            return self._number(field, -bound, bound, plain)
        try:
            value = parse(self._fields[name], unit, example)
        except BadQuantity as error:
            spaced = _SPACED.search(str(self._fields[name]))
            mend = "write the number without a space between its digits" if spaced else error.mend
            self._wrong(name, self._fields[name], f"such as {example}", mend)
            return None
        if not -bound <= value <= bound:
            self._wrong(name, self._fields[name], f"up to {bound:g} {unit}", "look at the unit")
            return None
        return value

    def _unknown(self) -> None:
        known = [*COLUMNS, *QUANTITIES]
        for name in self._fields:
            if name not in known:
                self._wrong(name, self._fields[name], "", f"a document has no such field{nearest(name, known)}")

    def _belongs(self, kind: DocumentKind, said: dict[str, Any]) -> None:
        takes = TAKES[kind]
        names = {field: name for name, (field, _, _) in QUANTITIES.items()}
        for field in takes.needs:
            if said[field] in ("", None) and not any(m.column in (field, names.get(field)) for m in self.mistakes):
                self._wrong(field, "", "", f"a {kind} needs it")
        allowed = {*_ALWAYS, *takes.needs, *takes.may}
        for field in COLUMNS:
            written = next((name for name in (field, names.get(field, field)) if name in self._fields), None)
            if written is None or field in allowed or said.get(field) is False:
                continue
            self._wrong(written, self._fields[written], "", f"a {kind} has none; leave it out")
            if field in said:
                said[field] = "" if isinstance(said[field], str) else None

    def _ids(self, kind: DocumentKind, said: dict[str, Any]) -> None:
        """Ids that must be known, and what follows from them: product, meter, whose fuel it is."""
        site, rules = self._site, self._site.documents
        tanks = [tank.id for tank in site.tanks]
        for name in ("tank", "to_tank"):
            self._known(name, said, tanks)
        for name in ("place", "from_place"):
            self._known(name, said, [place.id for place in rules.places])
        self._known("meter", said, [meter.id for meter in rules.meters])
        self._owner(said)
        meter = rules.meter(said["meter"])
        if meter is not None:
            if said["tank"] not in ("", meter.tank):
                self._wrong("tank", said["tank"], meter.tank, f"meter {meter.id} stands at {meter.tank}; leave it out")
            said |= {
                "tank": meter.tank,
                "meter_factor": meter.factor if said["meter_factor"] is None else said["meter_factor"],
                "meter_rolls_over_at_m3": meter.rolls_over_at_m3,
                "compensated": meter.compensated,
                "counts_in": meter.direction is Direction.IN,
                "only_checks": meter.counts is Counts.CHECK,
            }
        _ENDS.get(kind, _nothing)(self, said)
        self._product(said)

    def _known(self, name: str, said: dict[str, Any], known: Sequence[str]) -> None:
        if said[name] and said[name] not in known:
            here = listed(known) if known else "the site file names none"
            self._wrong(name, said[name], here, f"write one of its ids{nearest(said[name], known)}")
            said[name] = ""

    def _owner(self, said: dict[str, Any]) -> None:
        owners = [owner.id for owner in self._site.documents.owners]
        if not owners:
            if said["owner"]:
                self._wrong("owner", said["owner"], "", "the site file names no owners; leave it out")
        elif not said["owner"]:
            if len(owners) > 1:
                self._wrong("owner", "", listed(owners), "write whose fuel it is")
            else:
                said["owner"] = owners[0]
        else:
            self._known("owner", said, owners)

    def _product(self, said: dict[str, Any]) -> None:
        """Tank and place say which product it is; all ends of a paper hold the same one."""
        holds: list[tuple[str, str, str]] = []
        for name in ("tank", "to_tank"):
            if said[name]:
                holds.append((name, said[name], self._site.tank(said[name]).product))
        for name in ("place", "from_place"):
            place = self._site.documents.place(said[name])
            if place is not None:
                holds.append((name, place.id, place.product))
        if not holds:
            return
        product = holds[0][2]
        for name, end, other in holds[1:]:
            if other != product:
                self._wrong(name, end, f"a place for {product}", f"it holds {other}; fuels are not mixed on paper")
        if said["product"] not in ("", product):
            self._wrong("product", said["product"], product, f"{holds[0][1]} holds {product}; write that or nothing")
        said["product"] = product

    def one_of(self, said: dict[str, Any], names: Sequence[str], what: str) -> None:
        """Exactly one of some fields."""
        if any(m.column in names for m in self.mistakes):
            return
        given = [name for name in names if said[name]]
        if len(given) != 1:
            found = " and ".join(f"{name} {said[name]}" for name in given)
            self._wrong(names[0], found, f"one of {', '.join(names)}", what)


def _nothing(reader: _Reader, said: dict[str, Any]) -> None:
    """A kind whose ends need no look."""


def _ticket(reader: _Reader, said: dict[str, Any]) -> None:
    reader.one_of(said, ("tank", "place"), "write where the fuel came from")


def _transfer(reader: _Reader, said: dict[str, Any]) -> None:
    reader.one_of(said, ("to_tank", "place", "from_place"), "write the other end")
    if said["tank"] and said["to_tank"] == said["tank"]:
        reader.mistakes.append(
            Mistake("to_tank", said["to_tank"], "another tank", "nothing moves from a tank to itself")
        )


def _draw(reader: _Reader, said: dict[str, Any]) -> None:
    reader.one_of(said, ("went_to", "place"), "write where it went")


_ENDS: Final[Mapping[DocumentKind, Callable[[_Reader, dict[str, Any]], None]]] = {
    DocumentKind.TICKET: _ticket,
    DocumentKind.TRANSFER: _transfer,
    DocumentKind.WATER_DRAW: _draw,
}


def fields_of(draft: Draft) -> dict[str, Any]:
    """A draft as the fields that make it: the other way round of `draft_of_fields`."""
    takes = TAKES[draft.kind]
    wanted = {*_ALWAYS, *takes.needs, *takes.may}
    return {name: value for name in COLUMNS if name in wanted and says(value := getattr(draft, name))}
