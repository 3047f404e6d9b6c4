"""The console with a fake farm, as a process of its own: what the browser tests start, kill, freeze and start again.

Says ``ready`` on stdout when it listens. Arguments: the port, the build that it says it is, and the
password of its user Ana (without: it has no users).
"""

import asyncio
import signal
import socket
import sys

from console.app import create_app
from console.roles import OPERATOR
from console.serving import build_server
from console.sign_in import hasher
from tests.console.fake import FakeFacts

STEP_MS = 1000


async def main(port: int, build: str, password: str) -> None:
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
        print("ready", listener.getsockname()[1], flush=True)


if __name__ == "__main__":
    given = dict(enumerate(sys.argv))
    asyncio.run(main(int(sys.argv[1]), given.get(2, "7"), given.get(3, "")))
