"""After a stop that was not a clean one: the structure of the site's files is looked at while the daemon already runs.

A file that its writer did not close in order keeps a mark; the next start has SQLite check every page of it, in a
thread of its own. What is found is logged, told by the API and an alarm (`store_damaged`); the mark stays until it is
mended.
"""

import asyncio
import contextlib
import logging
import threading
from collections.abc import AsyncIterator
from typing import Any

from gaugehouse.stores import Stores
from history.errors import StoreError
from history.files import SqliteFile
from history.salvage import set_aside

log = logging.getLogger(__name__)


class FileCheck:
    """unclean: the files that were not closed in order. faults: what was found so far; done: nothing is left to do."""

    def __init__(self, stores: Stores) -> None:
        files = (stores.readings.file, stores.book.file, stores.traces.file)
        self._files: list[SqliteFile] = [file for file in files if file.unclean]
        self.unclean = [file.path.name for file in self._files]
        self.faults = [f"{stores.readings.file.path.name}: {what}" for what in stores.readings.set_aside()]
        book = stores.book.file.path
        self.faults += [f"{book.name}: a damaged one is in {folder}; `gaugehouse verify` tells what is missing here" for
                        folder in set_aside(book)]  # fmt: skip
        self.done = not self._files
        self._stopping = threading.Event()

    def told(self) -> dict[str, Any]:
        """For the API."""
        return {"unclean": self.unclean, "done": self.done, "faults": self.faults}

    def stop(self) -> None:
        self._stopping.set()

    def look(self) -> None:
        """Check one file after the other. Takes its time: some seconds for a gigabyte."""
        for file in self._files:
            log.warning("%s was not closed in order; its structure is looked at meanwhile", file.path)
            try:
                found = file.structure(self._stopping.is_set)
            except StoreError as error:
                found = [str(error)]
            if found is None:
                log.info("%s: the look at its structure was cut off; the next start does it", file.path)
                return
            for what in found:
                log.error("%s: %s; put a good copy in its place, or go on without what is named", file.path, what)
            file.keep_mark = bool(found)
            if found:
                self.faults = [*self.faults, *(f"{file.path.name}: {what}" for what in found)]
            else:
                log.info("%s is whole", file.path)
        self.done = True


@contextlib.asynccontextmanager
async def file_check(stores: Stores) -> AsyncIterator[FileCheck]:
    """The check for as long as the daemon runs; it ends before the files are closed."""
    check = FileCheck(stores)
    looking = asyncio.create_task(asyncio.to_thread(check.look), name="files")
    try:
        yield check
    finally:
        check.stop()
        await looking
