"""What commands on the same machine can ask of the running daemon, behind its local door."""

import asyncio
from collections.abc import Mapping
from typing import Any, Protocol

from collector.collector import Collector
from console.facts import AckStatus
from gaugehouse.asking import instruments_of, tank_of
from gaugehouse.core import Act, Look
from gaugehouse.errors import CallError, CouldNot
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

    async def submit(self, act: Act) -> object: ...


def handlers_of(daemon: Served, facts: DaemonFacts) -> Mapping[str, Handler]:
    """The questions that the door answers, by name."""

    async def read(question: Json) -> object:
        if question["settings"] != daemon.site.fingerprint():
            raise CouldNot(
                f"the running daemon started with another version of {daemon.site.path}: its figures would not show "
                "what this file says; restart it, or stop it to ask the wire with this file"
            )
        return await read_tanks(daemon, facts, [str(tank) for tank in question["tanks"]])

    async def acknowledge(question: Json) -> object:
        return await acknowledge_alarm(facts, question)

    return {"read": read, "acknowledge": acknowledge}


async def read_tanks(daemon: Served, facts: DaemonFacts, tanks: list[str]) -> list[Json]:
    """Ask these tanks' instruments now, through the buses' own tasks; the chain of each after the core has it."""
    asked = instruments_of(daemon.site, [tank_of(daemon.site, tank) for tank in tanks])
    await asyncio.gather(*(daemon.collector.read_once(bus, instrument) for bus, instrument in asked))
    await daemon.submit(Look())
    return [facts.chain(tank) for tank in tanks]


async def acknowledge_alarm(facts: DaemonFacts, question: Json) -> Json:
    """Acknowledge the newest occurrence of an alarm, or the one that is named."""
    alarm, occurrence = str(question["alarm"]), question["occurrence"]
    if occurrence is None:
        occurrence = facts.newest_occurrence(alarm)
    if occurrence is None:
        raise CallError(f"there is no alarm {alarm!r}; `gaugehouse alarms` lists them as source and condition")
    answer = await facts.acknowledge(alarm, occurrence, str(question["by"]), str(question["comment"]))
    if answer.status is AckStatus.UNKNOWN:
        raise CallError(f"alarm {alarm} occurrence {occurrence} waits for no acknowledgement")
    if answer.status is AckStatus.OUTDATED:
        raise CallError(f"alarm {alarm}: occurrence {occurrence} is not the newest one, {answer.occurrence} is")
    said = {"status": answer.status.value, "by": answer.by, "time": answer.time}
    return {"alarm": alarm, "occurrence": occurrence, **said}
