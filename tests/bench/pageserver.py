"""A console over any number of invented tanks, as a process of its own: what the page benchmark looks at.

Arguments: port, tanks, seconds between two states. Says ``ready`` when it listens. Each state is a minute of the farm.
"""

import asyncio
import signal
import socket
import sys
from dataclasses import replace

from console.app import create_app
from console.facts import Json
from console.serving import build_server
from tests.console.fake import FakeFacts

MINUTE_MS = 60_000


class Daemonlike(FakeFacts):
    """A farm that makes each state once, as the daemon does, however many ask for it."""

    def live(self) -> Json:
        made = self.__dict__.get("made")
        if made is None or made["seq"] != self.seq:
            made = self.__dict__["made"] = super().live()
        return made


async def main(port: int, tanks: int, step_s: float) -> None:
    facts = Daemonlike()
    six = list(facts.tanks)
    for number in range(len(six), tanks):
        kind = six[number % len(six)]
        name = f"{kind.name} {number}"
        facts.tanks.append(replace(kind, id=f"{kind.id}-{number}", name=name, alarms=[]))
    facts.status.states |= {tank.id: facts.status.states[six[0].id] for tank in facts.tanks[len(six) :]}
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    listener.listen(512)
    server = build_server(create_app(facts, port=listener.getsockname()[1]))
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, setattr, server, "should_exit", True)

    async def run() -> None:
        while not server.should_exit:
            await asyncio.sleep(step_s)
            facts.advance(MINUTE_MS if step_s < 1 else 1000)
            facts.live()

    async with asyncio.TaskGroup() as group:
        group.create_task(server.serve(sockets=[listener]))
        group.create_task(run())
        print("ready", listener.getsockname()[1], flush=True)


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])))
