"""Check values of the stock mathematics as parameters: each test's id says how far its figure is to be trusted."""

from collections.abc import Callable

import pytest

from models import vcf
from models.groups import Commodity
from tests.reference import rows

WATER = 999.016
"""kg/m3 at 60 degF: API MPMS Ch. 11.1-2004."""
KPA = {"psig": 6.894757, "kPa": 1.0, "bar": 100.0}
BASES = {"60F": vcf.SIXTY_DEGF, "15C": 15.0, "20C": 20.0}


def trust(row: dict[str, str]) -> str:
    """published, secondary, computed or from memory: in the words of the row's own status or tag."""
    word = (row.get("status") or row.get("tag") or "").lower()
    for sign, name in (("memory", "from-memory"), ("do not use", "caution"), ("secondary", "secondary")):
        if sign in word:
            return name
    if word.startswith(("computed", "[computed")):
        return "computed"
    return "published"


def cases(
    name: str, keep: Callable[[dict[str, str]], bool] = lambda row: True, *, trusted: str | None = None
) -> list[object]:
    """The kept rows of a file, with ids such as `published-fr01`. Keeping none is a mistake.

    trusted: says how far the rows are to be trusted where the file's own words do not.
    """
    kept = [row for row in rows(f"stock/{name}.csv") if keep(row)]
    assert kept, f"{name}: no row is kept"
    return [
        pytest.param(
            row, id=f"{trusted or trust(row)}-{row.get('id') or '-'.join(list(row.values())[:2])}".replace(" ", "_")
        )
        for row in kept
    ]


def kgpm3(value: str, unit: str) -> float:
    number = float(value)
    return {"kg/m3": number, "RD60": number * WATER, "degAPI": 141.5 / (number + 131.5) * WATER}[unit]


def degC(value: str, unit: str) -> float:
    return (float(value) - 32) / 1.8 if unit == "degF" else float(value)


def kPa(value: str, unit: str) -> float:
    return float(value or 0) * KPA[unit]


def commodity(word: str) -> Commodity:
    return Commodity.SPECIAL if word == "special_alpha" else Commodity(word)
