"""The pages as the server renders them: first values, escaping, weight, nothing inline, nothing from elsewhere."""

import gzip
import re
from dataclasses import replace
from html.parser import HTMLParser

import httpx
import pytest

from console.assets import FOLDER, lean
from console.live import dumps
from console.model import Model
from tests.console.conftest import make_client
from tests.console.fake import FakeFacts

PATHS = [
    "/help", "/help/tank", "/settings",
    "/", "/tank/ostler-n", "/tank/fennock", "/alarms", "/alarms/every", "/alarms/performance", "/buses", "/loops",
    "/loops/LI-fennock", "/loops/LI-fennock/faults/2", "/loops/LI-fennock/faults/1", "/stock", "/stock?month=2026-10",
    "/status", "/water", "/forecast", "/due", "/trends",
    "/reports", "/reports/handover",
]  # fmt: skip
PARTS = [
    "/stock/book?month=2026-11",
    "/tank/ostler-n/chain", "/tank/fennock/movements", "/alarms/list", "/alarms/every/list", "/alarms/history",
    "/status/now",
    "/water/checks", "/due/list",
    "/loops/LI-fennock/faults", "/loops/LI-fennock/faults/2/entries", "/loops/LI-fennock/last", "/loops/LI-pipit/last",
]  # fmt: skip


class Page(HTMLParser):
    """What a browser would act on."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


@pytest.mark.parametrize("path", PATHS)
async def test_a_page_has_all_that_every_page_has(looker: httpx.AsyncClient, path: str) -> None:
    text = (await looker.get(path)).text
    for piece in ("Marrowfield airfield", "SIMULATED", "Harrowmead: High-high level", "and 3 more", "12:00:00",
                  "not an overfill prevention system", 'href="/alarms"', 'href="/loops"', 'value="sun"'):  # fmt: skip
        assert piece in text


async def test_a_real_site_has_no_simulated_banner() -> None:
    async with make_client(FakeFacts(simulated=False)) as client:
        assert "SIMULATED" not in (await client.get("/")).text


@pytest.mark.parametrize("path", PATHS + PARTS)
async def test_nothing_is_inline_and_nothing_comes_from_elsewhere(looker: httpx.AsyncClient, path: str) -> None:
    text = (await looker.get(path)).text
    for tag, attrs in Page(text).tags:
        assert "style" not in attrs
        assert tag != "style"
        assert not [name for name in attrs if name.startswith("on")]
        if tag == "script":
            assert attrs.get("src") or attrs.get("type") == "application/json"
        for name in ("src", "href", "action"):
            assert (attrs.get(name) or "/").startswith(("/", "#"))


def test_scripts_and_styles_name_no_other_host() -> None:
    for file in FOLDER.iterdir():
        assert re.findall(r"https?://(?!www\.w3\.org/2000/svg)", file.read_text()) == [], file.name


@pytest.mark.parametrize("path", [path for path in PATHS if path not in ("/alarms/every", "/alarms/performance")])
async def test_first_values_and_later_messages_are_the_same(
    looker: httpx.AsyncClient, untouched: FakeFacts, path: str
) -> None:
    """Each moving text of the page equals what the feed's message holds at the path that it names."""
    first, *rows = re.split(r'data-in="', (await looker.get(path)).text)
    text = first + "".join(row.replace('"./', f'"{row.partition(chr(34))[0]}/') for row in rows)
    message = Model(untouched).message(untouched.live())
    found = re.findall(r'data-(?:text|fig)="([^"]+)"[^>]*>([^<]*)<', text)
    assert len(found) >= 4  # the head of every page alone: the first alarm, how many more, clock and date
    for where, shown in found:
        value = message
        for key in where.split("/"):
            value = value[key]
        assert shown == (value["t"] if isinstance(value, dict) else value), where


async def test_with_few_days_the_performance_page_judges_nothing(looker: httpx.AsyncClient) -> None:
    enough = (await looker.get("/alarms/performance?days=30")).text
    few = (await looker.get("/alarms/performance?days=1")).text
    assert "<b>missed</b>" in enough
    assert "too little to judge by" not in enough  # exactly 30 days are asked for
    assert "too little to judge by" in few
    assert few.count("<td>not judged</td>") == 13
    assert ">met<" not in few
    assert "missed</b>" not in few


async def test_the_light_mode_comes_from_the_cookie_and_nonsense_is_day(looker: httpx.AsyncClient) -> None:
    night = await looker.get("/", headers={"cookie": "light=night"})
    assert 'data-light="night"' in night.text
    odd = await looker.get("/", headers={"cookie": 'light="><script>'})
    assert 'data-light="day"' in odd.text
    assert "><script>" not in odd.text.split("<head>")[0]


async def test_what_people_wrote_is_escaped(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.standing["LI-fennock.signal_low"]["comment"] = "<img src=x onerror=alert(1)>"
    facts.standing["harrowmead.high"]["name"] = "</script><b>"
    for path in ("/alarms", "/", "/alarms/list"):
        text = (await client.get(path)).text
        assert "<img src=x" not in text
        assert "</script><b>" not in text


async def test_names_of_limits_cannot_break_out_of_the_charts_data(facts: FakeFacts) -> None:
    facts.tanks[0].name = "</script><script>alert(1)</script>"
    async with make_client(facts) as client:
        assert "<script>alert" not in (await client.get("/tank/ostler-n")).text


async def first_load(client: httpx.AsyncClient, page: str) -> dict[str, httpx.Response]:
    """A page and all that it loads before it stands: its styles, its mark, its scripts and what these import."""
    loaded: dict[str, httpx.Response] = {}
    wanted = [page]
    while wanted:
        path = wanted.pop()
        if path in loaded:
            continue
        loaded[path] = answer = await client.get(path)
        assert answer.status_code == 200, path
        wanted += re.findall(r'(?:src|href)="(/static/[^"]+)"', answer.text)
        if path.endswith(".js"):
            wanted += [f"{path.rpartition('/')[0]}/{name}" for name in re.findall(r'from "\./([^"]+)"', answer.text)]
    return loaded


def travelled(answer: httpx.Response) -> int:
    """Bytes on the wire: a long page is sent in pieces and has no length in its head, so it is packed here again."""
    size = answer.headers.get("content-length")
    return len(gzip.compress(answer.content, 5)) if size is None else int(size)


async def test_the_boards_first_load_is_light(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    """For six tanks as they are, with their cards on a phone; for twenty as they travel (aim: under 60 kB)."""
    loaded = await first_load(client, "/")
    assert {"board.css", "sound.js", "mark.svg"} <= {path.rpartition("/")[2] for path in loaded}
    assert sum(len(answer.content) for answer in loaded.values()) < 60_500
    others = [replace(facts.tanks[k % 6], id=f"more-{k}", name=f"More {k}", alarms=[]) for k in range(14)]
    facts.tanks.extend(others)
    facts.status.states |= {one.id: facts.status.states["pipit"] for one in others}
    twenty = (await first_load(client, "/")).values()
    assert sum(travelled(answer) for answer in twenty) < 24_000


async def test_paths_within_a_row_are_short_and_spelt_out_by_what_the_row_is_in(looker: httpx.AsyncClient) -> None:
    row = (await looker.get("/")).text.split('<tr data-in="tanks/pipit"')[1].split("</tr>")[0]
    assert 'data-fig="./tov_m3"' in row
    assert 'data-on="!./torn/torn"' in row
    assert 'data-attr="width=./lying/wet"' in row
    assert "tanks/pipit/" not in row
    assert 'href="/tank/pipit"' in row
    assert "&#34;" not in row


async def test_a_page_with_no_tank_and_no_alarm_says_what_to_do(facts: FakeFacts) -> None:
    facts.tanks.clear()
    facts.standing.clear()
    async with make_client(facts) as client:
        assert "no tank yet" in (await client.get("/")).text
        assert "No alarm stands, and none is set aside." in (await client.get("/alarms")).text
        assert "no instrument yet" in (await client.get("/loops")).text


async def test_a_static_file_of_this_build_may_be_kept_and_another_not(looker: httpx.AsyncClient) -> None:
    address = re.search(r'href="(/static/[^"]+/console\.css)"', (await looker.get("/")).text)
    assert address
    fresh = await looker.get(address.group(1))
    assert "immutable" in fresh.headers["cache-control"]
    assert fresh.headers["content-type"].startswith("text/css")
    old = await looker.get("/static/0000000000/console.css")
    assert old.headers["cache-control"] == "no-store"
    assert old.content == fresh.content


@pytest.mark.parametrize("name", ["nothing.js", "..%2fapp.py", "%2e%2e/app.py", "console.css.map"])
async def test_only_the_static_folders_own_files_are_served(looker: httpx.AsyncClient, name: str) -> None:
    answer = await looker.get(f"/static/x/{name}")
    assert answer.status_code in (404, 422)


def test_a_page_message_is_json(facts: FakeFacts) -> None:
    assert dumps(Model(facts).message(facts.live())).startswith('{"seq":1')


async def test_each_alarm_says_what_to_do_and_within_what_time(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/alarms")).text
    assert "Stop the receipt at the loading valve" in text
    assert "Time to respond: before high-high is reached" in text


def test_scripts_and_styles_travel_without_comments_and_indents() -> None:
    assert (
        lean("a.js", b'// why\nif (a) {\n  // how\n  go("https://x"); // now\n}\n')
        == b'if (a) {\ngo("https://x"); // now\n}\n'
    )
    assert lean("a.css", b"/* head */\n\na { /* two\nlines */ color: red; }\n") == b"a {  color: red; }\n"
    assert lean("a.svg", b"  <svg/>") == b"  <svg/>"
