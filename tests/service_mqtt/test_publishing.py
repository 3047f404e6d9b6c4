"""What the daemon's glue makes of the record book: payloads, the cursor, the first start, what the site gave up."""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.lifecycle import State
from collector.mqtt_messages import Stretch
from gaugehouse.publishing import (
    CURSOR,
    BookOutbox,
    NumberedBook,
    Publishing,
    broker_of,
    publishing_of,
    reading_payload,
)
from gaugehouse.rows import ALARM_COLUMNS, reading_json
from gaugehouse.site import MqttSpec, load_site
from gaugehouse.stores import RECORDS, look_into_book
from gaugehouse.wiring import core_of
from history.chain import Head
from history.errors import StoreUnavailable
from history.readers import ReaderPool
from models.reading import READING_COLUMNS, Quality, Reading, Reason
from tests.gaugehouse.sites import LOOP_SITE, loop_site, write_site
from tests.service_mqtt.books import T0_MS, Farm, farm
from tests.service_mqtt.imagined import Wire, until

STANDS = {
    "core": State.UNACKNOWLEDGED.value, "hidden": [], "priority": 2, "occurrence": 2, "raised_ms": T0_MS,
    "returned_ms": None, "acknowledged_by": "", "acknowledged_ms": None, "comment": "", "value": 11.2,
}  # fmt: skip
"""The high alarm of palm, standing, as the record book keeps it beside its entries."""


@contextlib.asynccontextmanager
async def told(site: Farm, wire: Wire) -> AsyncIterator[Publishing]:
    async with site.published(wire.connect) as publishing, asyncio.TaskGroup() as group:
        group.create_task(publishing.run())
        yield publishing
        publishing.stop()


async def test_an_alarm_message_has_the_columns_of_alarms_csv_and_who_why_and_which(tmp_path: Path) -> None:
    wire = Wire()
    async with farm(tmp_path, 1) as site, told(site, wire):
        await site.write(3)
        await until(lambda: len(wire.numbers()) == 3)
    first, _, third = (json.loads(m.payload) for m in wire.taken if m.n)
    assert set(ALARM_COLUMNS) | {"id", "occurrence", "by", "comment", "name", "n", "value", "head"} == set(first)
    assert first == {
        "n": 1,
        "id": "palm.high",
        "time": "2026-01-01T00:00:00.000Z",
        "source": "palm",
        "condition": "high",
        "priority": 2,
        "event": "raised",
        "state": "unacknowledged",
        "occurrence": 1,
        "by": "",
        "comment": "",
        "name": first["name"],
        "value": None,
        "head": first["head"],
    }
    with look_into_book(site.site) as book:
        assert book.verify(Head.parse(first["head"])).unbroken
        assert str(book.head()) == third["head"]
    assert first["name"] not in ("", "high"), "words for people"
    assert (third["event"], third["by"], third["time"]) == ("acknowledged", "Ana", "2026-01-01T00:00:02.000Z")
    assert [m.topic for m in wire.taken if m.n] == ["gaugehouse/test/alarm/palm.high"] * 3


def test_a_reading_message_is_a_row_of_readings_csv_marked_where_it_is_simulated() -> None:
    reading = Reading(7, T0_MS, "palm", Quality.UNCERTAIN, Reason.SUB_NORMAL, level_m=9.123456, tov_m3=-0.00001)
    content = json.loads(reading_payload(reading, simulated=False))
    assert list(content) == list(READING_COLUMNS)
    assert content == reading_json(reading)
    assert (content["time"], content["quality"], content["level_m"]) == (
        "2026-01-01T00:00:00.000Z",
        "Uncertain",
        9.12346,
    )
    assert content["gsv_m3"] is None
    assert json.loads(reading_payload(reading, simulated=True)) == content | {"simulated": True}


async def test_the_first_start_with_an_old_book_tells_what_stands_and_not_what_was(tmp_path: Path) -> None:
    wire = Wire()
    async with farm(tmp_path, 1) as site:
        await site.write(4)  # the fourth raises the alarm a second time: it stands
        await site.writer.save_state({"alarm/palm.high": json.dumps(STANDS)})
        async with told(site, wire):
            await until(lambda: wire.numbers())
            assert site.book.state()[CURSOR] == "4"
            await site.write()
            await until(lambda: len(wire.numbers()) == 2)
        assert wire.numbers() == [4, 5]


async def test_what_is_still_to_come_is_not_told_as_standing(tmp_path: Path) -> None:
    """The outbox has read on to entry 4, the broker has 3: the state of entry 4 comes in its turn."""
    async with farm(tmp_path, 1) as site:
        await site.write(4)
        await site.writer.save_state({"alarm/palm.high": json.dumps(STANDS)})
        core = core_of(site.site)
        core.restore(site.book.state())
        pool = ReaderPool(workers=1)
        with contextlib.closing(NumberedBook.open(site.site.store_path / RECORDS, site.site.id)) as book:
            outbox = BookOutbox(book, pool, site.writer, core, simulated=False)
            assert [m.n for m in (await outbox.after(0, 10)).messages] == [1, 2, 3, 4]
            assert await outbox.standing(3) == []
            assert [m.n for m in await outbox.standing(4)] == [4]
            assert await outbox.after(4, 10) == Stretch([], 4)
            await pool.aclose()


async def test_alarms_between_the_first_start_and_the_first_connection_are_told(tmp_path: Path) -> None:
    wire = Wire()
    wire.away = True
    async with farm(tmp_path, 1) as site:
        await site.write(2)
        async with told(site, wire) as publishing:
            await site.write(2)
            await until(lambda: publishing.counters().failures)
            assert publishing.counters().waiting_alarms == 2
        wire.away = False
        async with told(site, wire) as publishing:
            assert publishing.counters().waiting_alarms == 2
            await until(lambda: wire.numbers() == [3, 4])
        assert site.book.state()[CURSOR] == "4"


async def test_a_site_that_publishes_no_more_forgets_its_cursor(tmp_path: Path) -> None:
    async with farm(tmp_path, 1) as site:
        async with site.published(Wire().connect):
            assert site.book.state()[CURSOR] == "0"
        mute = core_of(replace(site.site, mqtt=None))
        async with publishing_of(mute, site.writer, simulated=False) as publishing:
            assert publishing is None
        assert CURSOR not in site.book.state()


async def test_a_cursor_beyond_the_book_is_told_and_begins_at_its_end(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    wire = Wire()
    async with farm(tmp_path, 1) as site:
        await site.write(2)
        await site.writer.save_state({CURSOR: "90"})
        async with told(site, wire) as publishing:
            assert publishing.counters().cursor == 2
            await site.write()
            await until(lambda: wire.numbers() == [3])
    assert "an older copy?" in caplog.text


async def test_tanks_and_alarms_that_the_site_gave_up_are_taken_from_the_broker(tmp_path: Path) -> None:
    wire = Wire()
    async with farm(tmp_path, 1) as site:
        gone = {"tank/old": "{}", "alarm/old.high": "{}"}
        here = {"alarm/receiving": "{}", "fault/palm-top": "{}"}
        await site.writer.save_state(gone | here)
        async with publishing_of(core_of(site.site), site.writer, simulated=False, connect=wire.connect) as publishing:
            assert publishing is not None
            async with asyncio.TaskGroup() as group:
                group.create_task(publishing.run())
                await until(lambda: len(wire.taken) == 3)
                publishing.stop()
    cleared = {m.topic for m in wire.taken if m.payload == b""}
    assert cleared == {"gaugehouse/test/tank/old", "gaugehouse/test/alarm/old.high"}


async def test_a_book_that_cannot_be_written_stops_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wire = Wire()
    async with farm(tmp_path, 1) as site:

        async def full(state: object) -> None:
            raise StoreUnavailable("disk full")

        async with told(site, wire) as publishing:
            await until(lambda: publishing.counters().connected)
            with monkeypatch.context() as patch:
                patch.setattr(site.writer, "save_state", full)
                await site.write(2)
                await until(lambda: wire.numbers() == [1, 2])
                await until(lambda: publishing.counters().last_error == "disk full")
            await site.write()
            await until(lambda: wire.numbers() == [1, 2, 3])
        assert site.book.state()[CURSOR] == "3"


def test_the_broker_is_the_site_files(tmp_path: Path) -> None:
    site = loop_site(tmp_path)
    plain = broker_of(site, MqttSpec("localhost", 1883))
    assert (plain.client_id, plain.tls, plain.protocol, plain.keepalive_s) == ("gaugehouse-test", None, "5", 30)
    secret = tmp_path / "secret"
    secret.write_text("word\n")
    spec = MqttSpec(
        "localhost", 8883, tls=True, ca=tmp_path / "ca", username="u", password_file=secret, client_id="x",
        protocol="3.1.1", keepalive_ms=5_500,
    )  # fmt: skip
    full = broker_of(site, spec)
    assert full.tls is not None
    assert (full.tls.ca, full.client_id, full.protocol, full.keepalive_s) == (tmp_path / "ca", "x", "3.1.1", 5)
    assert full.password() == "word"
    assert "word" not in repr(full)


def test_every_key_of_the_broker_is_read_from_the_site_file(tmp_path: Path) -> None:
    for name in ("ca.pem", "own.pem", "own.key"):
        (tmp_path / name).touch()
    keys = """
[mqtt]
host = "broker.example"
tls = true
ca = "ca.pem"
certificate = "own.pem"
private_key = "own.key"
username = "farm"
password_file = "secret"
client_id = "north:1"
protocol = "3.1.1"
keepalive = "1 min"
interval = "500 ms"
"""
    site = load_site(write_site(tmp_path, LOOP_SITE + keys))
    assert site.mqtt == MqttSpec(
        "broker.example",
        8883,
        tls=True,
        ca=tmp_path / "ca.pem",
        certificate=tmp_path / "own.pem",
        private_key=tmp_path / "own.key",
        username="farm",
        password_file=tmp_path / "secret",
        client_id="north:1",
        protocol="3.1.1",
        keepalive_ms=60_000,
        interval_ms=500,
    )
    assert site.settings["mqtt.private_key"] == "own.key"
