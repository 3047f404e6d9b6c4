"""Scripts and styles, read once and served from memory under the hash of them all.

A page of one build therefore never runs scripts of another; an old page's address gives the present file, uncached.
"""

import re
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Final

from fastapi import APIRouter
from fastapi import Path as PathParameter
from fastapi.responses import Response

from console.problems import Refused

FOLDER: Final = Path(__file__).parent / "static"
TYPES: Final = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}


def lean(name: str, content: bytes) -> bytes:
    """A script or style without its whole-line comments and indents: they are for who reads the files here."""
    if name.endswith(".css"):
        content = re.sub(rb"/\*.*?\*/", b"", content, flags=re.DOTALL)
    elif not name.endswith(".js"):
        return content
    lines = (line.strip() for line in content.split(b"\n"))
    return b"\n".join(line for line in lines if line and not line.startswith(b"//")) + b"\n"


class Assets:
    """The files of the static folder."""

    def __init__(self, folder: Path = FOLDER) -> None:
        self._files = {
            path.name: lean(path.name, path.read_bytes()) for path in sorted(folder.iterdir()) if path.suffix in TYPES
        }
        whole = sha256()
        for name, content in self._files.items():
            whole.update(name.encode() + b"\0" + content)
        self.version = whole.hexdigest()[:10]
        self.router = APIRouter(include_in_schema=False)
        self.router.add_api_route("/static/{version}/{name}", self.serve)

    def url(self, name: str) -> str:
        assert name in self._files, name
        return f"/static/{self.version}/{name}"

    async def serve(
        self, version: str, name: Annotated[str, PathParameter(pattern=r"^[a-z_-]{1,40}\.(js|css|svg)$")]
    ) -> Response:
        if name not in self._files:
            raise Refused(404, f"there is no file {name}")
        fresh = version == self.version
        caching = "public, max-age=31536000, immutable" if fresh else "no-store"
        return Response(self._files[name], media_type=TYPES[Path(name).suffix], headers={"Cache-Control": caching})
