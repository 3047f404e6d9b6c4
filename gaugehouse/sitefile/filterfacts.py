"""The filter of a tank's level: what its keys mean together, and the value that the core runs."""

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.schema import FilterTable
from models.filters import FilterKind, FilterSpec


def check_filter(draft: Draft, key: str, table: FilterTable | None) -> None:
    """Tell a filter without its one figure, with that of another kind, or a median of an even number."""
    if table is None or table.kind is None:
        return
    wanted, other = ("time_constant", "polls") if table.kind is FilterKind.FIRST_ORDER else ("polls", "time_constant")
    if getattr(table, other) is not None:
        text = f'this key does not go with kind = "{table.kind}"; remove it'
        draft.report.error(f"{key}.{other}", text, found=getattr(table, other))
    if getattr(table, wanted) is None and draft.report_is_clean(f"{key}.{wanted}"):
        example = 'time_constant = "10 s"' if wanted == "time_constant" else "polls = 5"
        draft.report.error(f"{key}.{wanted}", f'missing; kind "{table.kind}" needs it, add a line such as {example}')
    elif table.kind is FilterKind.MEDIAN and table.polls is not None and table.polls % 2 == 0:
        text = f"a median runs over an odd number of polls, so that it has a middle; write {table.polls + 1}"
        draft.report.error(f"{key}.polls", text, found=table.polls, allowed="3, 5, 7 ...")


def filter_of(table: FilterTable | None) -> FilterSpec | None:
    """A checked table as the core runs it."""
    return None if table is None else FilterSpec(table.kind, (table.time_constant or 0) / 1000, table.polls or 1)
