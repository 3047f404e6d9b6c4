"""Lists in pages: at most `limit` rows, and where there are more, the next page's address in the Link header.

Source: RFC 8288 (Web Linking), relation type "next". The address pins whatever the first page left to the clock, so
that rows which come in meanwhile shift nothing. A cursor names the last row that was given: opaque to who follows it.
"""

from collections.abc import Callable, Sequence
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import Depends, Query, Request, Response

from console.facts import Json
from console.problems import Refused

CURSOR: Final = r"^[A-Za-z0-9_.:-]{1,80}$"
ENTRY: Final = 2**53
"""No entry of a record book has a higher number."""


class Paging:
    """What one request asked for, and where its answer says how to go on."""

    def __init__(self, request: Request, response: Response, limit: int, cursor: str | None) -> None:
        self._request, self._response = request, response
        self.limit, self.cursor = limit, cursor

    @property
    def before(self) -> int | None:
        """The cursor of a list whose rows are entries of the record book. Raises `Refused` (422)."""
        if self.cursor is None:
            return None
        if not (self.cursor.isascii() and self.cursor.isdecimal() and 0 < int(self.cursor) <= ENTRY):
            raise Refused(422, "query.cursor: take it from the Link header of the page before")
        return int(self.cursor)

    def rest(self, rows: Sequence[Json], key: Callable[[Json], str], **pinned: str) -> list[Json]:
        """One page out of the whole list. Raises `Refused` (409) where the row that the cursor names is gone."""
        start = 0
        if self.cursor is not None:
            places = (place for place, row in enumerate(rows, 1) if key(row) == self.cursor)
            start = next(places, 0)
            if start == 0:
                raise Refused(409, "the row that this cursor follows is no longer in the list; begin without a cursor")
        return self.first(rows[start : start + self.limit + 1], key, **pinned)

    def first(self, rows: Sequence[Json], key: Callable[[Json], str], **pinned: str) -> list[Json]:
        """One page out of rows of which `limit` + 1 were asked for."""
        if len(rows) > self.limit:
            asked = {name: value for name, value in self._request.query_params.items() if name != "cursor"}
            query = urlencode({**asked, **pinned, "limit": self.limit, "cursor": key(rows[self.limit - 1])})
            self._response.headers["Link"] = f'<{self._request.url.path}?{query}>; rel="next"'
        return list(rows[: self.limit])


def paged(usual: int, most: int) -> Callable[..., Paging]:
    """The dependency of a list that gives `usual` rows where nothing is said, and at most `most`."""

    def paging(
        request: Request,
        response: Response,
        limit: Annotated[int, Query(ge=1, le=most, description="rows a page")] = usual,
        cursor: Annotated[
            str | None, Query(pattern=CURSOR, description="from the Link header of the page before (rel=next)")
        ] = None,
    ) -> Paging:
        return Paging(request, response, limit, cursor)

    return paging


Paged = Annotated[Paging, Depends(paged(500, 5000))]
RecordsPaged = Annotated[Paging, Depends(paged(100, 1000))]


def by(*names: str) -> Callable[[Json], str]:
    """The key of a row: the values of these columns, with dots between."""
    return lambda row: ".".join(str(row[name]) for name in names)
