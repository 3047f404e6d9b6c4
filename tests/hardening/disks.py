"""A disk of a few megabytes that can be filled and emptied: a tmpfs where this user may mount one.

Where nothing can be mounted (no root), SQLite is kept from growing its files (`PRAGMA max_page_count`), which it
answers with the same error as a full disk gives.
"""

import contextlib
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from history import files

SIZE_MB = 12
CHUNK = 64 * 1024


class SmallDisk:
    """A folder whose disk `fill` leaves without a byte and `empty` gives room again."""

    def __init__(self, path: Path, *, real: bool, patch: pytest.MonkeyPatch) -> None:
        self.path, self.real, self._patch = path, real, patch
        self._ballast = path / "ballast"
        self._connections: list[sqlite3.Connection] = []
        if not real:
            self._watch()

    def fill(self) -> None:
        if not self.real:
            for connection in self._connections:
                with contextlib.suppress(sqlite3.ProgrammingError):  # closed by now
                    connection.execute("PRAGMA max_page_count = 1")
            return
        handle = os.open(self._ballast, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        try:
            for size in (CHUNK, 4096, 1):
                with contextlib.suppress(OSError):
                    while True:
                        os.write(handle, bytes(size))
        finally:
            os.close(handle)

    def empty(self) -> None:
        if not self.real:
            for connection in self._connections:
                with contextlib.suppress(sqlite3.ProgrammingError):
                    connection.execute("PRAGMA max_page_count = 1073741823")
            return
        self._ballast.unlink()

    def _watch(self) -> None:
        connect = files._connect

        def watched(uri: str) -> sqlite3.Connection:
            connection = connect(uri)
            if "mode=rwc" in uri:
                self._connections.append(connection)
            return connection

        self._patch.setattr(files, "_connect", watched)


def _mounted(path: Path) -> bool:
    mount = shutil.which("mount")
    if mount is None or os.geteuid() != 0:
        return False
    call = [mount, "-t", "tmpfs", "-o", f"size={SIZE_MB}m", "none", str(path)]
    return subprocess.run(call, capture_output=True, check=False).returncode == 0


@contextlib.contextmanager
def small_disk(path: Path, patch: pytest.MonkeyPatch) -> Iterator[SmallDisk]:
    path.mkdir()
    real = _mounted(path)
    try:
        yield SmallDisk(path, real=real, patch=patch)
    finally:
        if real:
            subprocess.run(["umount", "-l", str(path)], check=True)
