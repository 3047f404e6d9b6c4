"""The `[stock.dips]` table of the site file: how the site dips its tanks, and how near a gauge must come to a dip."""

from typing import Annotated

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import milliseconds, quantity
from gaugehouse.sitefile.table import Table, Text
from inventory.dips import DipRules

_DEFAULT = DipRules()


class DipsTable(Table):
    """Hand dips, water finding and density samples."""

    repeat_within: Annotated[float, quantity("m", "3 mm", 0, 0.003)] = _DEFAULT.three_within_m
    relaxation: Annotated[int, milliseconds("30 min", 60, 86_400)] = _DEFAULT.relaxation_ms
    waited_by_name: bool = _DEFAULT.waited_by_name
    water_max_age: Annotated[int, milliseconds("36 h", 600, 31 * 86_400)] = _DEFAULT.water_max_age_ms
    every: Annotated[int, milliseconds("31 d", 3600, 366 * 86_400)] = _DEFAULT.every_ms
    limit: Annotated[float, quantity("m", "8 mm", 0.0005, 0.1)] | None = None
    limit_source: Text | None = None
    doubt: Annotated[float, quantity("m", "2 mm", 0.0001, 0.05)] = _DEFAULT.doubt_m
    certificate_limit: Annotated[float, quantity("kg/m3", "3 kg/m3", 0.1, 20)] = _DEFAULT.certificate_kgpm3
    tape_true_at: f.Temperature = _DEFAULT.tape_degC


def dip_rules_of(table: DipsTable) -> DipRules:
    """The site's rules of dips; a limit of its own comes with its own source."""
    own = table.limit is not None
    return DipRules(
        three_within_m=table.repeat_within,
        relaxation_ms=table.relaxation,
        waited_by_name=table.waited_by_name,
        water_max_age_ms=table.water_max_age,
        every_ms=table.every,
        limit_m=_DEFAULT.limit_m if table.limit is None else table.limit,
        limit_source=(table.limit_source or "") if own else _DEFAULT.limit_source,
        doubt_m=table.doubt,
        certificate_kgpm3=table.certificate_limit,
        tape_degC=table.tape_true_at,
    )
