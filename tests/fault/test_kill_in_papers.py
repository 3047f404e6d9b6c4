"""kill -9 just after papers were written down: what was answered is in the book, numbers go on where they were."""

from pathlib import Path

import pytest

from tests.fault.lives import lived

SPEED = "60"
NOTE = {"kind": "delivery note", "observed_m3": 12.0, "by": "Ada", "sure": True}
LIVES = 3


@pytest.mark.timeout(240)
def test_every_paper_that_was_answered_outlives_a_kill(tmp_path: Path) -> None:
    numbers: list[int] = []
    for life in range(LIVES):
        with lived(tmp_path, SPEED) as client:
            tank = client.get("/api/documents/facts").json()["tanks"][0]["id"]
            kept = client.get("/api/documents").json()
            assert [one["number"] for one in kept] == numbers
            assert all(one["open"] for one in kept)
            for k in range(2):
                told = client.post("/api/documents", json=NOTE | {"tank": tank, "paper": f"DN-{life}-{k}"}).json()
                assert told.get("status") == "done", told
                numbers.append(told["documents"][0]["number"])
            again = client.post("/api/documents", json=NOTE | {"tank": tank, "paper": "DN-0-1"})
            assert again.status_code == 422
            undone = numbers.pop(-2)
            assert client.post(f"/api/documents/{undone}/undo", json={"by": "Ada"}).status_code == 200
            right = client.post(
                f"/api/documents/{numbers.pop()}/correct", json={"observed_m3": 12.5, "by": "Ada", "sure": True}
            )
            numbers.append(right.json()["documents"][0]["number"])
            assert f'data-number="{numbers[-1]}"' in client.get("/documents").text
    assert numbers == [3, 6, 9]
