"""A site's whole memory in one file, taken while the daemon runs, and put back.

A backup is a gzipped tar: `manifest.json` first, then the three stores, the site file and all that it points to. The
readings are copied before the record book and the traces after it: what a reading or an entry leans on is in the copy.
Each store is copied in one piece under a read lock of SQLite, which holds no writer up (write-ahead log).
"""

import hashlib
import io
import json
import os
import sqlite3
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from gaugehouse import __version__
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.site import Site
from gaugehouse.stores import READINGS, RECORDS, TRACES
from history.book import BookReader
from history.errors import StoreError
from history.lock import WriterLock
from history.sqlite import SqliteStore

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
STORES: Final = (READINGS, RECORDS, TRACES)
"""In the order in which they are copied."""
TABLES: Final = (".toml", ".csv")
BESIDE: Final = ("-wal", "-shm")
LARGEST_MANIFEST: Final = 1 << 20


class Backup(NamedTuple):
    """What a backup says of itself. head: of the record book, COUNT:HASH. seq: the newest reading's. sums: SHA-256 of
    each file by its name in the archive."""

    site: str
    time: str
    version: str
    head: str
    seq: int
    sums: dict[str, str]

    def json(self) -> dict[str, Any]:
        return {"format": FORMAT, **self._asdict()}


def take(site: Site, into: Path, now_ms: int) -> Backup:
    """Write a backup; `into` appears only when it is whole. Raises `CouldNot`."""
    missing = [name for name in STORES if not (site.store_path / name).exists()]
    if missing:
        raise CouldNot(f"{site.store_path}: there is no {missing[0]} to back up; the daemon has not run here yet")
    part = into.with_name(f".{into.name}.part")
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=site.store_path) as scratch:
            copies = {name: Path(scratch) / name for name in STORES}
            for name, copy in copies.items():
                _copy(site.store_path / name, copy)
            with closing(BookReader.open(copies[RECORDS], site.id)) as book:
                verdict = book.verify()
                if not verdict.unbroken:
                    raise CouldNot(
                        f"{site.store_path / RECORDS}: the record book is broken after entry {verdict.sound}; no "
                        "backup was made of it. `gaugehouse verify` says what is wrong; keep the older backups"
                    )
                head = book.head()
            with closing(SqliteStore.open(copies[READINGS], site.id, read_only=True)) as readings:
                seq = readings.last_seq()
            files = {f"store/{name}": copy for name, copy in copies.items()} | _settings(site)
            sums = {name: _sum(path) for name, path in files.items()}
            made = Backup(site.id, iso_ms(now_ms), __version__, str(head), seq, sums)
            _pack(part, made, files)
        os.replace(part, into)
        _settle(into.parent)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise CouldNot(f"{error.filename or into}: the backup cannot be written: {error.strerror or error}") from error
    except (StoreError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise CouldNot(f"{site.store_path}: the backup cannot be taken: {error}") from error
    return made


def _settings(site: Site) -> dict[str, Path]:
    """The site file and its tables, by place in the archive; what lies outside of its folder keeps its name.

    Keys, certificates and passwords stay where they are: a backup is carried around.
    """
    folder = site.path.parent.resolve()
    found: dict[str, Path] = {}
    for path in site.source_files:
        if path.suffix.lower() not in TABLES:
            continue
        whole = path.resolve()
        inside = whole.is_relative_to(folder)
        name = f"site/{whole.relative_to(folder)}" if inside else f"elsewhere/{len(found)}-{whole.name}"
        found[name] = whole
    return found


def _copy(source: Path, target: Path) -> None:
    with (
        closing(sqlite3.connect(f"file:{source}?mode=ro", uri=True, timeout=30)) as here,
        closing(sqlite3.connect(target)) as there,
    ):
        here.backup(there, pages=-1)
        fault = there.execute("PRAGMA quick_check(1)").fetchone()[0]
        if fault != "ok":
            raise CouldNot(f"{source}: is damaged ({fault}); no backup was made of it, keep the older ones")


def _pack(path: Path, made: Backup, files: dict[str, Path]) -> None:
    with path.open("wb") as raw:
        with tarfile.open(fileobj=raw, mode="w:gz", compresslevel=6) as archive:
            text = json.dumps(made.json(), indent=1, sort_keys=True).encode()
            entry = tarfile.TarInfo(MANIFEST)
            entry.size = len(text)
            archive.addfile(entry, io.BytesIO(text))
            for name, file in files.items():
                archive.add(file, name, recursive=False)
        raw.flush()
        os.fsync(raw.fileno())


def _sum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _settle(folder: Path) -> None:
    """The folder's own entry on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def manifest_of(backup: Path) -> Backup:
    """What a backup says of itself. Raises `CallError` for a file that is none, `CouldNot` where it cannot be read."""
    with _opened(backup) as archive:
        return _manifest(backup, archive)


def _manifest(backup: Path, archive: tarfile.TarFile) -> Backup:
    first = archive.next()
    file = None if first is None or first.name != MANIFEST else archive.extractfile(first)
    if file is None:
        raise CallError(f"{backup}: is no backup of gaugehouse (no manifest at its start); name another file")
    try:
        told = json.loads(file.read(LARGEST_MANIFEST))
        if told["format"] > FORMAT:
            raise CallError(f"{backup}: was made by a newer gaugehouse ({told['version']}); use that one")
        return Backup(**{name: told[name] for name in Backup._fields})
    except (ValueError, KeyError, TypeError) as error:
        raise CallError(f"{backup}: its manifest cannot be read ({error}); name another file") from None


@contextmanager
def _opened(backup: Path) -> Iterator[tarfile.TarFile]:
    try:
        with tarfile.open(backup, "r:gz") as archive:
            yield archive
    except (tarfile.TarError, EOFError) as error:
        raise CallError(f"{backup}: is no backup, or is cut short: {error}; name another file") from None
    except OSError as error:
        if error.strerror is None:  # gzip says so of a file that is none of its own
            raise CallError(f"{backup}: is no backup, or is cut short: {error}; name another file") from None
        raise CouldNot(f"{error.filename or backup}: cannot be read: {error.strerror}") from error


def restore(site: Site, backup: Path, now_ms: int) -> tuple[Backup, Path | None]:
    """Put a backup's stores in the place of the site's; what was there is moved aside, and told where.

    Everything is unpacked, summed and verified before anything is moved. Raises `CallError` for a backup that is none,
    of another site or damaged, `CouldNot` while a daemon runs.
    """
    store = site.store_path
    try:
        store.mkdir(parents=True, exist_ok=True)
        lock = WriterLock(store / RECORDS, "record book")
    except StoreError as error:
        raise CouldNot(f"{error}; a backup is put back only while no daemon runs") from error
    except OSError as error:
        raise CouldNot(f"{store}: cannot be made: {error.strerror}") from error
    try:
        with tempfile.TemporaryDirectory(prefix=".restore-", dir=store) as scratch:
            made = _unpack(site, backup, Path(scratch))
            aside = _move_aside(store, now_ms)
            for name in STORES:
                os.replace(Path(scratch) / name, store / name)
            _settle(store)
    except OSError as error:
        raise CouldNot(f"{error.filename or store}: cannot be put back: {error.strerror or error}") from error
    finally:
        lock.release()
    return made, aside


def _unpack(site: Site, backup: Path, scratch: Path) -> Backup:
    with _opened(backup) as archive:
        made = _manifest(backup, archive)
        if made.site != site.id:
            raise CallError(f"{backup}: is of site {made.site!r}, this site file is of {site.id!r}; name the other one")
        found = set()
        for entry in archive:
            name = entry.name.removeprefix("store/")
            if name in STORES and entry.isreg() and (file := archive.extractfile(entry)) is not None:
                with (scratch / name).open("wb") as out:
                    while piece := file.read(1 << 20):
                        out.write(piece)
                    out.flush()
                    os.fsync(out.fileno())
                found.add(name)
    for name in STORES:
        if name not in found or _sum(scratch / name) != made.sums.get(f"store/{name}"):
            raise CallError(f"{backup}: {name} in it is missing or damaged; nothing was changed, name an older backup")
    try:
        with closing(BookReader.open(scratch / RECORDS, site.id)) as book:
            whole = book.verify().unbroken and str(book.head()) == made.head
    except StoreError as error:
        raise CallError(f"{backup}: its record book cannot be opened: {error}; nothing was changed") from None
    if not whole:
        raise CallError(f"{backup}: its record book is not the one it was made of; nothing was changed")
    for name in STORES:
        for end in BESIDE:
            (scratch / (name + end)).unlink(missing_ok=True)
    return made


def _move_aside(store: Path, now_ms: int) -> Path | None:
    """Move the stores that are there into a folder of their own. None where there were none."""
    there = [path for name in STORES for end in ("", *BESIDE) if (path := store / (name + end)).exists()]
    if not there:
        return None
    aside = store / f"before-restore-{iso_ms(now_ms).replace(':', '')}"
    aside.mkdir()
    for path in there:
        os.replace(path, aside / path.name)
    return aside
