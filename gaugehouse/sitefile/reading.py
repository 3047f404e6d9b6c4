"""TOML text to the tables of `schema`, with every mistake worded for the person who wrote the file.

Where something is wrong the sound part is kept, so that mistakes between keys are told in the same run.
"""

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from gaugehouse.sitefile.problems import Report, listed, nearest, shown
from gaugehouse.sitefile.schema import SiteFile
from gaugehouse.sitefile.table import Table

T = TypeVar("T", bound=Table)
Loc = tuple[int | str, ...]
Raw = Mapping[str, Any]

_KINDS = {
    "string_too_short": "a text that is not empty",
    "string_type": 'a text in quotes, such as "abc"',
    "bool_type": "true or false (without quotes)",
    "int_type": "a whole number (without quotes)",
    "float_type": "a number (without quotes)",
    "finite_number": "a finite number",
    "greater_than": "a number above {gt}",
    "greater_than_equal": "a number from {ge} up",
    "less_than_equal": "a number up to {le}",
    "less_than": "a number below {lt}",
    "too_short": "{min_length} or more",
    "too_long": "{max_length} at most",
}
_SEVERAL = (
    "bus", "instrument", "product", "tank", "meter", "point", "notify", "supply", "supply.load", "instrument.signal",
    "store.server", "stock.settling.rule",
    "stock.documents.owner", "stock.documents.place", "stock.documents.meter",
)  # fmt: skip
_NEVER_HERE = (
    "a password never stands in the site file; name a file with `password_file` or a variable with `password_env`"
)
_NOR_THAT = "a token never stands in the site file; name a file with `token_file` or a variable with `token_env`"
_HINTS = {"password": _NEVER_HERE, "passwd": _NEVER_HERE, "secret": _NEVER_HERE, "token": _NOR_THAT}


def read_text(text: str, report: Report) -> tuple[SiteFile, Raw] | None:
    """The site file's tables, kept in part where they have mistakes; None where the text is no TOML at all."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        report.error("", f"this is no valid TOML: {exc}; mend that line (text goes in quotes, one key a line)")
        return None
    return read_tables(SiteFile, raw, report), raw


def read_tables(model: type[T], raw: Raw, report: Report) -> T:
    """One model from its raw table; each mistake goes to the report."""
    try:
        return model.model_validate(raw)
    except ValidationError as exc:
        for error in exc.errors(include_url=False):
            _tell(model, error, raw, report)
        return _in_part(model, raw, [error["loc"] for error in exc.errors(include_url=False)])


def _in_part(model: type[T], raw: object, bad: Sequence[Loc]) -> T:
    """The sound keys of a table with mistakes; the rest is None."""
    table = model.model_construct()
    given = raw if isinstance(raw, Mapping) else {"at": raw} if "at" in model.model_fields else {}
    for name, info in model.model_fields.items():
        wrong = [loc[1:] for loc in bad if loc and loc[0] == name]
        value: Any = None
        if not wrong and name in given:
            one = model.__pydantic_validator__.validate_assignment(model.model_construct(), name, given[name])
            value = getattr(one, name)
        elif not wrong and not info.is_required():
            value = info.get_default(call_default_factory=True)
        elif wrong and name in given:
            value = _sound_part(info.annotation, given[name], wrong)
        object.__setattr__(table, name, value)
    return table


def _sound_part(annotation: Any, raw: Any, wrong: Sequence[Loc]) -> Any:
    inner = next((a for a in (annotation, *get_args(annotation)) if isinstance(a, type) and issubclass(a, Table)), None)
    several = get_origin(annotation) is list
    if inner is None or several is not isinstance(raw, list):
        return [] if several else None
    if not several:
        return _in_part(inner, raw, [loc for loc in wrong if loc]) if isinstance(raw, Mapping) else None
    parts = []
    for index, item in enumerate(raw):
        mine = [loc[1:] for loc in wrong if loc and loc[0] == index]
        if isinstance(item, Mapping):
            parts.append(_in_part(inner, item, mine) if mine else inner.model_validate(item))
    return parts


def _tell(model: type[Table], error: ErrorDetails, raw: Raw, report: Report) -> None:
    """One of pydantic's errors as a Problem."""
    kind, loc, context = error["type"], error["loc"], error.get("ctx", {})
    key, table = key_of(loc, raw), _model_at(model, loc[:-1])
    found = "" if kind == "missing" else shown(error["input"])
    if kind == "extra_forbidden":
        name, known = str(loc[-1]), list(table.model_fields)
        near = nearest(name, known).removeprefix("; ")
        mend = _HINTS.get(name.lower()) or f"{near or 'remove it;'} known here are {listed(known)}"
        report.error(key, f"unknown key; {mend}", found=name, allowed=listed(known))
    elif kind == "missing":
        name = str(loc[-1])
        example = (table.model_fields[name].examples or [""])[0]
        mend = f"add {example}" if str(example).startswith("[") else f"add a line such as {name} = {example}"
        report.error(key, f"missing; {mend}", allowed=str(example))
    elif kind == "site_file":
        report.error(key, str(context["said"]), found=found, allowed=str(context["allowed"]))
    elif kind in ("list_type", "model_type", "model_attributes_type"):
        report.error(key, _brackets(loc, kind), found=found)
    else:
        allowed = _KINDS.get(kind, "").format_map(context) or error["msg"]
        if kind == "literal_error":
            allowed = str(context.get("expected", ""))
        report.error(key, f"found {found}; write {allowed}", found=found, allowed=allowed)


def _brackets(loc: Loc, kind: str) -> str:
    name = ".".join(str(part) for part in loc if isinstance(part, str))
    if kind == "list_type" or (loc and isinstance(loc[-1], int)):
        is_table = name in _SEVERAL
        return f"write [[{name}]] with double brackets: there may be several" if is_table else "write a list in [ ]"
    return f"this must be a table: write [{name}] with single brackets, and its keys below"


def _model_at(model: type[Table], loc: Loc) -> type[Table]:
    """The model that a location lies in."""
    for part in loc:
        info = model.model_fields.get(str(part))
        if info is None:
            continue
        for option in (info.annotation, *get_args(info.annotation)):
            if isinstance(option, type) and issubclass(option, Table):
                model = option
    return model


def key_of(loc: Loc, raw: object) -> str:
    """The path of a key as people name it: ``tank[t1].limits.high``. Stops where the file itself goes no deeper."""
    path, here = "", raw
    for depth, part in enumerate(loc):
        if isinstance(part, int):
            here = here[part] if isinstance(here, list) and part < len(here) else None
            path += f"[{label(here, part)}]" if isinstance(here, Mapping) else f"[#{part + 1}]"
            continue
        if depth and not isinstance(here, (Mapping, list)):
            break
        path += f".{part}" if path else part
        here = here.get(part) if isinstance(here, Mapping) else None
    return path


def label(item: Mapping[str, Any], index: int) -> str:
    """An item's id or name, or its place in the file where it has none."""
    for key in ("id", "name"):
        if isinstance(item.get(key), str):
            return str(item[key])
    return f"#{index + 1}"
