"""A start on a record book that the disk has damaged: measuring goes on, what was lost is told, nothing is thrown away.

The daemon asks before it opens its stores; see `history.salvage` for what is done with the files.
"""

import json
import logging
from typing import Final

from gaugehouse.days import iso_ms
from gaugehouse.errors import CouldNot
from gaugehouse.peopleroom import CLOSED
from gaugehouse.site import Site
from gaugehouse.stores import RECORDS
from history.errors import StoreError
from history.lock import WriterLock
from history.salvage import Salvaged, can_go_on, finish, salvage

log = logging.getLogger(__name__)

WITHOUT_STATE: Final = {f"people/{CLOSED}": json.dumps(True)}
"""Where even the users are lost, changes are refused until somebody on the machine makes an administrator."""


def go_on(site: Site, now_ms: int) -> Salvaged | None:
    """Set a damaged record book aside, if it is one, and begin a new one with what holds. Raises `CouldNot`."""
    path = site.store_path / RECORDS
    try:
        if path.parent.exists():
            lock = WriterLock(path, "record book")
            try:
                finish(path)
            finally:
                lock.release()
        if not path.exists() or can_go_on(path, site.id):
            return None
        lock = WriterLock(path, "record book")
        try:
            found = salvage(path, site.id, iso_ms(now_ms).replace(":", ""), now_ms, WITHOUT_STATE)
        finally:
            lock.release()
    except StoreError as error:
        raise CouldNot(str(error)) from error
    log.error("%s", told(found))
    return found


def told(found: Salvaged) -> str:
    """What happened and what to do, in one sentence each."""
    lost = "nobody knows how many entries" if found.lost is None else f"{found.lost} entries"
    state = "" if found.state else (
        " Users, states of alarms, plans and all else that was kept beside the entries are lost too: make an "
        "administrator with `gaugehouse user ... add`."
    )  # fmt: skip
    return (
        f"{RECORDS} was damaged and is in {found.folder} now, whole; a new one goes on with the {found.kept.count} "
        f"entries that hold, {lost} after them are missing.{state} Look at the disk; `gaugehouse restore` of a backup "
        "brings back what was written before it"
    )
