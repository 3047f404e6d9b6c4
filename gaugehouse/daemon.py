"""The daemon: polls, decides, writes, shows. Everything that runs is started and stopped here.

Order on disk: a tick's decisions go to the record book in one durable transaction (with those of the ticks that wait
behind it) before anything is told outside; its readings follow. Order of stopping: polling, what still waits for the
core, the publisher, the console, the stores.
"""

import asyncio
import contextlib
import logging
import os
import socket
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from collector.clock import Clock
from collector.collector import Collector
from console.app import create_app
from console.serving import Server, build_server
from gaugehouse.acts import Act, Answer
from gaugehouse.damagedbook import go_on
from gaugehouse.deciding import Deciding, Writing
from gaugehouse.errors import CouldNot
from gaugehouse.facts import DaemonFacts, House
from gaugehouse.filecheck import file_check
from gaugehouse.handlers import handlers_of
from gaugehouse.inbox import Arrival, Inbox, PendingAct, Ticker
from gaugehouse.journal import started, state_of_site
from gaugehouse.local import door
from gaugehouse.metrics import Counted, DaemonMetrics
from gaugehouse.notifying.postroom import PostRoom, post_room
from gaugehouse.publishing import Publishing, publishing_of
from gaugehouse.recording import Recorder, open_recording
from gaugehouse.registerserver import RegisterServer, SiteRegisters
from gaugehouse.requalifying import pinned
from gaugehouse.servers import serving
from gaugehouse.site import Site
from gaugehouse.stores import RECORDS, Stores, open_stores
from gaugehouse.supervised import supervisor_of
from gaugehouse.systemwatch import Sources, SystemWatch
from gaugehouse.tracekeeping import TraceKeeping
from gaugehouse.vitals import Vitals, Watched
from gaugehouse.wiring import core_of
from history.bookwriter import BookWriter
from history.chain import Entry
from history.errors import StoreUnavailable
from history.readers import ReaderPool
from history.tidying import Kept
from history.writer import ReadingWriter
from models.reading import Sample

log = logging.getLogger(__name__)

SAVE_EVERY_S: Final = 10.0
SAVED_TOGETHER: Final = 1000
"""States that are written in one transaction: the core gives them in smaller parts."""
DRAIN_S: Final = 5.0
ANSWER_S: Final = 20.0
"""A person waits no longer for an act to be decided and written; the local door waits a little longer."""


class DaemonClock(Clock, Protocol):
    """The collector's clock, and how fast it runs."""

    @property
    def speed(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Options:
    """How one run differs from the site file: recording, a simulated farm, and which build this is.

    on_ready: called once with the console's address, when everything runs.
    """

    build: str
    simulated: bool = False
    record: Path | None = None
    console: bool = True
    on_ready: Callable[[str], None] | None = None


class Daemon:
    """One site's daemon. `run` returns after `stop` has been called and everything is written."""

    def __init__(self, site: Site, clock: DaemonClock, options: Options) -> None:
        self.site, self._clock, self._options = site, clock, options
        self._inbox = Inbox()
        self._core = core_of(site)
        self._stopping = asyncio.Event()
        self.ready = asyncio.Event()
        self.url = ""
        self.facts: DaemonFacts | None = None
        self.publishing: Publishing | None = None
        self.post: PostRoom | None = None
        self.system: SystemWatch | None = None
        self.register_server: RegisterServer | None = None
        self.vitals: Vitals | None = None
        self._deciding = Deciding(self._core, self._inbox, site.store_path / RECORDS)
        self._supervisor = supervisor_of()
        self.collector = Collector(site.buses, self._take, clock)

    def stop(self) -> None:
        self._stopping.set()

    def _take(self, sample: Sample) -> None:
        """A bus task has a Sample."""
        self._inbox.put(Arrival(sample.time_ms, sample.elapsed_ms, sample))

    async def submit(self, act: Act) -> Answer:
        """A person's act: answered after it is in the record book, and after all that came in before it.

        Raises `CouldNot` when that takes longer than `ANSWER_S`, and says whether it is going to happen.
        """
        answer: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        arrival = Arrival(*self._clock.both_ms(), PendingAct(act, answer))
        self._inbox.put(arrival)
        done, _ = await asyncio.wait({answer}, timeout=ANSWER_S)
        if done:
            return answer.result()
        why = self._deciding.waits or f"nothing was decided for {ANSWER_S:g} s; look at the daemon's log"
        if self._inbox.withdraw(arrival):
            raise CouldNot(f"not done: {why}; do it again once that is mended")
        raise CouldNot(f"not written yet: {why}; it is kept and written as soon as that is mended, do not repeat it")

    async def run(self) -> None:
        """Raises `CouldNot` for a port or a store that is taken, whatever a bug raises, and nothing when stopped."""
        with contextlib.ExitStack() as stack:
            listening = self._listen(stack) if self._options.console else None
            go_on(self.site, self._clock.now_ms())
            stores = stack.enter_context(open_stores(self.site))
            record = self._open_record(stack)
            async with (
                self._written(stores) as (book, readings, readers, traces),
                serving(self.site, stores.readings, DRAIN_S) as servers,
                self._outward(book) as (publishing, post),
                file_check(stores) as files,
            ):
                house = House(
                    core=self._core,
                    clock=self._clock,
                    store=servers.store,
                    columns=stores.readings,
                    book=stores.book,
                    traces=stores.traces,
                    readers=readers,
                    submit=self.submit,
                    health=self.collector.health_of,
                    build=self._options.build,
                    simulated=self._options.simulated,
                    waits=lambda: self._deciding.waits,
                    files=files.told,
                    channels=post.views if post is not None else list,
                    servers=servers.views,
                )
                self.facts = DaemonFacts(house)
                last_ms = int((await asyncio.to_thread(stores.book.state)).get("core/time_ms", "0"))
                ticker = await self._begin(stores, book)
                published = None if publishing is None else publishing.counters
                found = Sources(readings.counters, published, stores.book, readers, self._core.tests.passed_ms)
                found = found._replace(damaged=lambda: files.faults)
                self.system = SystemWatch(self.site, self._clock, found, self._report, last_ms)
                writing = Writing(
                    book, readings, servers.store, traces, record, ticker, publishing, post, self.system.stepped
                )
                self.vitals = Vitals(self._watched(book, readings))
                counted = Counted(
                    self.site.id,
                    self._options.build,
                    self.facts.live,
                    self.collector.health,
                    lambda: len(self._inbox),
                    lambda: self._inbox.dropped,
                    readings.counters,
                    book.counters,
                    post.views if post is not None else list,
                    servers.views,
                    published,
                    lambda: None if self.register_server is None else self.register_server.counts,
                    self._clock.now_ms,
                )
                self.facts.watch(self.vitals, DaemonMetrics(counted, self.vitals))
                async with self._registers(self.facts), door(self.site, self.url, handlers_of(self, self.facts)):
                    await self._serve(writing, self.facts, listening)

    def _watched(self, book: BookWriter, readings: ReadingWriter) -> Watched:
        """What the daemon's own watchdog looks at."""
        speed, clock, inbox = self._clock.speed, self._clock, self._inbox

        def waiting_s() -> float:
            oldest_ms = inbox.oldest_ms()
            deciding_ms = self._deciding.since_ms
            since_ms = [ms for ms in (oldest_ms, deciding_ms) if ms is not None]
            return max(0.0, (clock.elapsed_ms() - min(since_ms)) / 1000 / speed) if since_ms else 0.0

        def ready() -> str:
            if not self.ready.is_set():
                return "it begins"
            silent = [loop.instrument for loop in self.site.loops if loop.instrument not in self._core.samples]
            return f"not asked yet: {', '.join(silent)}" if silent else ""

        def store() -> str:
            told = readings.counters().failure
            return self._deciding.waits or told

        return Watched(
            polls=self.collector.polls,
            period_s={bus.id: bus.period_ms / 1000 / speed for bus in self.site.buses},
            decided=lambda: self._core.at.seq,
            waiting_s=waiting_s,
            ready=ready,
            store=store,
        )

    @contextlib.asynccontextmanager
    async def _registers(self, facts: DaemonFacts) -> AsyncIterator[None]:
        """The register server, where the site has one."""
        spec = self.site.register_server
        if spec is None:
            yield
            return
        source = SiteRegisters(spec, facts, self._clock.now_ms, simulated=self._options.simulated)
        self.register_server = RegisterServer(spec, source)
        async with self.register_server.serving():
            yield

    @contextlib.asynccontextmanager
    async def _outward(self, book: BookWriter) -> AsyncIterator[tuple[Publishing | None, PostRoom | None]]:
        """What tells the world outside: the publisher and the channels of notification."""
        core, clock, simulated = self._core, self._clock, self._options.simulated
        async with (
            publishing_of(core, book, simulated=simulated) as self.publishing,
            post_room(core, book, clock, self._report, self.url, simulated=simulated) as self.post,
        ):
            yield self.publishing, self.post

    def _report(self, act: Act) -> None:
        """Something that the daemon itself found out; nobody waits for an answer."""
        answer: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._inbox.put(Arrival(*self._clock.both_ms(), PendingAct(act, answer)))

    def _listen(self, stack: contextlib.ExitStack) -> socket.socket:
        host, port = self.site.console_host, self.site.console_port
        try:
            listening = stack.enter_context(contextlib.closing(socket.create_server((host, port))))
        except OSError as error:
            raise CouldNot(
                f"console: cannot listen on {host} port {port}: {reason(error)}; end what listens there, or choose "
                "another [console] port"
            ) from error
        scheme = "http" if self.site.console_certificate is None else "https"
        self.url = f"{scheme}://{host}:{listening.getsockname()[1]}/"
        return listening

    def _open_record(self, stack: contextlib.ExitStack) -> Recorder | None:
        path = self._options.record
        if path is None:
            return None
        out, new = open_recording(path, self.site.signal_names)
        stack.enter_context(out)
        return Recorder(out, self.site.signal_names, header=new)

    @contextlib.asynccontextmanager
    async def _written(
        self, stores: Stores
    ) -> AsyncIterator[tuple[BookWriter, ReadingWriter, ReaderPool, TraceKeeping]]:
        """The threads around the stores; left only after what waits is written or given up by name."""
        kept = Kept(self.site.keep_readings_ms)
        book, readings, readers = (
            BookWriter(stores.book),
            ReadingWriter(
                stores.readings, tidy=lambda: stores.readings.tidy(kept, pinned(self._core.requalifying.found))
            ),
            ReaderPool(),
        )
        traces = TraceKeeping(stores.traces, book)
        readings.start()
        try:
            yield book, readings, readers, traces
        finally:
            await readings.aclose(DRAIN_S)
            traces.write()
            with contextlib.suppress(StoreUnavailable):
                await book.save_state(self._core.slow_state())
            await book.aclose(DRAIN_S)
            await readers.aclose()

    async def _begin(self, stores: Stores, book: BookWriter) -> Ticker:
        """Take up the past and journal this start."""
        state = await asyncio.to_thread(stores.book.state)
        self._core.restore(state)
        seq = max(stores.book.last_seq(), stores.readings.last_seq())
        now_ms = self._clock.now_ms()
        decisions = started(self.site, state, self._options.build, now_ms, simulated=self._options.simulated)
        entries = [Entry(d.kind, now_ms, seq, d.body) for d in decisions]
        await book.commit(entries, state_of_site(self.site))
        order = {loop.instrument: place for place, loop in enumerate(self.site.loops)}
        return Ticker(seq, self._core.at.elapsed_ms, order)

    async def _serve(self, writing: Writing, facts: DaemonFacts, listening: socket.socket | None) -> None:
        server = None
        if listening is not None:
            site = self.site
            app = create_app(
                facts,
                allow_hosts=(site.console_host, *site.console_names),
                port=listening.getsockname()[1],
                proxies=site.console_proxies,
            )
            server = build_server(app, site.console_certificate, site.console_key)
        async with asyncio.TaskGroup() as group:
            deciding = group.create_task(self._deciding.run(writing), name="core")
            saving = group.create_task(self._save(writing.book), name="state")
            pulse = group.create_task(facts.pulse(), name="live")
            assert self.vitals is not None
            vital = group.create_task(self.vitals.run(), name="vitals")
            attending = group.create_task(self._supervisor.attend(self.vitals), name="supervisor")
            polling = group.create_task(self.collector.run(), name="collector")
            assert self.system is not None
            looking = group.create_task(self.system.run(), name="system")
            telling = None
            if writing.publishing is not None:
                telling = group.create_task(writing.publishing.run(), name="publisher")
            posting = None
            if writing.post is not None:
                posting = group.create_task(writing.post.run(), name="notify")
            serving = None
            if server is not None and listening is not None:
                serving = group.create_task(_serve_console(server, listening), name="console")
            self.ready.set()
            self._supervisor.tell("READY=1")
            if self._options.on_ready is not None:
                self._options.on_ready(self.url)
            log.info("site %s runs; console %s", self.site.id, self.url or "off")
            await self._stopping.wait()
            self._supervisor.tell("STOPPING=1")
            await _end(polling)
            await self._drain()
            if writing.post is not None and posting is not None:
                writing.post.stop()
                await asyncio.wait({posting}, timeout=DRAIN_S)
                await _end(posting)
            if writing.publishing is not None and telling is not None:
                writing.publishing.stop()
                await asyncio.wait({telling}, timeout=DRAIN_S)
                await _end(telling)
            if server is not None and serving is not None:
                server.should_exit = True
                await asyncio.wait({serving})
            for task in (attending, vital, pulse, looking, saving, deciding):
                await _end(task)

    async def _drain(self) -> None:
        """Let the core take and write what already came in, within a bound."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(DRAIN_S):
                while len(self._inbox) or self._deciding.since_ms is not None:  # noqa: ASYNC110 a few turns of the loop
                    await asyncio.sleep(0.01)

    async def _save(self, book: BookWriter) -> None:
        """Now and then, what may be some seconds old after a crash."""
        while True:
            await asyncio.sleep(SAVE_EVERY_S)
            with contextlib.suppress(StoreUnavailable):  # said by the next commit, and tried again in ten seconds
                gathered: dict[str, str | None] = {}
                for part in self._core.slow_parts():
                    gathered |= part
                    if len(gathered) > SAVED_TOGETHER:
                        await book.save_state(gathered)
                        gathered = {}
                    await asyncio.sleep(0)  # the wire has its turn
                await book.save_state(gathered)


def reason(error: OSError) -> str:
    """The system's own word for an error, without what a library adds to it."""
    return os.strerror(error.errno) if error.errno else str(error)


async def _serve_console(server: Server, listening: socket.socket) -> None:
    await server.serve(sockets=[listening])


async def _end(task: "asyncio.Task[None]") -> None:
    """Cancel a task of ours and wait for it, without taking our own cancellation for its."""
    task.cancel()
    await asyncio.wait({task})
