"""The console with a fake farm, as a process of its own: what the browser tests start, kill, freeze and start again.

Says ``ready`` on stdout when it listens. Arguments: the port, and the build that it says it is.
"""

import asyncio
import signal
import socket
import sys

from console.app import create_app
from console.serving import build_server
from tests.console.fake import FakeFacts

STEP_MS = 1000


async def main(port: int, build: str) -> None:
    facts = FakeFacts(build=build)
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
    asyncio.run(main(int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "7"))
