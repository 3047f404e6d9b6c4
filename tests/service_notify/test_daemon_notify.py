"""The whole daemon with channels to real servers, which are killed, hang and come back while alarms are raised."""

import asyncio
import json
import logging
import re
import time
from collections import Counter
from pathlib import Path
from typing import Any

import httpx
import pytest

from gaugehouse.cli import main
from gaugehouse.records import ALARM, NOTIFIED
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book
from tests.fault.lives import lived
from tests.gaugehouse.farms import Running, running
from tests.service_mqtt.brokers import listening, mosquitto
from tests.service_notify.mailserver import PASSWORD
from tests.service_notify.outside import Outside, hook, mail

TOKEN = "t0ken-of-the-hook-4711"
PATH = "/hooks/s3cr3t-path"
SPEED = 60.0


def mailing(port: int, *more: str, channel: str = "mail") -> str:
    lines = [
        "[[notify]]", f'id = "{channel}"', 'kind = "email"', 'host = "127.0.0.1"', f"port = {port}",
        'security = "none"', 'from_address = "gh@farm.example"', 'to = ["duty@home.example"]', *more, "",
    ]  # fmt: skip
    return "\n" + "\n".join(lines)


def hooking(folder: Path, port: int, *more: str, channel: str = "hook") -> str:
    """An address that is a secret, in a file."""
    folder.mkdir(exist_ok=True)
    (folder / "hook-address").write_text(f"http://127.0.0.1:{port}{PATH}\n", encoding="utf-8")
    lines = ["[[notify]]", f'id = "{channel}"', 'kind = "webhook"', 'url_file = "hook-address"', *more, ""]
    return "\n" + "\n".join(lines)


def asked(site: Site) -> set[str]:
    """Every occurrence that asked somebody, as the record book has it."""
    with look_into_book(site) as book:
        return {
            f"{e.body['source']}.{e.body['condition']}#{e.body['occurrence']}"
            for e in book.entries([ALARM])
            if e.body["state"] == "unacknowledged"
        }


def spread(names: list[str]) -> list[str]:
    """`a.high#2-4` as its three occurrences."""
    out = []
    for name in names:
        alarm, _, numbers = name.partition("#")
        first, _, last = numbers.partition("-")
        out += [f"{alarm}#{k}" for k in range(int(first), int(last or first) + 1)]
    return out


def written(site: Site, channel: str) -> tuple[list[str], list[str]]:
    """What the book says was told on a channel: occurrences, and the keys of the messages."""
    with look_into_book(site) as book:
        entries = [entry.body for entry in book.entries([NOTIFIED]) if entry.body["channel"] == channel]
    return [one for body in entries for one in spread(list(body["alarms"]))], [str(body["key"]) for body in entries]


def heard(server: Outside, kind: str = "alarm") -> list[str]:
    """Occurrences that a webhook was told of, every time."""
    names = [
        f"{one['id']}#{one['first_occurrence']}-{one['occurrence']}"
        for taken in server.taken
        if taken["body"]["kind"] == kind
        for one in taken["body"].get("alarms", [])
    ]
    return spread(names)


async def until(what: object, seconds: float = 60.0) -> None:
    assert callable(what)
    async with asyncio.timeout(seconds):
        while not what():
            await asyncio.sleep(0.05)


def state_of(run: Running, alarm: str) -> str:
    live = run.daemon.facts.live()  # type: ignore[union-attr]
    return next((one["state"] for one in live["alarms"] if one["id"] == alarm), "normal")


@pytest.mark.timeout(300)
async def test_servers_killed_and_started_again_lose_nothing_and_hear_nothing_twice(
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    caplog.set_level(logging.INFO)
    monkeypatch.setenv("HOOK_TOKEN", TOKEN)
    monkeypatch.setenv("MAIL_PASSWORD", PASSWORD)
    folder = tmp_path / "farm"
    with mail(tmp_path, "login") as post, hook(tmp_path) as web:
        async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
            more = "\n[mqtt]\n" + f'host = "127.0.0.1"\nport = {broker.port}\n'
            more += mailing(post.port, 'username = "ana"', 'password_env = "MAIL_PASSWORD"', 'alive_every = "10 min"')
            more += hooking(folder, web.port, 'token_env = "HOOK_TOKEN"')
            more += '\n[[notify]]\nid = "bus"\nkind = "mqtt"\n'
            async with running(folder, speed=SPEED, more=more) as run:
                channels = run.daemon.facts.channels  # type: ignore[union-attr]
                await until(lambda: post.taken and web.taken and not any(c["waiting"] for c in channels()))
                post.kill()
                web.kill()
                broker.kill()
                await until(lambda: all(c["failing"] for c in channels()), 60)
                await until(lambda: state_of(run, "notify-mail.notification_failing") == "unacknowledged")
                post.start()
                web.start()
                await broker.start()
                await until(lambda: not any(c["failing"] or c["waiting"] for c in channels()), 60)
                await until(lambda: state_of(run, "notify-mail.notification_failing") != "unacknowledged")
                await until(lambda: len(signs_of_life(post)) >= 2, 60)
                async with httpx.AsyncClient(base_url=run.daemon.url) as client:
                    shown = [(await client.get(p)).text for p in ("", "alarms", "api/notify", "api/live", "api/site")]
                site = run.site
        told = {channel: written(site, channel) for channel in ("mail", "hook", "bus")}
    wanted = asked(site)
    assert {one.partition("#")[0] for one in wanted} >= {f"notify-{c}.notification_failing" for c in told}
    for channel, (occurrences, _) in told.items():
        own = {one for one in wanted if one.startswith(f"notify-{channel}.")}
        # What came in the daemon's last moments may still wait for company: it is in the kept state, not lost.
        kept = waiting(site, channel)
        assert set(occurrences) | kept == wanted - own, channel
        assert [one for one, times in Counter(occurrences).items() if times > 1] == []
    # What the other sides took is what the book says, each once. (Killed between messages, not within one.) But for
    # one message whose answer came when the daemon ended: it is in the kept state, to come again under its name.
    assert Counter(told["hook"][0]) - Counter(heard(web)) == Counter()
    assert set(Counter(heard(web)) - Counter(told["hook"][0])) <= waiting(site, "hook")
    ids = [re.sub(r"[<>]|@.*", "", taken["headers"]["Message-ID"]) for taken in post.taken]
    alive = signs_of_life(post)
    assert len(ids) == len(set(ids))
    assert len(ids) - len(told["mail"][1]) - len(alive) in ((0, 1) if waiting(site, "mail") else (0,))
    assert set(told["mail"][1]) <= set(ids)
    assert all(taken["headers"]["Subject"].startswith("SIMULATED") for taken in post.taken)
    assert len(listener.of("notify")) == 0  # this listener went down with its broker; the book has the word above
    with look_into_book(site) as book:
        everything = json.dumps([dict(entry.body) for entry in book.entries()]) + json.dumps(book.state())
    everything += caplog.text + "".join(shown)
    for secret in (PASSWORD, TOKEN, PATH, "s3cr3t-path"):
        assert secret not in everything
    capsys.readouterr()
    assert main(["alarms", str(site.path), "--told", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    names = [spread(row["alarms"].split()) for row in rows if row["channel"] == "hook"]
    assert [one for message in names for one in message] == [one for one in heard(web) if one in told["hook"][0]]
    assert {row["answer"] for row in rows if row["channel"] == "mail"} == {"2.0.0 kept as number 7"}


def signs_of_life(post: Outside) -> list[dict[str, Any]]:
    """The mails that only say that the daemon is there."""
    return [taken for taken in post.taken if "alive" in taken["headers"]["Subject"]]


def waiting(site: Site, channel: str) -> set[str]:
    """Occurrences that the channel's kept state still has to tell."""
    with look_into_book(site) as book:
        cases = json.loads(book.state()[f"notify/{channel}"])["cases"]
    return {
        one for case in cases if case.get("first") for one in spread([f"{case['id']}#{case['first']}-{case['last']}"])
    }


@pytest.mark.timeout(150)
async def test_mqtt_hears_each_alarm_with_its_words(tmp_path: Path) -> None:
    async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
        more = f'\n[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\n\n[[notify]]\nid = "bus"\nkind = "mqtt"\n'
        async with running(tmp_path / "farm", speed=SPEED, more=more):
            await listener.until(lambda all_: any(one.topic.endswith("/notify/bus") for one in all_), 60)
            message = listener.last("/notify/bus")
    assert not message.retained
    body = message.json
    assert (body["kind"], body["channel"], body["simulated"]) == ("alarm", "bus", True)
    assert body["alarms"][0]["action"]
    assert body["text"].startswith("SIMULATED FARM")


@pytest.mark.timeout(150)
async def test_a_channel_that_hangs_holds_up_neither_another_nor_the_core(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    with mail(tmp_path) as post, hook(tmp_path, "0") as web:
        more = mailing(post.port) + hooking(folder, web.port)
        async with running(folder, speed=SPEED, more=more) as run:
            await until(lambda: len(post.taken) >= 2, 60)
            seq = run.daemon.facts.live()["seq"]  # type: ignore[union-attr]
            await run.until(lambda live: live["seq"] > seq)
            assert web.taken == []


@pytest.mark.timeout(240)
def test_a_daemon_killed_between_the_decision_and_the_sending_sends_after_its_restart(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    with hook(tmp_path) as web:
        more = hooking(folder, web.port, "priorities = [1, 2, 3]", 'gather = "0 s"')
        (folder / "more.toml").write_text(more, encoding="utf-8")
        web.stop()  # it takes our bytes and does not answer: the message is under way when the daemon dies
        with lived(folder, str(SPEED)):
            site = load_site(folder / "site.toml")
            deadline = time.monotonic() + 60
            while not asked(site):
                assert time.monotonic() < deadline, "no alarm was raised"
                time.sleep(0.1)
            time.sleep(0.5)
        wanted = asked(site)
        assert wanted
        assert written(site, "hook")[0] == []
        web.kill()
        web.start()
        with lived(folder, str(SPEED)):
            while not wanted <= set(heard(web)):
                assert time.monotonic() < deadline + 60, f"not told after the restart: {wanted - set(heard(web))}"
                time.sleep(0.1)
    assert wanted <= set(heard(web))
