"""What `[stock.settling]` needs of the rest of the site, and what it means: each tank's rule, who may, which points."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.settlingspec import Settling
from gaugehouse.sitefile.stock_settling import SettlingRuleTable, SettlingTable
from inventory.settling import FIXED, FLOATING, SettlingRule, SettlingRules

KEY: Final = "stock.settling"


def settling_table(draft: Draft) -> SettlingTable | None:
    """The table where it is written and could be read at least in part."""
    stock = draft.file.stock
    return None if stock is None else stock.settling


def check_settling(draft: Draft) -> None:
    """Tell what the keys of the table mean together, and what they name that is not there."""
    table = settling_table(draft)
    if table is None:
        return
    for place, rule in enumerate(table.rule or ()):
        _check_rule(draft, f"{KEY}.rule[#{place + 1}]", rule)
    for tank in table.floating_suction or ():
        draft.expect_id(f"{KEY}.floating_suction", tank, "tank")
    points = {point.id: point for point in draft.file.point or ()}
    for name in ("receiving_points", "issuing_points"):
        for point in getattr(table, name) or ():
            draft.expect_id(f"{KEY}.{name}", point, "point")
            if point in points and points[point].tank is None and draft.report_is_clean(f"point[{point}].tank"):
                text = f'point "{point}" says of no tank that it moves; add tank = "..." to [[point]] {point}'
                draft.report.error(f"{KEY}.{name}", text, found=point)
    both = set(table.receiving_points or ()) & set(table.issuing_points or ())
    for point in sorted(both):
        text = f'point "{point}" cannot tell both of receiving and of issuing; keep it in one of the two lists'
        draft.report.error(f"{KEY}.issuing_points", text, found=point)
    if table.recertify_after is not None and table.recertify_source is None:
        text = 'missing; an age limit is printed with its source, add recertify_source = "..."'
        draft.report.error(f"{KEY}.recertify_source", text)
    if draft.report_is_clean(f"{KEY}.rule") and draft.report_is_clean("tank"):
        _check_tanks(draft, table)


def _check_rule(draft: Draft, key: str, rule: SettlingRuleTable) -> None:
    error = draft.report.error
    draft.expect_id(f"{key}.product", rule.product, "product")
    if not draft.report_is_clean(key):
        return
    if (rule.time is None) == (rule.per_depth is None):
        both = rule.time is not None
        text = "two times; keep one" if both else "no time is given; write one"
        error(key, f'{text} of time = "24 h" and per_depth = "1 h/ft"', allowed="one of `time` and `per_depth`")
        return
    for name in ("at_least", "at_most"):
        if getattr(rule, name) is not None and rule.per_depth is None:
            error(f"{key}.{name}", "bounds what the depth asks for; it goes with per_depth, remove it")
    if rule.at_least is not None and rule.at_most is not None and rule.at_least > rule.at_most:
        error(f"{key}.at_least", "is longer than at_most; lower it", found=f"{rule.at_least / 3_600_000:g} h")
    if (rule.small_rise is None) != (rule.small_time is None):
        other = "small_time" if rule.small_time is None else "small_rise"
        error(f"{key}.{other}", "missing; small_rise and small_time go together, add it or remove the other")


def _check_tanks(draft: Draft, table: SettlingTable) -> None:
    rules = [_rule(draft, place, rule) for place, rule in enumerate(table.rule)]
    left = []
    for tank in draft.file.tank or ():
        suction = FLOATING if tank.id in table.floating_suction else FIXED
        if not any(rule.fits(tank.product, suction) for rule in rules):
            left.append(f'"{tank.id}" ({tank.product}, {suction} suction)')
    if left:
        tanks = ", ".join(left)
        text = f"no rule fits tank {tanks}; add one for it, or one without product and suction at the end"
        draft.report.error(f"{KEY}.rule", text)


def settling_of(draft: Draft) -> Settling | None:
    """The table of a site without mistakes, ready for the house."""
    table = settling_table(draft)
    if table is None:
        return None
    rules = [_rule(draft, place, rule) for place, rule in enumerate(table.rule)]
    found = {}
    for tank in draft.file.tank:
        suction = FLOATING if tank.id in table.floating_suction else FIXED
        rule = next(rule for rule in rules if rule.fits(tank.product, suction))
        found[tank.id] = SettlingRules(rule, table.issues_restart, table.blind_counts, table.down_counts)
    return Settling(
        found, tuple(table.early_release_by), tuple(table.needed), tuple(table.receiving_points),
        tuple(table.issuing_points), table.mixing, table.recertify_after, table.recertify_source or "",
    )  # fmt: skip


def _rule(draft: Draft, place: int, table: SettlingRuleTable) -> SettlingRule:
    written: Mapping[str, Any] = draft.raw["stock"]["settling"]["rule"][place]
    return SettlingRule(
        source=table.source,
        time_ms=table.time,
        per_m_ms=None if table.per_depth is None else 1000 * table.per_depth,
        at_least_ms=table.at_least,
        at_most_ms=table.at_most,
        small_rise_m=table.small_rise,
        small_ms=table.small_time,
        product=table.product or "",
        suction=table.suction or "",
        words=", ".join(_words(written)),
    )


_WORDS: Final[Sequence[tuple[str, str]]] = (
    ("time", "{}"),
    ("per_depth", "{} of depth"),
    ("at_least", "at least {}"),
    ("at_most", "at most {}"),
)


def _words(written: Mapping[str, Any]) -> Iterator[str]:
    """The rule with the quantities as they stand in the site file."""
    for key, words in _WORDS:
        if key in written:
            yield words.format(written[key])
    if "small_rise" in written:
        yield f"{written.get('small_time')} after a receipt that raised the level by less than {written['small_rise']}"
