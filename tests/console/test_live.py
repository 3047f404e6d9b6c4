"""The feed's manners: shared work, full states, no queue for the slow, no patience for the stuck."""

import asyncio
import json
from collections.abc import Callable
from typing import Any

import pytest

from console import live
from console.chosen import Choice, chosen
from console.live import Feed, dumps
from console.model import Model
from console.units import units_now
from tests.console.fake import FakeFacts


class Listener:
    """A client's socket. `gate` closed = it reads nothing; `gone` set = it has left."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self.gate = asyncio.Event()
        self.gate.set()
        self.gone = asyncio.Event()
        self._heard = asyncio.Condition()

    async def accept(self) -> None:
        self.texts.append("accepted")

    async def send_text(self, text: str) -> None:
        await self.gate.wait()
        async with self._heard:
            self.texts.append(text)
            self._heard.notify_all()

    async def receive(self) -> dict[str, Any]:
        await self.gone.wait()
        return {"type": "websocket.disconnect"}

    async def until(self, told: Callable[["Listener"], bool]) -> None:
        async with self._heard:
            await self._heard.wait_for(lambda: told(self))

    @property
    def states(self) -> list[dict[str, Any]]:
        return [json.loads(text) for text in self.texts[2:]]


def feed_of(facts: FakeFacts, **options: Any) -> Feed:
    return Feed(facts, "7.abc", lambda live: live, **options)


async def test_the_build_comes_first_and_then_the_newest_state(facts: FakeFacts) -> None:
    feed, listener = feed_of(facts), Listener()
    async with asyncio.TaskGroup() as group:
        group.create_task(feed.serve(listener))  # type: ignore[arg-type]
        await listener.until(lambda heard: len(heard.texts) == 3)
        assert json.loads(listener.texts[1]) == {"build": "7.abc"}
        assert listener.states[0]["seq"] == 1
        listener.gone.set()
    assert feed.clients == 0


async def test_a_state_is_serialised_once_for_all_clients(facts: FakeFacts) -> None:
    feed, crowd = feed_of(facts), [Listener() for _ in range(20)]
    async with asyncio.TaskGroup() as group:
        for listener in crowd:
            group.create_task(feed.serve(listener))  # type: ignore[arg-type]
        for _ in range(3):
            for listener in crowd:
                await listener.until(lambda heard: bool(heard.states) and heard.states[-1]["seq"] == facts.seq)
            facts.advance()
        for listener in crowd:
            await listener.until(lambda heard: heard.states[-1]["seq"] == facts.seq)
            listener.gone.set()
    assert feed.serialised == 4
    assert [state["seq"] for state in crowd[0].states] == [1, 2, 3, 4]


async def test_a_slow_client_skips_states_and_gets_the_newest(facts: FakeFacts) -> None:
    feed, slow = feed_of(facts), Listener()
    async with asyncio.TaskGroup() as group:
        group.create_task(feed.serve(slow))  # type: ignore[arg-type]
        await slow.until(lambda heard: len(heard.states) == 1)
        slow.gate.clear()
        for _ in range(50):
            facts.advance()
            await asyncio.sleep(0)
        slow.gate.set()
        await slow.until(lambda heard: heard.states[-1]["seq"] == facts.seq)
        slow.gone.set()
    assert len(slow.states) <= 3, "what was under way, and the newest"


async def test_a_stuck_client_is_dropped_and_the_others_stay(
    facts: FakeFacts, caplog: pytest.LogCaptureFixture
) -> None:
    feed, stuck, well = feed_of(facts, send_limit_s=0.05), Listener(), Listener()
    stuck.gate.clear()
    async with asyncio.TaskGroup() as group:
        dropped = group.create_task(feed.serve(stuck))  # type: ignore[arg-type]
        group.create_task(feed.serve(well))  # type: ignore[arg-type]
        await dropped
        facts.advance()
        await well.until(lambda heard: bool(heard.states) and heard.states[-1]["seq"] == facts.seq)
        assert feed.clients == 1
        well.gone.set()
    assert "dropped" in caplog.text


async def test_a_cancelled_feed_ends_as_cancelled(facts: FakeFacts) -> None:
    feed, listener = feed_of(facts), Listener()
    task = asyncio.ensure_future(feed.serve(listener))  # type: ignore[arg-type]
    await listener.until(lambda heard: len(heard.states) == 1)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert feed.clients == 0


@pytest.mark.parametrize("units", ["metric", "us"])
async def test_a_message_made_in_pieces_is_the_one_made_in_one_go(
    facts: FakeFacts, units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    model = Model(facts)
    monkeypatch.setattr(live, "PIECE", 500)
    feed = Feed(facts, "7.abc", lambda state: model.parts(state, Choice(units)))
    text = await feed.text(facts.live())
    with chosen(Choice(units)):
        assert text == dumps(model.message(facts.live()))
    assert text.encode() == str.encode(text)
    assert text.encode("utf-16") == str(text).encode("utf-16")


async def test_others_have_a_turn_while_a_message_is_made(facts: FakeFacts, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "PIECE", 500)
    making = asyncio.ensure_future(Feed(facts, "7.abc", Model(facts).parts).text(facts.live()))
    turns = 0
    while not making.done():
        await asyncio.sleep(0)
        turns += 1
    assert turns > len(facts.live()["tanks"])


async def test_a_message_that_nobody_waits_for_any_more_leaves_no_units_behind(facts: FakeFacts) -> None:
    parts = Model(facts).parts(facts.live(), Choice("us"))
    for name, value in parts:
        if name == "tanks":
            next(value)
            break
    assert units_now() == "metric"
    await asyncio.to_thread(parts.close)  # type: ignore[attr-defined] # another context than that of the beginning


async def test_who_asks_for_an_older_state_than_was_made_gets_the_newer_one(facts: FakeFacts) -> None:
    feed, old = feed_of(facts), facts.live()
    facts.advance()
    new = await feed.text(facts.live())
    assert await feed.text(old) is new
    assert feed.serialised == 1


def test_an_object_in_pieces_reads_as_one() -> None:
    whole = {"a": 1, "b": {"c": [1, "–"], "d": {}}, "e": {}}
    parts = [("a", 1), ("b", iter([("c", [1, "–"]), ("d", {})])), ("e", iter(()))]
    assert "".join(live.dumped(parts)) == dumps(whole)


def test_a_nan_never_leaves_the_house() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        dumps({"level_m": float("nan")})


def test_a_page_message_of_six_tanks_stays_small(facts: FakeFacts) -> None:
    assert (
        len(dumps(Model(facts).message(facts.live()))) < 17_000
    )  # a second's worth for each page; a word more for each tank is 100 bytes
