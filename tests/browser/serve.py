"""The console with a fake farm, as a process of its own: what the browser tests start, kill, freeze and start again.

By hand: `python -m tests.browser.serve PORT [BUILD [PASSWORD]]` serves until a signal.
"""

import asyncio
import signal
import socket
import sys
from collections.abc import Callable

from console.app import create_app
from console.roles import OPERATOR
from console.serving import build_server
from console.sign_in import hasher
from tests.console.fake import FakeFacts

STEP_MS = 1000


async def main(port: int, build: str, password: str, on_ready: Callable[[int], None]) -> None:
    """Serve at a port; build: what it says it is; password: that of its user Ana (empty: it has no users);
    on_ready: called with the port when it listens."""
    facts = FakeFacts(build=build)
    if password:
        facts.people.users = {"Ana": (hasher.hash(password), (OPERATOR,))}
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    listener.listen()  # so that who reads "ready" can connect at once
    server = build_server(create_app(facts, port=listener.getsockname()[1]))
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, setattr, server, "should_exit", True)

    async def run() -> None:
        while not server.should_exit:
            await asyncio.sleep(STEP_MS / 1000)
            facts.advance(STEP_MS)

    async with asyncio.TaskGroup() as group:
        group.create_task(server.serve(sockets=[listener]))
        group.create_task(run())
        on_ready(listener.getsockname()[1])


def serve(port: int, build: str, password: str, on_ready: Callable[[int], None]) -> None:
    asyncio.run(main(port, build, password, on_ready))


if __name__ == "__main__":
    given = dict(enumerate(sys.argv))
    serve(int(sys.argv[1]), given.get(2, "7"), given.get(3, ""), lambda port: print("ready", port, flush=True))
