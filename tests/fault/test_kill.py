"""kill -9 of the whole daemon at random instants: what was told is in the book, and alarms come back as it says."""

import random
import time
from pathlib import Path

import pytest

from gaugehouse.faultrecords import FAULT
from gaugehouse.records import ALARM
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, look_into_readings, look_into_traces
from gaugehouse.wiring import core_of
from history.chain import Head
from tests.fault.lives import lived

ROOT = Path(__file__).parents[2]
SPEED = "120"


def one_life(folder: Path, chance: random.Random, *, acts: bool) -> list[str]:
    """Start the daemon, acknowledge what can be acknowledged, kill it at a random instant; gives what it confirmed.

    acts: not before it has confirmed something, however slow the machine is.
    """
    confirmed: list[str] = []
    with lived(folder, SPEED) as client:
        end = time.monotonic() + chance.uniform(0.2, 2.5)
        while time.monotonic() < end or (acts and not confirmed):
            for alarm in client.get("api/alarms").json():
                if alarm["state"].endswith("unacknowledged"):
                    body = {"occurrence": alarm["occurrence"], "by": "Ana", "comment": "kill test"}
                    answer = client.post(f"api/alarms/{alarm['id']}/acknowledge", json=body)
                    if answer.status_code == 200:
                        confirmed.append(f"{alarm['id']}#{alarm['occurrence']}")
            time.sleep(chance.uniform(0, 0.1))
    return confirmed


def check_after(folder: Path, confirmed: list[str], before: Head | None) -> Head:
    """What must hold of the files that a killed daemon leaves."""
    site = load_site(folder / "site.toml")
    with look_into_book(site) as book:
        verdict = book.verify(before)
        assert verdict.unbroken, str(verdict)
        last: dict[str, str] = {}
        acknowledged: list[str] = []
        ticks: list[tuple[object, ...]] = []
        for entry in book.entries([ALARM]):
            name = f"{entry.body['source']}.{entry.body['condition']}"
            last[name] = str(entry.body["state"])
            ticks.append((entry.seq, name, entry.body["event"], entry.body["occurrence"]))
            if entry.body["event"] == "acknowledged":
                acknowledged.append(f"{name}#{entry.body['occurrence']}")
        faults = {(e.body["instrument"], e.body["number"]): e.body["end_ms"] for e in book.entries([FAULT])}
        with look_into_traces(site) as traces:
            traced = {(loop.instrument, n) for loop in site.loops for n in traces.kept(loop.instrument)}
        assert set(faults) <= traced, "a fault was told whose trace is not kept"
        core = core_of(site)
        core.restore(book.state())
        last_seq = book.last_seq()
    assert set(confirmed) <= set(acknowledged), "a confirmed acknowledgement is not in the book"
    assert len(acknowledged) == len(set(acknowledged)), "an occurrence was acknowledged twice"
    assert len(ticks) == len(set(ticks)), "a transition is in the book twice"
    standing = {view.id: view.state.value for view in core.alarms.standing()}
    assert standing == {name: state for name, state in last.items() if state != "normal"}
    open_faults = {(f.instrument, f.number) for f in core.faults.open_faults()}
    assert {key for key, end in faults.items() if end is None} <= open_faults
    with look_into_readings(site) as store:
        for tank in site.tanks:
            seqs = [reading.seq for reading in store.read(tank.id, 0, 2**60)]
            assert seqs == sorted(set(seqs)), "a reading is there twice or out of order"
        assert store.last_seq() > 0 or last_seq >= 0
    return verdict.head


def campaign(folder: Path, lives: int, seed: int) -> int:
    """Kill the daemon `lives` times over one store; gives how many acknowledgements were confirmed."""
    chance = random.Random(seed)
    head: Head | None = None
    confirmed: list[str] = []
    for number in range(lives):
        confirmed += one_life(folder, chance, acts=number == lives - 1 and not confirmed)
        head = check_after(folder, confirmed, head)
    return len(confirmed)


@pytest.mark.timeout(400)
def test_a_daemon_killed_at_random_instants_loses_nothing_that_it_told(tmp_path: Path) -> None:
    assert campaign(tmp_path, lives=6, seed=20) > 0


@pytest.mark.soak
def test_two_hundred_kills(tmp_path: Path) -> None:
    confirmed = campaign(tmp_path, lives=200, seed=21)
    print(f"200 kills, {confirmed} confirmed acknowledgements, none lost, none twice, chain unbroken")
