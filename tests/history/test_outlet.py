"""The outlet against a real HTTP server that answers as told: what moves on, what waits, what is set aside.

Answers as InfluxData's API reference for /api/v2/write names them (204, 400, 401, 404, 413, 422, 429, 503); the texts
of the 400s as influxd 1.6.7 gives them. Retry-After: RFC 9110, 10.2.3.
"""

import json
import logging
import re
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import NamedTuple

import pytest

from gaugehouse.errors import CallError
from history.following import Cursor
from history.outlet import Outlet, OutletCounters
from history.posting import InfluxPoster
from history.rejects import RejectList
from history.sqlite import SqliteStore
from history.tidying import Kept
from tests.history.samples import NOON_MS, bad, reading, run
from tests.history.scripted import HANG, RESET, TAKEN, Answer, Scripted, scripted
from tests.ports import free_port

PATIENCE_S = 60.0
"""With a server that answers: a busy machine may let neither of the two have a turn for seconds."""

CONFLICT = (
    'partial write: field type conflict: input field "level_m" on measurement "reading" is type float, already exists '
    "as type integer dropped=1"
)


class Where(NamedTuple):
    url: str
    org: str = "farm-org"
    bucket: str = "tanks"
    ca: Path | None = None


@pytest.fixture
def server() -> Iterator[Scripted]:
    with scripted() as made:
        yield made


class Rig(NamedTuple):
    store: SqliteStore
    outlet: Outlet
    rejects: Path

    def drain(self, steps: int = 1000) -> int:
        """Steps until there is nothing to do or it fails."""
        for k in range(steps):
            if self.outlet.step() > 0:
                return k
        raise AssertionError("never done")

    @property
    def counters(self) -> OutletCounters:
        return self.outlet.counters()

    def aside(self) -> list[dict[str, str]]:
        return [json.loads(line) for line in self.rejects.read_text().splitlines()] if self.rejects.exists() else []


def rig_of(folder: Path, server: Scripted, token: str = "s3cret-token", **options: object) -> Rig:
    store = SqliteStore.open(folder / "readings.sqlite", "FARM")
    poster = InfluxPoster(Where(server.url), lambda: token, timeout_s=PATIENCE_S)
    rejects = folder / "rejected-main.jsonl"
    return Rig(
        store, Outlet("main", "FARM", store, poster, RejectList(rejects), chance=lambda: 1.0, **options), rejects
    )


@pytest.fixture
def rig(tmp_path: Path, server: Scripted) -> Iterator[Rig]:
    made = rig_of(tmp_path, server, lines_a_post=8)
    yield made
    made.outlet.stop(5)
    made.store.close()


def seqs(lines: Sequence[str]) -> list[int]:
    return [int(float(line.partition("seq=")[2].partition(",")[0])) for line in lines]


def test_everything_goes_out_once_in_order_and_the_cursor_follows(rig: Rig, server: Scripted) -> None:
    rig.store.append(run(30) + run(30, tank="T-2", first_seq=5))
    rig.drain()
    assert len(server.taken) == len(server.points) == 60
    assert seqs(server.taken) == sorted(seqs(server.taken))
    assert rig.store.cursor("main") == Cursor(34, sent=60)
    assert set(server.paths) == {"/api/v2/write?org=farm-org&bucket=tanks&precision=ns"}
    assert set(server.tokens) == {"Token s3cret-token"}
    rig.store.append(run(1, first_seq=40))
    rig.drain()
    assert len(server.taken) == 61


def test_a_figure_that_is_not_known_is_no_field_and_no_line_is_empty(rig: Rig, server: Scripted) -> None:
    """The client itself drops NaN in silence and writes an empty line for a point of nothing: ours never get there."""
    rig.store.append([bad(1, NOON_MS, current_mA=None)._replace(temperature_degC=None), reading(2, NOON_MS + 1)])
    rig.drain()
    assert server.taken[0].split(" ")[1] == "seq=1.0,quality=2.0,reason=3.0,stock_quality=2.0,bound=0.0"
    assert all("nan" not in line.lower() and "i," not in line and line for line in server.taken)
    assert rig.counters.sent == 2


def test_the_cursor_does_not_move_before_the_server_has_taken_a_batch(rig: Rig, server: Scripted) -> None:
    server.answers = [TAKEN, Answer(503)]
    rig.store.append(run(20))
    rig.drain()
    assert rig.store.cursor("main") == Cursor(8, sent=8)
    rig.drain()
    assert rig.store.cursor("main") == Cursor(20, sent=20)
    assert seqs(server.taken) == list(range(1, 21))


def test_after_a_crash_between_the_answer_and_the_cursor_the_same_points_go_again(
    tmp_path: Path, server: Scripted
) -> None:
    first = rig_of(tmp_path, server)
    first.store.append(run(10))
    first.drain()
    first.store.move_cursor("main", Cursor(4))  # what a crash would have left
    first.store.close()
    again = rig_of(tmp_path, server)
    with closing(again.store):
        again.drain()
    assert len(server.taken) == 16
    assert len(server.points) == 10


@pytest.mark.parametrize(
    ("answer", "word"),
    [
        (Answer(503, '{"message": "overloaded"}'), "answers 503: overloaded"),
        (Answer(500), "answers 500"),
        (Answer(429), "answers 429"),
        (Answer(RESET), "does not answer"),
        (Answer(HANG), "does not answer: .*timed out"),
    ],
)
def test_a_server_that_is_away_is_tried_again_ever_more_rarely(
    rig: Rig, server: Scripted, answer: Answer, word: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    rig.store.append(run(3))
    server.answers = [answer] * (1 if answer.status == HANG else 4)
    poster = rig.outlet._poster
    assert isinstance(poster, InfluxPoster)
    poster._timeout_s = 0.5 if answer.status == HANG else PATIENCE_S
    waits = [rig.outlet.step() for _ in range(len(server.answers))]
    poster._timeout_s = PATIENCE_S  # the connection is made anew
    assert waits == [1.0, 2.0, 4.0, 8.0][: len(waits)]
    counters = rig.counters
    assert (counters.sent, counters.waiting, counters.held) == (0, 3, False)
    assert counters.lag_s > 0
    assert re.search(word, counters.failure)
    assert len(caplog.records) == 1  # a change is logged, a repetition is not
    rig.drain()
    assert rig.counters.failure == ""
    assert (rig.counters.sent, rig.counters.waiting) == (3, 0)
    assert "takes readings again" in caplog.records[-1].getMessage()
    assert len(caplog.records) == 2


def test_waits_have_a_bound_and_are_scattered(tmp_path: Path, server: Scripted) -> None:
    rig = rig_of(tmp_path, server)
    rig.outlet._chance = iter([0.0, 1.0, 0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0]).__next__
    server.judge = lambda lines: Answer(503)
    with closing(rig.store):
        rig.store.append(run(1))
        assert [rig.outlet.step() for _ in range(9)] == [0.5, 2.0, 3.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0]


def test_a_server_that_is_not_there_is_away(tmp_path: Path) -> None:
    gone = Scripted()
    gone.url = f"http://127.0.0.1:{free_port()}"
    rig = rig_of(tmp_path, gone)
    with closing(rig.store):
        rig.store.append(run(1))
        assert rig.outlet.step() == 1.0
        assert "does not answer" in rig.counters.failure
        assert not rig.counters.held


@pytest.mark.parametrize("as_date", [False, True])
def test_retry_after_is_honoured(rig: Rig, server: Scripted, as_date: bool) -> None:
    begun_s = time.monotonic()
    soon = format_datetime(datetime.now(UTC) + timedelta(seconds=121), usegmt=True) if as_date else "120"
    server.answers = [Answer(429, headers=[("Retry-After", soon)]), Answer(429, headers=[("Retry-After", "0")])]
    rig.store.append(run(1))
    waits_s = rig.outlet.step()
    assert 119.9 - (time.monotonic() - begun_s) < waits_s <= 121  # a date has whole seconds, and it comes nearer
    assert rig.outlet.step() == 2.0  # our own patience, where the server asks for less


@pytest.mark.parametrize(
    ("answer", "word"),
    [
        (Answer(401, '{"code": "unauthorized", "message": "unauthorized access"}'), "answers 401: unauthorized access"),
        (Answer(403, '{"error": "forbidden"}'), "answers 403: forbidden"),
        (Answer(404, "", [("X-Influxdb-Error", 'database not found: "x"')]), 'answers 404: database not found: "x"'),
        (Answer(302, "", [("Location", "https://sign-in.example/")]), "it sends to https://sign-in.example/"),
        (Answer(200, "<html>Welcome</html>"), "answers 200 where 204 is due"),
    ],
)
def test_what_a_person_must_mend_holds_everything_and_is_told(
    rig: Rig, server: Scripted, answer: Answer, word: str, caplog: pytest.LogCaptureFixture
) -> None:
    rig.store.append(run(5))
    server.answers = [answer, answer]
    assert rig.outlet.step() > 0
    assert rig.outlet.step() > 0
    assert word in rig.counters.failure
    assert rig.counters.held
    assert rig.store.cursor("main") == Cursor()
    assert [record.levelname for record in caplog.records] == ["ERROR"]
    rig.drain()
    assert rig.counters.sent == 5


def test_the_token_is_read_anew_after_it_was_not_accepted_and_never_told(tmp_path: Path, server: Scripted) -> None:
    tokens = ["first-token", "second-token"]
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    poster = InfluxPoster(Where(server.url), lambda: tokens[0])
    outlet = Outlet("main", "FARM", store, poster, RejectList(tmp_path / "rejected"))
    with closing(store):
        store.append(run(1))
        server.answers = [Answer(401, "no right for first-token")]
        assert outlet.step() > 0
        assert outlet.counters().failure == "answers 401: no right for ***"
        tokens.pop(0)
        assert outlet.step() == 0
        assert server.tokens == ["Token first-token", "Token second-token"]
        poster.close()


def test_a_connection_that_brought_trouble_is_not_used_again(tmp_path: Path, server: Scripted) -> None:
    """A proxy that stands before a dead server keeps answering 502 on an old connection, whatever listens by then."""
    rig = rig_of(tmp_path, server)
    with closing(rig.store):
        rig.store.append(run(1))
        server.answers = [Answer(502)]
        rig.outlet.step()
        assert rig.outlet.step() == 0
        assert len(set(server.clients)) == 2
        rig.outlet._poster.close()


def test_a_token_that_cannot_be_read_holds_and_says_why(tmp_path: Path, server: Scripted) -> None:
    def token() -> str:
        raise CallError("store.server[main].token_file: /x cannot be read")

    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    outlet = Outlet("main", "FARM", store, InfluxPoster(Where(server.url), token), RejectList(tmp_path / "rejected"))
    with closing(store):
        store.append(run(1))
        assert outlet.step() > 0
        assert outlet.counters().failure == "store.server[main].token_file: /x cannot be read"


def test_a_post_that_is_too_large_is_halved_until_it_fits(rig: Rig, server: Scripted) -> None:
    server.judge = lambda lines: TAKEN if len(lines) <= 3 else Answer(413, "request entity too large")
    rig.store.append(run(20))
    rig.drain()
    assert seqs(server.taken) == list(range(1, 21))
    assert [len(post) for post in server.posts[:3]] == [8, 4, 2]
    assert sum(len(post) > 3 for post in server.posts) == 3  # of the first post only
    assert rig.counters == OutletCounters("main", 20, 20, 0, 0, 0, 0.0, "", False, 0.0)


@pytest.mark.parametrize("status", [400, 422])
def test_a_line_that_is_refused_is_found_set_aside_with_the_reason_and_all_others_arrive(
    rig: Rig, server: Scripted, status: int, caplog: pytest.LogCaptureFixture
) -> None:
    poison = {3, 4, 17}
    server.judge = lambda lines: Answer(status, json.dumps({"error": CONFLICT})) if poison & set(seqs(lines)) else TAKEN
    rig.store.append(run(20))
    rig.drain()
    assert seqs(server.taken) == [seq for seq in range(1, 21) if seq not in poison]
    aside = rig.aside()
    assert [seqs([one["line"]]) for one in aside] == [[3], [4], [17]]
    assert all(one["reason"] == f"answers {status}: {CONFLICT}" and one["time"] for one in aside)
    assert rig.store.cursor("main") == Cursor(20, sent=17, rejected=3)
    assert "rejected-main.jsonl" in caplog.text


def test_a_server_that_refuses_every_line_is_held_before_twenty_are_set_aside(rig: Rig, server: Scripted) -> None:
    server.judge = lambda lines: Answer(400, "unable to parse: this is another kind of server")
    rig.store.append(run(100))
    for _ in range(5):
        assert rig.outlet.step() >= 0
    assert rig.counters.held
    assert "refuses every line" in rig.counters.failure
    assert "another kind of server" in rig.counters.failure
    assert rig.counters.waiting > 0
    server.judge = lambda lines: TAKEN
    rig.drain()
    assert (rig.counters.sent, rig.counters.rejected) == (84, 16)
    assert [seq for one in rig.aside() for seq in seqs([one["line"]])] == list(range(1, 17))


def test_what_is_too_old_for_the_server_is_set_aside_without_stopping(rig: Rig, server: Scripted) -> None:
    def judge(lines: Sequence[str]) -> Answer:
        old = sum(seq <= 50 for seq in seqs(lines))
        text = f"partial write: points beyond retention policy dropped={old}"
        return Answer(400, json.dumps({"error": text})) if old else TAKEN

    server.judge = judge
    rig.store.append(run(60))
    rig.drain()
    assert rig.store.cursor("main") == Cursor(60, sent=10, rejected=50)
    assert len(rig.aside()) == 50
    assert len(server.posts) < 20


def test_the_reject_list_has_a_bound_and_the_count_goes_on(
    tmp_path: Path, server: Scripted, caplog: pytest.LogCaptureFixture
) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    path = tmp_path / "rejected"
    outlet = Outlet("main", "FARM", store, InfluxPoster(Where(server.url), str), RejectList(path, most_bytes=2000))
    server.judge = lambda lines: Answer(400, f"beyond retention policy dropped={len(lines)}")
    with closing(store):
        store.append(run(40))
        while outlet.step() == 0:
            pass
        assert outlet.counters().rejected == 40
        assert path.stat().st_size <= 2000
        assert caplog.text.count("is full") == 1


def test_what_the_store_lets_go_before_it_was_sent_is_counted(tmp_path: Path, server: Scripted) -> None:
    rig = rig_of(tmp_path, server)
    with closing(rig.store):
        rig.store.append(run(5, step_ms=60_000))
        rig.drain()
        server.judge = lambda lines: Answer(503)
        rig.store.append(run(5 * 1440, first_seq=6, start_ms=NOON_MS + 300_000, step_ms=60_000))
        rig.outlet.step()
        while rig.store.tidy(Kept(readings_ms=2 * 86_400_000)):
            pass
        server.judge = lambda lines: TAKEN
        rig.drain()
        counters = rig.counters
        assert counters.dropped > 2000
        assert counters.sent + counters.dropped == 5 + 5 * 1440
        assert len(server.points) == counters.sent


def test_the_thread_sends_what_comes_and_ends_when_told(tmp_path: Path, server: Scripted) -> None:
    rig = rig_of(tmp_path, server, every_s=0.01)
    with closing(rig.store):
        rig.outlet.start()
        arrived = threading.Event()
        server.judge = lambda lines: (arrived.set() if 50 in seqs(lines) else None) or TAKEN
        for one in run(50):
            rig.store.append([one])
        assert arrived.wait(20)
        rig.outlet.stop(10)
        assert seqs(server.taken) == list(range(1, 51))


def test_a_thread_that_waits_to_try_again_does_not_hold_up_the_end(tmp_path: Path, server: Scripted) -> None:
    rig = rig_of(tmp_path, server, first_wait_s=30.0)
    with closing(rig.store):
        rig.store.append(run(1))
        server.judge = lambda lines: Answer(503)
        rig.outlet.start()
        rig.outlet.stop(10)
        assert not rig.outlet._thread.is_alive()
