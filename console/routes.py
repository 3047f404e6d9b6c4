"""Routes by the templates of their addresses: `/api/tanks/{tank}/trend` in tables, real paths in requests."""

import re
from collections.abc import Iterable, Mapping
from typing import Final, Generic, TypeVar

_GAP: Final = re.compile(r"\{[a-z_]+\}")
T = TypeVar("T")


def matcher(templates: Iterable[str]) -> re.Pattern[str]:
    """One expression for all of these addresses."""
    parts = (_GAP.sub("[^/]+", re.escape(one).replace(r"\{", "{").replace(r"\}", "}")) for one in templates)
    return re.compile(f"(?:{'|'.join(parts)})")


class Table(Generic[T]):
    """What is set down for addresses, looked up by the path of a request. A whole name goes before a template."""

    def __init__(self, rows: Mapping[str, T]) -> None:
        self.rows = dict(rows)
        self._plain = {path: value for path, value in rows.items() if "{" not in path}
        self._patterns = [(matcher([path]), value) for path, value in rows.items() if "{" in path]

    def get(self, path: str) -> T | None:
        if path in self._plain:
            return self._plain[path]
        return next((value for pattern, value in self._patterns if pattern.fullmatch(path)), None)
