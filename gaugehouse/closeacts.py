"""What a person does to end a day or a month of the stock book: sign its figures, which locks its documents.

The figures are made where the readings can be read (`gaugehouse.bookclose`) and come with the act; here it is decided
whether they may still be signed: nothing closed before, in order, and no document that has come or gone since. Decides
by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of
from gaugehouse.closerecords import CLOSE
from gaugehouse.closeroom import DAY, MONTH, Closed
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core


class CloseStock(NamedTuple):
    """A named person signs the figures of a product's day or month.

    through: the last day that is closed. papers: the numbers of the open documents that the figures are made of.
    figures: everything that is signed, JSON-ready.
    """

    period: str
    name: str
    through: str
    product: str
    by: str
    comment: str
    papers: tuple[int, ...]
    figures: Json

    def apply(self, core: "Core", at: Instant) -> Outcome:
        before = core.closes.closed(self.product, self.period, self.name)
        body: Json = {"period": self.period, "name": self.name, "product": self.product}
        if before is not None:
            told = body | {"by": before.by, "time": iso_ms(before.time_ms)}
            return Outcome(Answer(Taken.ALREADY, f"{self.name} was closed before by {before.by}", told))
        open_ = [
            one.number for one in core.documents.all() if one.product == self.product and one.day <= self.through
        ]  # fmt: skip
        if sorted(open_) != sorted(self.papers):
            text = "documents have come or gone since the figures were made; look at them again, then sign"
            return refused(text)
        if at.time_ms < self.figures["end_ms"]:
            return refused(f"{self.name} is not over yet; close it when its last day has ended")
        core.documents.close(self.through, self.product)
        closed = Closed(self.period, self.name, self.through, self.by, at.time_ms)
        core.closes.sign(self.product, closed)
        entry = body | {"through": self.through, "by": self.by, "comment": self.comment} | self.figures
        answer = Answer(Taken.DONE, "", body | {"by": self.by, "time": iso_ms(at.time_ms), "head": entry["head"]})
        return Outcome(answer, [Decision(CLOSE, entry)])


NEEDED: Final = ("head", "end_ms", "stands", "owners", "rows", "edition", "reference_degC")


def close_of(fields: Json) -> CloseStock:
    period = text_of(fields, "period")
    if period not in (DAY, MONTH):
        raise CallError(f"period is {period!r}; write day or month")
    figures: Any = fields.get("figures")
    papers: Any = fields.get("papers")
    if not isinstance(figures, dict) or any(name not in figures for name in NEEDED):
        raise CallError("figures are missing; a close is made by `gaugehouse close` or by POST /api/stock/close")
    if not isinstance(papers, list | tuple) or any(not isinstance(one, int) for one in papers):
        raise CallError("papers are missing: the numbers of the documents that the figures are made of")
    return CloseStock(
        period, text_of(fields, "name"), text_of(fields, "through"), text_of(fields, "product"), text_of(fields, "by"),
        text_of(fields, "comment", ""), tuple(papers), figures,
    )  # fmt: skip


CLOSE_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"close_stock": close_of}
"""By their names; see `gaugehouse.acts.ACTS`."""
