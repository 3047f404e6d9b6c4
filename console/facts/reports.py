"""What the console asks of reports and of shifts handed over: a part of `console.facts.Facts`, conventions as there."""

from typing import Literal, Protocol

from console.facts.answers import Json

Form = Literal["pdf", "csv", "xlsx"]


class ReportFacts(Protocol):
    """Reports of the site."""

    def kinds(self) -> list[Json]:
        """Every report there is: ``{kind, title, what, takes}``, takes: "day", "month", "span" (also a day or a month)
        or "now"."""
        ...

    async def report(self, kind: str, asked: Json, by: str) -> Json:
        """A report that `kinds` names: ``{kind, title, site, site_name, zone, period: {name, from, to, going}, made,
        made_by, head, edition, reference_degC, simulated, fields: [{label, value}], not_done, tables, notes,
        signatures: [{label, name}]}``.

        A table: ``{name, title, columns: [{name, head, kind, unit, decimals, shown, signed, share, wide}], rows: [{by
        name}], sums, strong, empty, note}``; a column's kind is "text", "number", "time" (ISO, UTC) or "day". asked:
        ``{day, month, from, to}``, texts, "" for nothing. Raises `ValueError` with what cannot be asked.
        """
        ...

    async def file(self, kind: str, asked: Json, by: str, form: Form, size: str, table: str) -> bytes:
        """The same as a file. size: "A4", "Letter" or "" for the site's; table: of a CSV this one alone, "" for all."""
        ...

    async def handovers(self) -> list[Json]:
        """Shifts that were handed over, newest first: ``{number, by, time, from, to, notes, taken_by, taken,
        taken_notes}``, the last three empty while nobody took it over."""
        ...
