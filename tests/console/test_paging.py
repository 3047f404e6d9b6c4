"""Lists in pages, answers that stay, and how much one address may ask."""

from typing import Any

import httpx
import pytest

from console.problems import MEDIA_TYPE
from console.routes import Table
from console.shares import LOOPBACK, OTHERS, Shares
from console.steady import end_of
from tests.console.conftest import make_client
from tests.console.fake import T0_MS, FakeFacts

Json = dict[str, Any]
DAY_MS = 86_400_000


async def pages(client: httpx.AsyncClient, path: str, **query: Any) -> list[list[Json]]:
    """Every page of a list, by following the Link header alone (RFC 8288)."""
    answer = await client.get(path, params=query or None)
    out: list[list[Json]] = []
    while True:
        assert answer.status_code == 200, answer.text
        out.append(answer.json())
        if "next" not in answer.links:
            return out
        answer = await client.get(answer.links["next"]["url"])


def flat(parts: list[list[Json]]) -> list[Json]:
    return [row for part in parts for row in part]


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("/api/alarms/history", {}),
        ("/api/faults", {}),
        ("/api/movements", {"from": "2026-11-25T00:00:00Z"}),
        ("/api/dips", {}),
        ("/api/drain-checks", {}),
    ],
)
async def test_pages_are_the_list_cut_in_pieces(looker: httpx.AsyncClient, path: str, query: Json) -> None:
    (whole,) = await pages(looker, path, **query)
    assert len(whole) > 1
    parts = await pages(looker, path, limit=1, **query)
    assert [len(part) for part in parts] == [1] * len(whole)
    assert flat(parts) == whole


async def test_rows_that_come_in_meanwhile_shift_nothing(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    whole = (await client.get("/api/alarms/history")).json()
    first = await client.get("/api/alarms/history", params={"limit": 2})
    facts.advance(40 * DAY_MS)  # the thirty days of the first page would have left the old rows out
    facts.raise_alarm(facts.tanks[1], "high", facts.now_ms)
    rest = await pages(client, first.links["next"]["url"])
    assert first.json() + flat(rest) == whole


async def test_a_cursor_whose_row_is_gone_is_a_problem_and_not_a_wrong_page(looker: httpx.AsyncClient) -> None:
    gone = await looker.get("/api/dips", params={"cursor": "9999"})
    assert (gone.status_code, gone.headers["content-type"]) == (409, MEDIA_TYPE)
    for path in ("/api/records", "/api/alarms/history"):
        assert (await looker.get(path, params={"cursor": "tank.7"})).status_code == 422
    assert (await looker.get("/api/dips", params={"cursor": "no such thing"})).status_code == 422


async def test_records_go_on_below_the_cursor(looker: httpx.AsyncClient) -> None:
    assert len((await looker.get("/api/records", params={"cursor": 3})).json()) == 1
    assert (await looker.get("/api/records", params={"cursor": 2})).json() == []


HELD = ["/api/site", "/api/tanks/ostler-n/facts", "/api/alarms/history", "/api/openapi.json", "/api/stock/book.csv"]


@pytest.mark.parametrize("path", HELD)
async def test_what_is_held_and_holds_is_not_sent_again(looker: httpx.AsyncClient, path: str) -> None:
    """RFC 9110, 13.1.2: a weak comparison, a list of tags, or any."""
    first = await looker.get(path)
    tag = first.headers["etag"]
    assert tag.startswith('W/"')
    assert first.headers["cache-control"] == "private, no-cache"
    for held in (tag, tag.removeprefix("W/"), f'"other", {tag}', "*"):
        again = await looker.get(path, headers={"If-None-Match": held})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
        assert "content-type" not in again.headers
    assert (await looker.get(path, headers={"If-None-Match": '"other"'})).content == first.content


async def test_the_tag_changes_with_the_answer(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    before = (await client.get("/api/alarms/history")).headers["etag"]
    facts.raise_alarm(facts.tanks[1], "high", facts.now_ms)
    after = await client.get("/api/alarms/history", headers={"If-None-Match": before})
    assert (after.status_code, after.headers["etag"] != before) == (200, True)


@pytest.mark.parametrize("path", ["/api/live", "/api/tanks", "/api/tanks/ostler-n", "/api/stock", "/api/loops"])
async def test_what_moves_has_no_tag(looker: httpx.AsyncClient, path: str) -> None:
    answer = await looker.get(path, headers={"If-None-Match": "*"})
    assert (answer.status_code, "etag" in answer.headers) == (200, False)
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize(("span", "over"), [(3600, True), (86_400, True), (90_000, False)])
async def test_a_stretch_has_a_tag_once_it_is_over(looker: httpx.AsyncClient, span: int, over: bool) -> None:
    asked = {"quantity": "level_m", "start": "2026-11-24T12:00:00Z", "span": span, "points": 10}
    answer = await looker.get("/api/tanks/ostler-n/trend", params=asked)
    assert ("etag" in answer.headers) == over


@pytest.mark.parametrize(
    ("query", "end_ms"),
    [
        (b"start=2026-11-25T11:00:00Z&span=3600", T0_MS),
        (b"start=2026-11-25T12:00:00%2B01:00&span=3600", T0_MS),
        (b"start=2026-11-25T11:00:00&span=3600", None),
        (b"start=soon&span=3600", None),
        (b"start=2026-11-25T11:00:00Z&span=inf", None),
        (b"start=2026-11-25T11:00:00Z&span=nan", None),
        (b"span=3600", None),
    ],
)
def test_the_end_of_a_stretch_is_read_or_left_to_the_handler(query: bytes, end_ms: int | None) -> None:
    assert end_of(query) == end_ms


async def test_a_problem_of_a_steady_address_bears_no_tag(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/api/tanks/nowhere/facts", headers={"If-None-Match": "*"})
    assert (answer.status_code, "etag" in answer.headers) == (404, False)


def test_a_whole_name_goes_before_a_template() -> None:
    table = Table({"/a/{id}": 1, "/a/tests": 2, "/a/{id}/b.csv": 3})
    assert [table.get(path) for path in ("/a/x", "/a/tests", "/a/x/b.csv", "/a/x/bXcsv", "/a", "/a/x/y")] == [
        1, 2, 3, None, None, None,
    ]  # fmt: skip


class Asked:
    """An application behind limits, with a clock of its own; `open` lets the requests under way end."""

    def __init__(self, *, local: bool = False) -> None:
        self.now_s, self.calls, self.address = 0.0, 0, "192.0.2.7"
        self.layer = Shares(
            self._app, address=lambda _s, _h: self.address, local=lambda _s, _h: local, clock=lambda: self.now_s
        )

    async def _app(self, scope: Any, receive: Any, send: Any) -> None:
        self.calls += 1

    async def get(self, path: str = "/api/leak", method: str = "GET") -> tuple[int, int]:
        """Status (200 where it came through) and Retry-After."""
        told: list[Any] = []

        async def send(message: Any) -> None:
            told.append(message)

        scope = {"type": "http", "method": method, "path": path, "headers": []}
        await self.layer(scope, None, send)  # type: ignore[arg-type]
        if not told:
            return 200, 0
        return told[0]["status"], int(dict(told[0]["headers"])[b"retry-after"])


@pytest.mark.parametrize("local", [False, True])
async def test_an_address_that_asks_for_more_than_its_share_is_told_when_to_come_back(local: bool) -> None:
    allowed, asked = (LOOPBACK if local else OTHERS), Asked(local=local)
    fits = int(allowed.burst // 10)  # /api/leak takes ten
    for _ in range(fits):
        assert await asked.get() == (200, 0)
    status, wait_s = await asked.get()
    assert (status, wait_s >= 1) == (429, True)
    assert (await asked.get("/api/live"), await asked.get(method="POST")) == ((200, 0), (200, 0))
    asked.address = "192.0.2.8"
    assert await asked.get() == (200, 0), "another address has a bucket of its own"
    asked.address = "192.0.2.7"
    asked.now_s += wait_s
    assert await asked.get() == (200, 0)
    asked.now_s += 1e6
    assert [(await asked.get())[0] for _ in range(fits + 1)] == [200] * fits + [429], "it never holds more than full"


async def test_addresses_that_come_and_go_take_no_memory() -> None:
    asked = Asked()
    for number in range(5000):
        asked.address = f"192.0.2.{number}"
        await asked.get()
    assert len(asked.layer._buckets) == 4096


async def test_only_so_many_costly_reads_are_under_way_at_once(facts: FakeFacts) -> None:
    import asyncio

    gate = asyncio.Event()

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        await gate.wait()

    layer = Shares(slow, address=lambda _s, _h: "a", local=lambda _s, _h: False, clock=lambda: 0.0)
    told: list[int] = []

    async def send(message: Any) -> None:
        if "status" in message:
            told.append(message["status"])

    scope = {"type": "http", "method": "GET", "path": "/api/water/x", "headers": []}
    async with asyncio.TaskGroup() as group:
        for _ in range(OTHERS.at_once + 1):
            group.create_task(layer(scope, None, send))  # type: ignore[arg-type]
        while not told:
            await asyncio.sleep(0)
        assert told == [429]
        gate.set()
    await layer(scope, None, send)  # type: ignore[arg-type]
    assert told == [429]


async def test_a_console_that_is_asked_too_much_answers_a_problem(facts: FakeFacts) -> None:
    from tests.console.test_fuzzed import VIEWER, token

    headers = token(facts, VIEWER)
    async with make_client(facts, address="192.0.2.7") as client:
        first = last = await client.get("/api/leak", headers=headers)
        for _ in range(200):  # while a slow machine asks, the bucket fills: how many are too many is not told here
            if last.status_code != 200:
                break
            last = await client.get("/api/leak", headers=headers)
    assert (first.status_code, last.status_code) == (200, 429)
    assert last.headers["content-type"] == MEDIA_TYPE
    assert int(last.headers["retry-after"]) >= 1
    assert "content-security-policy" in last.headers
