"""A site's time-series servers at work: an outlet for each, and the store that asks them for what is older.

Knows where tokens are kept and where rejected lines go; what is sent and how is in `history.outlet`.
"""

import asyncio
import contextlib
import os
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.errors import CallError, CouldNot
from gaugehouse.site import Site
from gaugehouse.sitefile.secret import read_secret
from gaugehouse.sitefile.serverfacts import ServerSpec
from gaugehouse.stores import look_into_readings
from history.both import Both
from history.errors import StoreError
from history.lines import chunks, lines_of
from history.outlet import Outlet
from history.rejects import RejectList
from history.requalify import AS_MEASURED
from history.sending import Sender
from history.sqlite import SqliteStore
from history.store import Store

if TYPE_CHECKING:
    from history.influxql import InfluxReadings
    from history.posting import InfluxPoster

Json = dict[str, Any]

DAY_MS: Final = 86_400_000


class Servers:
    """The outlets of a site, and `store`, which is the embedded one where no server can be asked."""

    def __init__(self, site: Site, readings: SqliteStore, environment: Mapping[str, str]) -> None:
        self._specs = site.servers
        self._rejects = {spec.id: site.store_path / f"rejected-{spec.id}.jsonl" for spec in site.servers}
        self.outlets = tuple(
            Outlet(spec.id, site.id, readings, poster_of(spec, environment), RejectList(self._rejects[spec.id]))
            for spec in site.servers
        )
        self.asked = {spec.id: _asked(spec, site.id, environment) for spec in site.servers if spec.reads}
        self.store: Store = Both(readings, self.asked) if self.asked else readings

    def views(self) -> list[Json]:
        """How each server is served, JSON-ready: see `console.facts.Facts.servers`."""
        out = []
        for spec, outlet in zip(self._specs, self.outlets, strict=True):
            counters = outlet.counters()._asdict()
            rejects = self._rejects[spec.id]
            more = {"url": spec.url, "reads": spec.reads, "rejects": str(rejects) if rejects.exists() else ""}
            out.append({"id": counters.pop("server"), **more, **counters})
        return out

    def stop(self, within_s: float) -> None:
        """End the threads; what a server lacks is sent after the next start."""
        for outlet in self.outlets:
            outlet.stop(within_s)
        for asked in self.asked.values():
            asked.close()


@contextlib.asynccontextmanager
async def serving(
    site: Site, readings: SqliteStore, within_s: float, environment: Mapping[str, str] = os.environ
) -> AsyncIterator[Servers]:
    """The outlets run until the block is left."""
    servers = await asyncio.to_thread(Servers, site, readings, environment)
    for outlet in servers.outlets:
        outlet.start()
    try:
        yield servers
    finally:
        await asyncio.to_thread(servers.stop, within_s)


class Progress(NamedTuple):
    """How far a backfill has got: all readings before `done_ms` are with the server, or were rejected by it."""

    done_ms: int
    sent: int
    rejected: int


def backfill(
    site: Site, server_id: str, start_ms: int, end_ms: int, environment: Mapping[str, str] = os.environ
) -> Iterator[Progress]:
    """Send the readings with start_ms <= time < end_ms to a server once more, day by day, beside a daemon or without.

    What is there already becomes the same points. Where it breaks off, it goes on from the last `done_ms`. Raises
    `CallError` for a server that the site does not have, `CouldNot` when the server or the store gives up.
    """
    spec = next((one for one in site.servers if one.id == server_id), None)
    if spec is None:
        known = ", ".join(one.id for one in site.servers) or "none: add a [[store.server]] to the site file"
        raise CallError(f'no server has the id "{server_id}"; the site file has {known}')
    poster = poster_of(spec, environment)
    rejects = RejectList(site.store_path / f"rejected-{spec.id}.jsonl")
    sent = rejected = 0
    try:
        with look_into_readings(site) as store, contextlib.closing(poster):
            store.requalify(AS_MEASURED)  # a server holds what was measured
            sender = Sender(poster)
            while start_ms < end_ms:
                next_ms = min(end_ms, (start_ms // DAY_MS + 1) * DAY_MS)
                for tank in site.tanks:
                    for columns in store.columns(tank.id, start_ms, next_ms):
                        for chunk in chunks(lines_of(site.id, tank.id, columns), sender.size):
                            aside = sender.send(chunk)
                            if aside:
                                rejects.add(aside)
                            sent, rejected = sent + len(chunk) - len(aside), rejected + len(aside)
                start_ms = next_ms
                yield Progress(start_ms, sent, rejected)
    except StoreError as error:
        raise CouldNot(f"server {server_id}: {error}") from error


def poster_of(spec: ServerSpec, environment: Mapping[str, str]) -> "InfluxPoster":
    """What posts to a server. Its library is loaded only where a site has one."""
    from history.posting import InfluxPoster

    return InfluxPoster(spec, _token_of(spec, environment))


def _asked(spec: ServerSpec, site: str, environment: Mapping[str, str]) -> "InfluxReadings":
    from history.influxql import InfluxReadings

    ca = None if spec.ca is None else str(spec.ca)
    return InfluxReadings(spec.url, spec.bucket, site, _token_of(spec, environment), ca=ca)


def _token_of(spec: ServerSpec, environment: Mapping[str, str]) -> Callable[[], str]:
    place = spec.token
    if place is None:
        return str
    return lambda: read_secret(place, environment)
