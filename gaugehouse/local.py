"""The daemon's door for commands on the same machine: one line of JSON in, one line of JSON out, over a local socket.

So a command never becomes a second master on a line or a second writer of the record book. Only the user who runs the
daemon (and root) can open the door. What can be asked: `read` (ask these tanks' instruments now), `acknowledge`.
"""

import asyncio
import contextlib
import json
import logging
import os
import shutil
import socket
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from gaugehouse.errors import CallError, CouldNot
from gaugehouse.site import Site
from models.errors import GaugehouseError

log = logging.getLogger(__name__)

RUNNING: Final = "running.json"
DOOR: Final = "daemon.sock"
LONGEST_PATH: Final = 100
"""Bytes of a local socket's path that every system takes (the address holds 108 on Linux)."""
LONGEST_LINE: Final = 1 << 20
ASK_S: Final = 10.0
ANSWER_S: Final = 30.0

Json = dict[str, Any]
Handler = Callable[[Json], Awaitable[object]]


@contextlib.asynccontextmanager
async def door(site: Site, url: str, handlers: Mapping[str, Handler]) -> AsyncIterator[None]:
    """Open the door and leave word where it is, for as long as the block lasts. Call with the store's lock held."""
    with _place(site) as path:
        try:
            path.unlink(missing_ok=True)
            server = await asyncio.start_unix_server(_Desk(handlers).serve, path, limit=LONGEST_LINE)
            path.chmod(0o600)
            _write_word(site, {"pid": os.getpid(), "url": url, "door": str(path)})
        except OSError as error:
            raise CouldNot(f"{path}: the local socket cannot be made: {error.strerror}") from error
        try:
            yield
        finally:
            server.close()
            for left in (site.store_path / RUNNING, path):
                with contextlib.suppress(OSError):
                    left.unlink()


@contextlib.contextmanager
def _place(site: Site) -> Iterator[Path]:
    """Beside the store, or in a folder of its own where that path is too long for a socket."""
    path = (site.store_path / DOOR).resolve()
    if len(os.fsencode(path)) <= LONGEST_PATH:
        yield path
        return
    folder = tempfile.mkdtemp(prefix="gaugehouse-")
    try:
        yield Path(folder) / DOOR
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _write_word(site: Site, word: Json) -> None:
    part = site.store_path / f"{RUNNING}.part"
    part.write_text(json.dumps(word), encoding="utf-8")
    part.replace(site.store_path / RUNNING)


class _Desk:
    """Answers one question a connection."""

    def __init__(self, handlers: Mapping[str, Handler]) -> None:
        self._handlers = handlers

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            async with asyncio.timeout(ASK_S):
                line = await reader.readline()
            answer = await self._answer(line)
            writer.write(json.dumps(answer, allow_nan=False).encode() + b"\n")
            async with asyncio.timeout(ASK_S):
                await writer.drain()
        except (OSError, TimeoutError, ValueError) as error:
            log.info("a command at the local socket was not answered: %s", error or type(error).__name__)
        finally:
            writer.close()

    async def _answer(self, line: bytes) -> Json:
        try:
            question = json.loads(line)
            handler = self._handlers[question["do"]]
        except (ValueError, KeyError, TypeError):
            return {"status": 2, "error": f"not understood; this daemon knows: {', '.join(self._handlers)}"}
        try:
            async with asyncio.timeout(ANSWER_S):
                return {"status": 0, "result": await handler(question)}
        except CallError as error:
            return {"status": 2, "error": str(error)}
        except TimeoutError:
            return {"status": 3, "error": f"the daemon did not get it done within {ANSWER_S:g} s; look at its log"}
        except GaugehouseError as error:
            return {"status": 3, "error": str(error)}


def daemon_at(store: Path) -> int | None:
    """The process of the daemon that runs on a store, None where none does."""
    try:
        word = json.loads((store / RUNNING).read_text(encoding="utf-8"))
        path, pid = str(word["door"]), int(word["pid"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    with contextlib.closing(socket.socket(socket.AF_UNIX)) as line:
        try:
            line.connect(path)
        except (FileNotFoundError, ConnectionRefusedError):
            return None
        except OSError:
            return pid  # somebody is there who does not let us in
    return pid


def ask_daemon(site: Site, question: Json) -> Any | None:
    """What the running daemon of this site answers, None where none runs. Raises `CallError` or `CouldNot` as it says.

    The word left by a process that died counts for nothing: nobody listens at its door.
    """
    try:
        word = json.loads((site.store_path / RUNNING).read_text(encoding="utf-8"))
        path, pid = str(word["door"]), int(word["pid"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    with contextlib.closing(socket.socket(socket.AF_UNIX)) as line:
        line.settimeout(ANSWER_S + ASK_S)
        try:
            line.connect(path)
        except (FileNotFoundError, ConnectionRefusedError):
            return None
        except OSError as error:
            raise CouldNot(
                f"the daemon of site {site.id} (process {pid}) runs, but its local socket {path} cannot be opened: "
                f"{error.strerror}; call this as the user who runs it"
            ) from error
        try:
            line.sendall(json.dumps(question).encode() + b"\n")
            with line.makefile("rb") as answers:
                answer = json.loads(answers.readline(LONGEST_LINE))
        except (OSError, ValueError) as error:
            raise CouldNot(
                f"the running daemon (process {pid}) does not answer at {path}: {error}; look at its log"
            ) from error
    if answer["status"] == 0:
        return answer["result"]
    raise (CallError if answer["status"] == 2 else CouldNot)(str(answer["error"]))


def where_is(site: Site) -> str | None:
    """The address of the running daemon's console, None where none runs; "" for one without a console."""
    if ask_daemon(site, {"do": "here"}) is None:
        return None
    word = json.loads((site.store_path / RUNNING).read_text(encoding="utf-8"))
    return str(word["url"])
