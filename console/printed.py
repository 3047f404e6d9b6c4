"""A record on paper as the API answers it: a PDF to be saved under a name."""

from typing import Annotated, Any

from fastapi import Query, Response

from console.facts import PaperSize
from console.problems import Refused

Size = Annotated[PaperSize, Query()]


def on_paper(words: str) -> dict[int | str, dict[str, Any]]:
    """The answer of such a route, as the API describes it."""
    return {200: {"content": {"application/pdf": {}}, "description": words}}


def printed(paper: bytes | None, name: str, missing: str) -> Response:
    """The paper itself. Raises `Refused` with the words for one that there is not."""
    if paper is None:
        raise Refused(404, missing)
    return Response(
        paper, media_type="application/pdf", headers={"Content-Disposition": f'attachment; filename="{name}.pdf"'}
    )
