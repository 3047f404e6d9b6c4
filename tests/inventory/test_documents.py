import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.documents import Document, DocumentKind, document_from, document_json

volume = st.none() | st.floats(-1e6, 1e6)


@given(st.sampled_from(DocumentKind), volume, volume, st.none() | st.integers(1, 9), st.text(max_size=8))
def test_a_document_comes_back_from_the_record_book_as_it_was(
    kind: DocumentKind, observed: float | None, standard: float | None, corrects: int | None, paper: str
) -> None:
    document = Document(
        7, kind, "2026-02-03", 1_770_000_000_000, "north", "jet-a1", "", paper, observed, standard, 31.5, None, "Ana",
        "by phone", corrects, {"batch": "B-1"},
    )  # fmt: skip
    assert document_from(json.loads(json.dumps(document_json(document)))) == document


def test_a_kind_nobody_knows_is_refused() -> None:
    body = document_json(
        Document(1, DocumentKind.TICKET, "2026-02-03", 0, "north", "jet-a1", "", "", -1.0, None, None, None, "Ana")
    )
    with pytest.raises(ValueError, match="gift"):
        document_from(body | {"kind": "gift"})
