"""How a command finds the daemon of the same site on the same machine: a small file beside the store."""

import contextlib
import json
import os
from collections.abc import Iterator
from typing import Final, NamedTuple

from gaugehouse.errors import CouldNot
from gaugehouse.site import Site

RUNNING: Final = "running.json"


class Running(NamedTuple):
    """A daemon: its process and where its console answers."""

    pid: int
    url: str


@contextlib.contextmanager
def announced(site: Site, url: str) -> Iterator[None]:
    """Leave word that this process is the site's daemon, for as long as it runs."""
    path = site.store_path / RUNNING
    try:
        part = path.with_suffix(".part")
        part.write_text(json.dumps({"pid": os.getpid(), "url": url}), encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            path.unlink()


def find_daemon(site: Site) -> Running | None:
    """The running daemon of this site, None where there is none. A file left by a dead process counts for nothing."""
    try:
        said = json.loads((site.store_path / RUNNING).read_text(encoding="utf-8"))
        found = Running(int(said["pid"]), str(said["url"]))
        os.kill(found.pid, 0)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found
