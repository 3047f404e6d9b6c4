"""Users by command and in a running daemon: who comes in, what is journaled, what no file and no page ever shows."""

import asyncio
import json
import ssl
import subprocess
import time
from pathlib import Path
from typing import Any

import httpx
import pytest

from console.sign_in import hashed_of
from gaugehouse.acting import perform
from gaugehouse.cli import main
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.peopleroom import PeopleRoom
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book
from tests.gaugehouse.farms import running
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.services import need

PASSWORD = "a long enough password"


@pytest.fixture
def site(tmp_path: Path) -> str:
    return str(write_site(tmp_path))


@pytest.fixture
def password(tmp_path: Path) -> str:
    path = tmp_path / "password"
    path.write_text(PASSWORD + "\nand a second line\n")
    return str(path)


def call(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    status = main(["user", *args])
    said = capsys.readouterr()
    return status, said.out, said.err


def listed(capsys: pytest.CaptureFixture[str], site: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(call(capsys, site, "list", "--json")[1])
    return found


def test_the_first_user_is_an_administrator_and_the_last_one_stays(
    site: str, password: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "no users" in call(capsys, site, "list")[1]
    more = ("--password-file", password, "--by", "root")
    status, _, err = call(capsys, site, "add", "Ana", "--role", "operator", *more)
    assert (status, "first user must be administrator" in err) == (3, True)
    assert call(capsys, site, "add", "Ana", "--role", "administrator", *more)[0] == 0
    status, _, err = call(capsys, site, "add", "ana", "--role", "viewer", *more)
    assert (status, "a user Ana already" in err) == (2, True)
    assert call(capsys, site, "add", "Ben", "--role", "viewer", "--role", "operator", *more)[0] == 0
    for refused in (["remove", "Ana"], ["change", "Ana", "--role", "viewer"], ["change", "Ana", "--block"]):
        status, _, err = call(capsys, site, *refused, "--by", "Ben")
        assert (status, "only administrator" in err) == (3, True)
    assert call(capsys, site, "change", "Ben", "--role", "administrator", "--by", "Ana")[0] == 0
    assert call(capsys, site, "remove", "Ana", "--by", "Ben")[0] == 0
    (left,) = listed(capsys, site)
    assert (left["user"], left["roles"]) == ("Ben", ["administrator"])
    assert call(capsys, site, "remove", "Nobody", "--by", "Ben")[0] == 2


@pytest.mark.parametrize(
    ("args", "status", "words"),
    [
        (["add", "Ana", "--role", "king", "--by", "root"], 2, "invalid choice"),
        (["add", "Ana", "--role", "viewer"], 2, "--by"),
        (["change", "Ana", "--by", "root"], 2, "nothing to change"),
        (["token", "Ana", "--label", "x", "--for", "90", "--by", "root"], 2, "--for"),
        (["token", "Ana", "--label", "x", "--for", "9 s", "--by", "root"], 2, '"1 min" to "5 years"'),
        (["token", "Ana", "--label", "x", "--by", "root"], 2, "no user 'Ana'"),
        (["revoke", "x", "--by", "root"], 2, "no token or display 'x'"),
        (["revoke", "", "--by", "root"], 2, "no such session"),
        (["display", "Ana", "--label", "gate", "--for", "500 d", "--by", "root"], 2, '"1 min" to "400 d"'),
        (["display", "Ana", "--label", "gate", "--by", "root"], 3, "no daemon runs"),
        (["display", "Ana", "--by", "root"], 2, "--label"),
        (["token", "Ana", "--label", "", "--by", "root"], 2, "label is empty"),
        (["link", "Ana", "--by", "root"], 3, "no daemon runs"),
    ],
)
def test_a_wrong_call_is_told(
    site: str, capsys: pytest.CaptureFixture[str], args: list[str], status: int, words: str
) -> None:
    got, _, err = call(capsys, site, *args)
    assert (got, words in err) == (status, True), err


@pytest.mark.parametrize("text", ["short", "a long name", ""])
def test_a_password_that_is_easy_to_guess_is_refused(
    site: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    path = tmp_path / "weak"
    path.write_text(text)
    args = (site, "add", "A long name", "--role", "administrator", "--password-file", str(path), "--by", "root")
    status, _, err = call(capsys, *args)
    assert (status, "too easy to guess" in err) == (2, True)
    assert listed(capsys, site) == []


async def test_a_daemon_lets_in_by_password_token_and_link_and_journals_it(
    tmp_path: Path, password: str, capsys: pytest.CaptureFixture[str]
) -> None:
    async def user(*args: str) -> tuple[int, str, str]:
        return await asyncio.to_thread(call, capsys, str(tmp_path / "farm" / "site.toml"), *args)

    async with running(tmp_path / "farm") as run, run.client() as client:
        tank = run.site.tanks[0].id
        reset = f"api/tanks/{tank}/extremes/reset"
        assert (await client.post(reset, json={"by": "Ada"})).status_code == 200
        more = ("--password-file", password, "--by", "root")
        assert (await user("add", "Ana", "--role", "administrator", *more))[0] == 0
        assert (await user("add", "Ben", "--role", "viewer", *more))[0] == 0
        assert (await client.post(reset, json={"by": "Ada"})).status_code == 401
        assert (await client.post("sign-in", data={"name": "Ben", "password": "wrong"})).status_code == 401
        assert (await client.post("sign-in", data={"name": "ben", "password": PASSWORD})).status_code == 303
        assert (await client.get("api/me")).json()["name"] == "Ben"
        refused = await client.post(reset, json={})
        assert refused.status_code == 403
        assert "for operator or maintainer or administrator" in refused.json()["detail"]
        assert (await client.post("sign-out")).status_code == 303
        _, url, _ = await user("link", "Ana", "--by", "root")
        assert (await client.get(url.strip())).status_code == 303
        assert (await client.post(reset, json={})).json()["by"] == "Ana"
        assert (await client.get(url.strip())).status_code == 401
        status, token, _ = await user("token", "Ana", "--label", "scraper", "--by", "root")
        assert status == 0
        async with run.client(headers={"Authorization": f"Bearer {token.strip()}"}) as it:
            assert (await it.get("api/me")).json()["roles"] == ["viewer"]
            assert (await it.post(reset, json={})).status_code == 403
            assert (await user("revoke", "scraper", "--by", "root"))[0] == 0
            assert (await it.get("api/me")).json()["name"] is None
        cookie = client.cookies["gaugehouse"]
        assert (await user("change", "Ana", "--password-file", password, "--by", "root"))[0] == 0
        assert (await client.get("api/me")).json()["name"] is None, "a new password ends the sessions of the old one"
    site = load_site(tmp_path / "farm" / "site.toml")
    with look_into_book(site) as book:
        entries = [(e.kind, e.body["event"], e.body["user"]) for e in book.entries(["user", "sign_in"])]
        whole = json.dumps([dict(entry.body) for entry in book.entries()])
        state = json.dumps(book.state())
    assert entries == [
        ("user", ["made"], "Ana"), ("user", ["made"], "Ben"), ("sign_in", "failed", "Ben"),
        ("sign_in", "session", "Ben"), ("sign_in", "session ended", "Ben"), ("sign_in", "link", "Ana"),
        ("sign_in", "session", "Ana"), ("sign_in", "token", "Ana"), ("sign_in", "token ended", "Ana"),
        ("user", ["password"], "Ana"),
    ]  # fmt: skip
    for secret in (PASSWORD, "argon2", token.strip(), cookie, hashed_of(cookie), url.strip().rpartition("/")[2]):
        assert secret not in whole
    for secret in (PASSWORD, token.strip(), cookie, url.strip().rpartition("/")[2]):
        assert secret not in state


async def test_a_session_outlives_a_restart(tmp_path: Path, password: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "farm" / "site.toml")
    async with running(tmp_path / "farm") as run, run.client() as client:
        args = (path, "add", "Ana", "--role", "administrator", "--password-file", password, "--by", "root")
        assert (await asyncio.to_thread(call, capsys, *args))[0] == 0
        assert (await client.post("sign-in", data={"name": "Ana", "password": PASSWORD})).status_code == 303
        cookie = client.cookies["gaugehouse"]
    async with running(tmp_path / "farm") as run, run.client() as client:
        answer = await client.get("api/me", headers={"Cookie": f"gaugehouse={cookie}"})
        assert answer.json()["name"] == "Ana"


def test_keys_that_are_over_go_and_the_room_comes_back_as_it_was() -> None:
    from gaugehouse.peopleroom import SESSION, TOKEN, Key, User

    room = PeopleRoom()
    room.put_user(User("Ana", ("administrator",), "hash", 1, "root"))
    for number, until_ms in ((1, 50), (2, 500), (3, 600)):
        room.put_key(Key(f"k{number}", SESSION if number < 3 else TOKEN, "Ana", ("viewer",), "", 1, until_ms), 10)
    first = dict(room.save(True))
    room.put_key(Key("k4", SESSION, "Ana", (), "", 100, 900), 100)
    again = PeopleRoom()
    kept = first | dict(room.save(True))
    assert kept["key/k1"] is None
    again.restore({name: state for name, state in kept.items() if state is not None})
    assert again.save(False) == room.save(False)
    assert room.save(True) == {}
    again.end_keys_of("ANA")
    assert again.key("k2") is again.key("k4") is None


@pytest.mark.service
async def test_with_a_certificate_it_speaks_tls_only_and_cookies_are_secure(
    tmp_path: Path, password: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "farm"
    folder.mkdir()
    subprocess.run(
        [need("openssl"), "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
         "-days", "2", "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout",
         folder / "key.pem", "-out",
         folder / "cert.pem"], check=True, capture_output=True,
    )  # fmt: skip
    tls = {"console_certificate": folder / "cert.pem", "console_key": folder / "key.pem"}
    trust = ssl.create_default_context(cafile=str(folder / "cert.pem"))
    async with running(folder, changes=tls) as run, run.client(verify=trust) as client:
        assert run.daemon.url.startswith("https://")
        args = (str(folder / "site.toml"), "add", "Ana", "--role", "administrator", "--password-file", password)
        assert (await asyncio.to_thread(call, capsys, *args, "--by", "root"))[0] == 0
        answer = await client.post("sign-in", data={"name": "Ana", "password": PASSWORD})
        assert "secure" in answer.headers["set-cookie"].lower()
        assert "wss://127.0.0.1" in answer.headers["content-security-policy"]
        with pytest.raises(httpx.HTTPError):
            async with httpx.AsyncClient(base_url=run.daemon.url.replace("https", "http")) as plain:
                await plain.get("api/me")


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('certificate = "none.pem"\nprivate_key = "none.pem"', 'there is no file "none.pem"'),
        ('certificate = "site.toml"', "add private_key"),
        ('private_key = "site.toml"', "add certificate"),
        ('certificate = "site.toml"\nprivate_key = "site.toml"', "no certificate and key that belong together"),
        ('proxies = ["nginx"]', "no address"),
        ('session = "1 s"', "session"),
    ],
)
def test_mistakes_of_the_console_s_keys_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], keys: str, words: str
) -> None:
    site = write_site(tmp_path, LOOP_SITE + f"\n[console]\n{keys}\n")
    assert main(["check", str(site)]) == 2
    assert words in capsys.readouterr().out


def test_a_console_for_others_without_encryption_is_warned_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = write_site(tmp_path, LOOP_SITE + '\n[console]\nhost = "0.0.0.0"\nnames = ["farm.example"]\n')
    assert main(["check", str(site)]) == 0
    assert "does not encrypt: passwords can be read on the way" in capsys.readouterr().out


async def test_a_display_looks_for_four_hundred_days_and_is_called_back_by_its_label(
    tmp_path: Path, password: str, capsys: pytest.CaptureFixture[str]
) -> None:
    async def user(*args: str) -> tuple[int, str, str]:
        return await asyncio.to_thread(call, capsys, str(tmp_path / "farm" / "site.toml"), *args)

    async with running(tmp_path / "farm") as run, run.client() as screen:
        more = ("--password-file", password, "--by", "root")
        assert (await user("add", "Ana", "--role", "administrator", *more))[0] == 0
        assert (await user("add", "Ben", "--role", "operator", *more))[0] == 0
        status, url, told = await user("display", "Ben", "--label", "gate screen", "--by", "Ana")
        assert (status, "within 15 minutes" in told) == (0, True)
        entered = await screen.get(url.strip())
        assert entered.status_code == 303
        days = {name: text for name, _, text in (part.strip().partition("=") for part in
                entered.headers["set-cookie"].split(";"))}  # fmt: skip
        assert days["Max-Age"] == str(400 * 86_400), "for as long as a browser keeps a cookie"
        assert (await screen.get(url.strip())).status_code == 401, "the link is used up"
        assert (await screen.get("api/me")).json() | {"users": True} == {
            "name": "Ben", "roles": ["viewer"], "users": True,
        }  # fmt: skip
        tank = run.site.tanks[0].id
        refused = await screen.post(f"api/tanks/{tank}/extremes/reset", json={})
        assert refused.status_code == 403, "an operator's screen only looks"
        facts = run.daemon.facts
        assert facts is not None
        hashed = hashed_of(screen.cookies["gaugehouse"])
        now_ms = time.time_ns() // 1_000_000
        assert facts.people.person(hashed, now_ms + 399 * 86_400_000) is not None
        assert facts.people.person(hashed, now_ms + 401 * 86_400_000) is None
        rows = await asyncio.to_thread(listed, capsys, str(tmp_path / "farm" / "site.toml"))
        assert [row["label"] for row in rows if row["kind"] == "display"] == ["gate screen"]
        assert (await user("revoke", "gate screen", "--by", "Ana"))[0] == 0
        assert (await screen.get("api/me")).json()["name"] is None
        _, second, _ = await user("display", "Ben", "--label", "shed", "--for", "60 d", "--by", "Ana")
        assert (await user("revoke", "shed", "--by", "Ana"))[0] == 0
        assert (await screen.get(second.strip())).status_code == 401, "its link ends with it"
        site = run.site
    with look_into_book(site) as book:
        entries = [(e.body["event"], e.body["user"], e.body["label"]) for e in book.entries(["sign_in"])]
    assert entries == [
        ("link", "Ben", "gate screen"), ("display", "Ben", "gate screen"), ("display ended", "Ben", "gate screen"),
        ("link", "Ben", "shed"),
    ]  # fmt: skip


def test_a_display_can_be_no_more_than_a_viewer(site: str, password: str) -> None:
    more = ["--password-file", password, "--by", "root"]
    assert main(["user", site, "add", "Ana", "--role", "administrator", *more]) == 0
    key = {
        "hash": "0" * 64,
        "kind": "display",
        "user": "Ana",
        "label": "gate",
        "now_ms": 0,
        "until_ms": 10,
        "by": "Ana",
    }
    with pytest.raises(CouldNot, match="a display only looks"):
        perform(load_site(Path(site)), "put_key", key)
    with pytest.raises(CouldNot, match="a display only looks"):
        perform(load_site(Path(site)), "put_key", key | {"kind": "link", "lasts_ms": 5, "roles": ["operator"]})
    with pytest.raises(CallError, match="400 days"):
        perform(load_site(Path(site)), "put_key", key | {"lasts_ms": 401 * 86_400_000})
    assert perform(load_site(Path(site)), "put_key", key | {"roles": ["viewer"]}).status.value == "done"
