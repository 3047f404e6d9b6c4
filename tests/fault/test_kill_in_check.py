"""kill -9 in the middle of a loop check: it is still under way afterwards, blind and without stock, with its steps."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from tests.fault.lives import lived

LOOP, TANK = "ridge_gauge", "ridge"


@contextmanager
def life(folder: Path) -> Iterator[httpx.Client]:
    """A daemon that has heard of all of its tanks."""
    with lived(folder, "1") as client:
        wait(lambda: all(tank["age_s"] is not None for tank in client.get("api/tanks").json()))
        yield client


def wait(until: Callable[[], bool]) -> None:
    end = time.monotonic() + 60
    while not until():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)


@pytest.mark.timeout(240)
def test_a_check_outlives_a_kill_with_its_steps_and_its_blinded_alarms(tmp_path: Path) -> None:
    with life(tmp_path) as client:
        begin = {"by": "Ada", "at_rest": "valves locked"}
        assert client.post(f"api/loops/{LOOP}/check/start", json=begin).status_code == 200
        for point in (4, 8, 12):
            body = {"by": "Ada", "shown_mA": point + 0.01}
            assert client.post(f"api/loops/{LOOP}/check/step", json=body).status_code == 200
    with life(tmp_path) as client:
        tank = client.get(f"api/tanks/{TANK}").json()
        assert (tank["quality"], tank["reason"], tank["gsv_m3"]) == ("Bad", "BadOutOfService", None)
        check = client.get(f"api/loops/{LOOP}").json()["check"]
        assert [step["point_mA"] for step in check["steps"]] == [4, 8, 12]
        states = {alarm["id"]: alarm["state"] for alarm in client.get("api/alarms/every").json()}
        assert {states[alarm] for alarm in check["blinds"]} == {"out_of_service"}
        assert client.post(f"api/loops/{LOOP}/check/abort", json={"by": "Bo"}).status_code == 200
    with life(tmp_path) as client:
        # The first poll of all may have found the machine busy, and its answer too late.
        wait(lambda: client.get(f"api/tanks/{TANK}").json()["quality"] != "Bad")
        assert client.get(f"api/loops/{LOOP}").json()["check"] is None
    with look_into_book(load_site(tmp_path / "site.toml")) as book:
        assert book.verify().unbroken
        assert [entry.body["change"] for entry in book.entries(["loop_check"])] == ["started", *["step"] * 3, "aborted"]
