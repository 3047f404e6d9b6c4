"""kill -9 of a process whose channels are telling a storm of alarms: everything is told, little of it twice."""

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.service_notify.outside import ROOT, Outside, hook
from tests.service_notify.test_daemon_notify import asked, heard, written

LONGEST_S = 60.0


def one_life(folder: Path, seed: int, enough: Callable[[], bool]) -> None:
    """A process that is killed as soon as there is enough of it."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.service_notify.storm", str(folder), str(seed)],
        stdout=subprocess.PIPE, text=True, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert process.stdout is not None
    try:
        assert process.stdout.readline() == "up\n", "the storm did not begin"
        deadline_s = time.monotonic() + LONGEST_S
        while not enough():
            assert time.monotonic() < deadline_s, "what was left is not told"
            time.sleep(0.02)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()


def after(seconds: float) -> Callable[[], bool]:
    """So long after it is asked for the first time."""
    ends_s: list[float] = []

    def over() -> bool:
        ends_s.append(time.monotonic() + seconds)
        return time.monotonic() >= ends_s[0]

    return over


def campaign(folder: Path, lives: int, chance: random.Random) -> None:
    with hook(folder) as web:
        text = '\n[[notify]]\nid = "hook"\nkind = "webhook"\nsame_alarm_after = "0 s"\n'
        path = write_site(folder, LOOP_SITE + text + f'url = "http://127.0.0.1:{web.port}/tell"\n')
        for life in range(lives):
            if chance.random() < 0.3:  # the other side dies too, while we are telling
                web.kill()
                web.start()
            one_life(folder, life, after(chance.uniform(0.05, 1.5)))
        before = asked(load_site(path))
        one_life(folder, lives, lambda: before <= set(heard(web)))
        check(folder, path, web, before, lives)


def check(folder: Path, path: Path, web: Outside, before: set[str], lives: int) -> None:
    site = load_site(path)
    told = heard(web)
    assert before <= set(told), f"never told: {sorted(before - set(told))[:5]}"
    assert set(told) <= asked(site), "told of something that is not in the book"
    times = Counter(told)
    messages = Counter(taken["body"]["key"] for taken in web.taken)
    twice = [one for one, count in times.items() if count > 1]
    # A kill lies between one message and its record at the most: it repeats what was in that message, no more.
    assert max(times.values()) <= lives + 1
    assert len(web.taken) - len(written(site, "hook")[1]) <= lives + 1
    with look_into_book(site) as book:
        assert book.verify().unbroken
    again = sum(count - 1 for count in messages.values())
    print(f"{lives} kills, {len(times)} occurrences in {len(web.taken)} messages, all told;", end=" ")
    print(f"{len(twice)} occurrences came twice, {again} messages word for word")


@pytest.mark.timeout(240)
def test_killed_while_telling_a_storm_of_alarms_nothing_is_left_untold(tmp_path: Path) -> None:
    campaign(tmp_path, 8, random.Random(6))


@pytest.mark.soak
@pytest.mark.timeout(1200)
def test_a_hundred_kills_while_telling_a_storm_of_alarms(tmp_path: Path) -> None:
    campaign(tmp_path, 100, random.Random(7))
