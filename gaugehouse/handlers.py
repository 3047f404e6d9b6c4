"""What commands on the same machine can ask of the running daemon, behind its local door."""

import asyncio
from collections.abc import Mapping
from typing import Any, Protocol

from collector.collector import Collector
from gaugehouse.acts import Act, Answer, Look, act_of
from gaugehouse.asking import instruments_of, tank_of
from gaugehouse.errors import CouldNot
from gaugehouse.facts import DaemonFacts
from gaugehouse.local import Handler
from gaugehouse.site import Site

Json = dict[str, Any]


class Served(Protocol):
    """What the handlers need of a daemon."""

    @property
    def site(self) -> Site: ...

    @property
    def collector(self) -> Collector: ...

    async def submit(self, act: Act) -> Answer: ...


def handlers_of(daemon: Served, facts: DaemonFacts) -> Mapping[str, Handler]:
    """The questions that the door answers, by name."""

    async def read(question: Json) -> object:
        if question["settings"] != daemon.site.fingerprint():
            raise CouldNot(
                f"the running daemon started with another version of {daemon.site.path}: its figures would not show "
                "what this file says; restart it, or stop it to ask the wire with this file"
            )
        return await read_tanks(daemon, facts, [str(tank) for tank in question["tanks"]])

    async def act(question: Json) -> object:
        answer = await daemon.submit(act_of(str(question["act"]), dict(question["fields"])))
        return {"status": answer.status.value, "text": answer.text, "body": dict(answer.body)}

    async def receipts(question: Json) -> object:
        number = question["number"]
        return await facts.receipts() if number is None else await facts.receipt(int(number))

    async def here(_: Json) -> object:
        return True

    return {"read": read, "act": act, "receipts": receipts, "here": here}


async def read_tanks(daemon: Served, facts: DaemonFacts, tanks: list[str]) -> list[Json]:
    """Ask these tanks' instruments now, through the buses' own tasks; the chain of each after the core has it."""
    asked = instruments_of(daemon.site, [tank_of(daemon.site, tank) for tank in tanks])
    await asyncio.gather(*(daemon.collector.read_once(bus, instrument) for bus, instrument in asked))
    await daemon.submit(Look())
    return [facts.chain(tank) for tank in tanks]
