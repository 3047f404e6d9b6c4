"""What people do to documents: add one, add a file of them, undo, put right, take out again.

While a document's day is open it can be undone, and putting it right puts a new document in its place. Once the day is
closed it stays as it is: putting it right takes its volumes out again by a document of an open day and writes the right
ones there too, so that each document that stands always counts with its own volumes on its own day. Decides by the
core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.actfields import whole_of
from gaugehouse.documentcsv import Row, rows_of
from gaugehouse.documentfields import QUANTITIES, Mistake, draft_of_fields, fields_of
from gaugehouse.documentjudging import judged, today_of, unseen_note
from gaugehouse.errors import CallError
from inventory.documentdraft import Draft, document_of, draft_of, said_of
from inventory.documentguards import Finding, Weight
from inventory.documents import Document, DocumentKind, document_from, document_json
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

DOCUMENT: Final = "document"
UNDONE: Final = "document_undone"
"""The kinds of the record book's entries."""

SURE: Final = "say it again with `sure` if it is so"
MOST_ROWS: Final = 2000
"""Rows of a file: all are decided in one tick, and nothing else is meanwhile (some 0.4 ms a row)."""


class Tried(NamedTuple):
    """What became of one paper: a document, or what stands in its way."""

    document: Document | None
    mistakes: Sequence[Mistake] = ()
    questions: Sequence[Mistake] = ()
    note: str = ""


class AddDocument(NamedTuple):
    """A person writes a paper down."""

    fields: Json
    by: str
    sure: bool

    def apply(self, core: "Core", at: Instant) -> Outcome:
        tried = _try(core, at, self.fields, self.by, self.sure)
        if tried.document is None:
            return _held_up(tried)
        return _done([tried.document], [], tried.note)


class ImportDocuments(NamedTuple):
    """A person brings a file of papers: all of them, or none."""

    rows: Sequence[Row]
    by: str
    sure: bool

    def apply(self, core: "Core", at: Instant) -> Outcome:
        mark = core.documents.mark()
        taken: list[Document] = []
        mistakes: list[Json] = []
        questions: list[Json] = []
        for row in self.rows:
            found = list(row.mistakes)
            if not found:
                tried = _try(core, at, dict(row.fields), self.by, sure=True)
                found, asked = list(tried.mistakes), tried.questions
                questions += [_told(one, row.line, row.columns) for one in asked]
                if tried.document is not None:
                    taken.append(tried.document)
            mistakes += [_told(one, row.line, row.columns) for one in found]
        if mistakes or (questions and not self.sure):
            core.documents.rewind(mark)
            lines = len({one["row"] for one in mistakes or questions})
            what = f"{len(mistakes)} mistakes" if mistakes else f"{len(questions)} questions"
            mend = "mend them in the file" if mistakes else SURE
            text = f"nothing was taken: {what} in {lines} of {len(self.rows)} rows; {mend}"
            return refused(text, {"mistakes": mistakes, "questions": questions})
        decisions = [Decision(DOCUMENT, document_json(one)) for one in taken]
        numbers = [one.number for one in taken]
        return Outcome(Answer(Taken.DONE, "", {"count": len(taken), "numbers": numbers}), decisions)


class UndoDocument(NamedTuple):
    """A person takes a document of an open day out: it was never right."""

    number: int
    by: str
    comment: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        document = core.documents.get(self.number)
        if document is None:
            return _not_open(core, self.number)
        if document.details.get("reverses") is not None:
            others = [n for n in core.documents.taken_out_by(document.details["reverses"]) if n != self.number]
            if others:
                text = f"document {self.number} makes room for document {others[0]}; undo that one first"
                return refused(text)
        core.documents.undo(self.number)
        body: Json = {"number": self.number, "by": self.by, "comment": self.comment, "instead": None}
        told = {"number": self.number, "document": document_json(document), "by": self.by}
        return Outcome(Answer(Taken.DONE, "", told), [Decision(UNDONE, body)])


class CorrectDocument(NamedTuple):
    """A person puts a document right. fields: what is to be other than it is; old: the document, where its day is
    closed, as the record book has it; nothing: it is only taken out again, with no right one in its place."""

    number: int
    fields: Json
    by: str
    sure: bool
    old: Document | None
    nothing: bool

    def apply(self, core: "Core", at: Instant) -> Outcome:
        standing = core.documents.get(self.number)
        if standing is not None:
            return self._open(core, at, standing)
        old = self.old
        closed = old is not None and core.documents.is_closed(old.day, old.product)
        if old is None or old.number != self.number or not closed or self.number >= core.documents.next_number:
            return _not_open(core, self.number)
        right = core.documents.taken_out_by(self.number)
        if right:
            numbers = ", ".join(map(str, right))
            text = f"document {self.number} was put right by {numbers} already; correct that"
            return refused(text, {"instead": right})
        return self._closed(core, at, old)

    def _open(self, core: "Core", at: Instant, old: Document) -> Outcome:
        """The right one takes its place, in the same tick."""
        if self.nothing:
            return UndoDocument(self.number, self.by, str(self.fields.get("comment", ""))).apply(core, at)
        if old.details.get("reverses") is not None:
            text = (
                f"document {old.number} takes document {old.corrects} out again; undo it, there is nothing to put right"
            )
            return refused(text)
        fields = self._changed(old)
        tried = _try(core, at, fields, self.by, self.sure, corrects=old.number, ignoring={old.number})
        if tried.document is None:
            return _held_up(tried)
        origin = old.corrects
        follows = origin is not None and old.number in core.documents.taken_out_by(origin)
        core.documents.undo(old.number)
        if origin is not None and follows:
            core.documents.take_out(origin, tried.document.number)
        instead = tried.document.number
        body: Json = {"number": old.number, "by": self.by, "comment": "", "instead": instead}
        return _done([tried.document], [Decision(UNDONE, body)], tried.note)

    def _closed(self, core: "Core", at: Instant, old: Document) -> Outcome:
        """Its volumes are taken out on an open day, and the right ones put in."""
        today = today_of(core.site, at)
        day = str(self.fields.get("day") or today)
        comment = str(self.fields.get("comment") or f"puts right document {old.number} of {old.day}")
        room, mark = core.documents, core.documents.mark()
        fields = self._changed(old) | {"day": day, "comment": comment}
        if old.kind is DocumentKind.OUTSIDE:
            if self.nothing:
                text = "a stand of a closed day stays: write the right stand of an open day"
                return refused(text)
            tried = _try(core, at, fields, self.by, self.sure, corrects=old.number)
            return _held_up(tried) if tried.document is None else _done([tried.document], [], tried.note)
        if old.kind is DocumentKind.OPENING:
            return self._opening(core, at, old, fields)
        taken: list[Document] = []
        back = replace(draft_of(old), day=day, reverses=old.number, comment=comment)
        tried = _settle(core, at, back, self.by, self.sure, corrects=old.number)
        if tried.document is not None:
            taken.append(tried.document)
            if not self.nothing:
                ignoring = {old.number, tried.document.number}
                tried = _try(core, at, fields, self.by, self.sure, corrects=old.number, ignoring=ignoring)
                if tried.document is not None:
                    taken.append(tried.document)
        if tried.document is None:
            room.rewind(mark)
            return _held_up(tried)
        for one in taken:
            room.take_out(old.number, one.number)
        return _done(taken, [], tried.note)

    def _changed(self, old: Document) -> Json:
        """What the paper said, with what is to be other than that; a quantity by either of its names."""
        said = fields_of(said_of(old))
        for name, (field, _, _) in QUANTITIES.items():
            if name in self.fields:
                said.pop(field, None)
        return said | self.fields

    def _opening(self, core: "Core", at: Instant, old: Document, fields: Json) -> Outcome:
        """An opening balance opens the first day once; what it was wrong by is an adjustment."""
        found = draft_of_fields(core.site, fields | {"day": old.day}, old.day)
        if isinstance(found, list):
            return _held_up(Tried(None, found))
        was, right = draft_of(old), judged(core, at, found, {old.number}).draft
        off = Draft(
            kind=DocumentKind.ADJUSTMENT, day=fields["day"], product=old.product, tank=old.tank, owner=old.owner,
            observed_m3=_difference(None if self.nothing else right.observed_m3, was.observed_m3, self.nothing),
            standard_m3=_difference(None if self.nothing else right.standard_m3, was.standard_m3, self.nothing),
            comment=fields["comment"],
        )  # fmt: skip
        tried = _settle(core, at, off, self.by, self.sure, corrects=old.number)
        if tried.document is None:
            return _held_up(tried)
        core.documents.take_out(old.number, tried.document.number)
        return _done([tried.document], [], tried.note)


def _difference(right: float | None, was: float | None, nothing: bool) -> float | None:
    if nothing:
        return None if was is None else -was
    return None if right is None or was is None else right - was


def _try(
    core: "Core",
    at: Instant,
    fields: Json,
    by: str,
    sure: bool,
    *,
    corrects: int | None = None,
    ignoring: Collection[int] = (),
) -> Tried:
    """Read and judge a paper's fields; where nothing stands in the way it is in the room then."""
    found = draft_of_fields(core.site, fields, today_of(core.site, at))
    if isinstance(found, list):
        return Tried(None, found)
    return _settle(core, at, found, by, sure, corrects=corrects, ignoring=ignoring)


def _settle(
    core: "Core",
    at: Instant,
    draft: Draft,
    by: str,
    sure: bool,
    *,
    corrects: int | None = None,
    ignoring: Collection[int] = (),
) -> Tried:
    whole, findings = judged(core, at, draft, ignoring)
    refused = [_mistake(one) for one in findings if one.weight is Weight.REFUSAL]
    asked = [_mistake(one) for one in findings if one.weight is Weight.QUESTION]
    if refused or (asked and not sure):
        return Tried(None, refused, asked)
    document = document_of(whole, number=core.documents.next_number, time_ms=at.time_ms, by=by, corrects=corrects)
    core.documents.add(document)
    return Tried(document, (), asked, unseen_note(core, whole))


def _mistake(finding: Finding) -> Mistake:
    return Mistake(finding.field, finding.found, finding.allowed, finding.mend)


def _told(mistake: Mistake, line: int, columns: Mapping[str, str]) -> Json:
    """A mistake of a row, with the column as the file's head has it."""
    short = next((name for name, (field, _, _) in QUANTITIES.items() if field == mistake.column), "")
    column = columns.get(mistake.column) or columns.get(short) or mistake.column
    return {"row": line, **mistake._asdict(), "column": column}


def _held_up(tried: Tried) -> Outcome:
    """What stands in the way: all mistakes; or, where there are none, all questions."""
    text = ". ".join(one.text for one in tried.mistakes or tried.questions)
    if not tried.mistakes:
        text = f"{text}. {SURE}"
    body: Json = {
        "mistakes": [one._asdict() for one in tried.mistakes],
        "questions": [one._asdict() for one in tried.questions],
    }
    return refused(text, body)


def _done(taken: Sequence[Document], first: Sequence[Decision], note: str) -> Outcome:
    told = [document_json(one) for one in taken]
    decisions = [*first, *(Decision(DOCUMENT, one) for one in told)]
    return Outcome(Answer(Taken.DONE, note, {"documents": told, "note": note}), decisions)


def _not_open(core: "Core", number: int) -> Outcome:
    room = core.documents
    if not 1 <= number < room.next_number:
        last = room.next_number - 1
        text = f"there is no document {number}; " + (f"the last one is {last}" if last else "there is none yet")
        return unknown(text)
    text = (
        f"document {number} stands on no open day: it was undone, or its day is closed; what is closed stays as it is "
        "and is put right by a new document (correct)"
    )
    return refused(text)


PERSON: Final = ("by", "sure")


def add_of(fields: Json) -> AddDocument:
    paper = {name: value for name, value in fields.items() if name not in PERSON}
    return AddDocument(paper, text_of(fields, "by"), _sure(fields))


def import_of(fields: Json) -> ImportDocuments:
    if fields.get("csv") == "":
        raise CallError("the file is empty; write a head of the fields' names, and one row below it for each paper")
    rows = rows_of(text_of(fields, "csv"))
    if len(rows) > MOST_ROWS:
        raise CallError(f"the file has {len(rows)} rows; at most {MOST_ROWS} are taken at once, divide it")
    return ImportDocuments(rows, text_of(fields, "by"), _sure(fields))


def undo_of(fields: Json) -> UndoDocument:
    return UndoDocument(_number(fields), text_of(fields, "by"), text_of(fields, "comment", ""))


def correct_of(fields: Json) -> CorrectDocument:
    own = (*PERSON, "number", "old", "nothing")
    changed = {name: value for name, value in fields.items() if name not in own}
    nothing = bool(fields.get("nothing", False))
    if not changed and not nothing:
        raise CallError("nothing is said to be other than it is; give the fields that are wrong, or `nothing`")
    old = fields.get("old")
    try:
        before = None if old is None else document_from(old)
    except (KeyError, ValueError, TypeError) as error:
        raise CallError(f"old is no document: {error}") from error
    return CorrectDocument(_number(fields), changed, text_of(fields, "by"), _sure(fields), before, nothing)


def _sure(fields: Json) -> bool:
    return fields.get("sure", False) is True


def _number(fields: Json) -> int:
    return whole_of(fields, "number", "write a document's number, a whole one from 1 on")


DOCUMENT_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {
        "add_document": add_of,
        "import_documents": import_of,
        "undo_document": undo_of,
        "correct_document": correct_of,
    }
)
"""By their names; see `gaugehouse.acts.ACTS`."""
