"""The papers of the stock book."""

from typing import Protocol

from console.facts.answers import Json


class DocumentFacts(Protocol):
    """Documents."""

    def document_facts(self) -> Json:
        """What papers of the stock book may say: ``{today, tanks, owners, places, meters, kinds, closed}``.

        `today`: the site's day, YYYY-MM-DD. `tanks`: ``{id, name, product}``. `places`: ``{id, name, kind, product}``.
        `meters`: ``{id, name, tank, direction, counts, factor}``. `kinds`: by kind ``{needs, may}``, names of fields;
        `closed`: by product the last day that is closed, "" for none.
        """
        ...

    async def documents(self, question: Json) -> list[Json]:
        """Documents of first <= day < before, by day and number.

        question: ``{first, before, tank, kind, undone}``, days or None, `undone`: with undone ones. Each: the fields of
        `inventory.documents.Document` (`time` ISO), `entry` (number in the record book), `undone` ``{by, time, comment,
        instead}`` or None, `said` (what the paper itself said, by field), `open` (it can be undone), `put_right_by`.
        """
        ...

    async def document_moves(self, first: str, before: str, tank: str | None) -> list[Json]:
        """Of first <= day < before, each tank's day with a paper or a movement, `way` "in" and "out" apart.

        Each: ``{day, tank, way, documents, others, movements, standard, paper_m3, moved_m3, u95_m3, difference_m3,
        verdict}``. `documents`: numbers of its papers, `others`: of transfer notes whose other end it is; `movements`:
        ``[{number, kind, start, end, gov_m3, gsv_m3, gsv_u95_m3, document}]`` with the one paper that each fits, or
        None; `standard`: volumes at the reference temperature, else as observed; `difference_m3`: gauge less papers, as
        sizes; `verdict`: "agree" (within the gauge's own ±), "apart", "no movement", "no paper", "not known".
        `like_movement`, `like_document`: the number of the one movement, or paper, that is as large as the difference.
        """
        ...

    async def documents_csv(self, question: Json) -> str:
        """The same as CSV that can be read in again; undone ones are left out."""
        ...

    async def document(self, number: int) -> Json | None:
        """One document that stands, as the record book has it; None where there is none."""
        ...
