"""kill -9 during a storm of alarms: afterwards every alarm is as the record book implies, none twice, none missing.

What the book implies is worked out here from its entries alone: each alarm's entries must form one legal path (rows of
tests/data/alarms/alarm_transitions.csv, ISA-18.2 model, from memory; overlaps by OPC UA Part 9, 5.8.2) whose end is the
restored state, and whose occurrences rise by one each time the alarm asks people to look.
"""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import NamedTuple

import pytest

from alerts.lifecycle import HIDDEN, Event, State
from gaugehouse.core import Core
from gaugehouse.records import ALARM
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from gaugehouse.wiring import core_of
from history.chain import Head, Recorded
from tests.alerts.test_lifecycle import EVENT, LETTER, OVERLAPS, TRANSITIONS

ROOT = Path(__file__).parents[2]
SPEED = "240"
MOVES = (
    {(LETTER[row["from"]], EVENT[name], LETTER[row["to"]]) for row, name in TRANSITIONS}
    | OVERLAPS
    | {(hidden, event, hidden) for hidden in HIDDEN for event in Event}
)
FLAG = {
    Event.SHELVED: (State.SHELVED, True),
    Event.UNSHELVED: (State.SHELVED, False),
    Event.SHELF_EXPIRED: (State.SHELVED, False),
    Event.SUPPRESSED: (State.SUPPRESSED_BY_DESIGN, True),
    Event.UNSUPPRESSED: (State.SUPPRESSED_BY_DESIGN, False),
    Event.REMOVED_FROM_SERVICE: (State.OUT_OF_SERVICE, True),
    Event.RETURNED_TO_SERVICE: (State.OUT_OF_SERVICE, False),
}


class Implied(NamedTuple):
    """What the book implies of one alarm."""

    state: State = State.NORMAL
    occurrence: int = 0
    hidden: frozenset[State] = frozenset()
    one_shot: bool = False


def walked(before: Implied, entry: Recorded) -> Implied:
    """One more entry; an entry that cannot follow on the one before it fails."""
    body = entry.body
    event, state, occurrence = Event(str(body["event"])), State(str(body["state"])), int(str(body["occurrence"]))
    where = f"entry {entry.n}, {body['source']}.{body['condition']}: {before} + {event} -> {state} #{occurrence}"
    assert (before.state, event, state) in MOVES, where
    comes_back = state not in HIDDEN and before.state in HIDDEN and state is not State.NORMAL
    asks = state is State.UNACKNOWLEDGED or comes_back
    assert occurrence == before.occurrence + asks, f"an entry is missing or there twice: {where}"
    hidden = set(before.hidden)
    if event in FLAG:
        flag, on = FLAG[event]
        assert (flag in hidden) is not on, where
        hidden ^= {flag}
    elif event is Event.RETURNED and before.one_shot:
        hidden.discard(State.SHELVED)
    one_shot = bool(body["one_shot"]) if "one_shot" in body else before.one_shot and State.SHELVED in hidden
    return Implied(state, occurrence, frozenset(hidden), one_shot)


def life(folder: Path, chance: random.Random, seed: int) -> list[dict[str, str]]:
    """One daemon from start to kill -9; gives the acts that it confirmed."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.fault.stormchild", str(folder), SPEED, str(seed)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert process.stdout is not None
    try:
        assert process.stdout.readline().strip(), "the daemon did not start"
        time.sleep(chance.uniform(0.05, 2.0))
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    lines = process.stdout.read().splitlines()
    process.stdout.close()
    return [json.loads(line) for line in lines if line.endswith("}")]


def check(folder: Path, confirmed: list[dict[str, str]], before: Head | None) -> tuple[Head, int]:
    """What must hold of the book that a killed daemon leaves; gives its head and how many alarm entries it has."""
    site = load_site(folder / "site.toml")
    implied: dict[str, Implied] = {}
    told: list[str] = []
    with look_into_book(site) as book:
        verdict = book.verify(before)
        assert verdict.unbroken, str(verdict)
        for entry in book.entries([ALARM]):
            name = f"{entry.body['source']}.{entry.body['condition']}"
            implied[name] = walked(implied.get(name, Implied()), entry)
            told.append(f"{name} {entry.body.get('comment', '')}")
        core = core_of(site)
        core.restore(book.state())
    for act in confirmed:
        assert told.count(f"{act['alarm']} {act['token']}") == 1, f"confirmed, but not once in the book: {act}"
    assert restored(core) == {name: state for name, state in implied.items() if state.state is not State.NORMAL}
    return verdict.head, len(told)


def restored(core: Core) -> dict[str, Implied]:
    return {
        view.id: Implied(view.state, view.occurrence, frozenset(hide.state for hide in view.hides), view.one_shot)
        for view in core.alarms.standing()
    }


def campaign(folder: Path, lives: int, seed: int, acts: int = 0, alarms: int = 0) -> tuple[int, int]:
    """Kill the daemon `lives` times over one book; gives the acts that were confirmed and the alarm entries.

    acts, alarms: where fewer were confirmed and written, because a busy machine gave the daemon few turns, it lives on.
    """
    chance = random.Random(seed)
    head: Head | None = None
    confirmed: list[dict[str, str]] = []
    entries = 0
    for number in range(5 * lives):
        if number >= lives and len(confirmed) >= acts and entries >= alarms:
            break
        confirmed += life(folder, chance, seed * 1000 + number)
        head, entries = check(folder, confirmed, head)
    return len(confirmed), entries


@pytest.mark.timeout(600)
def test_a_daemon_killed_in_a_storm_leaves_alarms_as_its_book_implies(tmp_path: Path) -> None:
    confirmed, entries = campaign(tmp_path, lives=4, seed=30, acts=11, alarms=101)
    assert confirmed > 10
    assert entries > 100


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_two_hundred_kills_in_a_storm(tmp_path: Path) -> None:
    confirmed, entries = campaign(tmp_path, lives=200, seed=31)
    print(f"200 kills in a storm: {entries} alarm entries, {confirmed} confirmed acts, none lost, none twice")
