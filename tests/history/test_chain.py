"""The chain itself: what is hashed, what cannot be written, and where it is found to be broken."""

import json
import subprocess

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.chain import Break, Entry, Head, Row, canonical, digest, genesis, inspect
from history.errors import BadQuestion, EntryRejected
from tests.services import need

SITE = "FARM"


def chain(count: int, site: str = SITE, start: int = 1, previous: bytes | None = None, word: str = "dip") -> list[Row]:
    """Sound rows."""
    rows = []
    last = genesis(site) if previous is None else previous
    for n in range(start, start + count):
        body = canonical(Entry(word, n * 1000, n, {"n": n, "word": "å"})).encode()
        own = digest(n, n * 1000, n, word.encode(), body, last)
        rows.append(Row(n, n * 1000, n, word.encode(), body, last, own))
        last = own
    return rows


def head(rows: list[Row]) -> Head:
    return Head(rows[-1].n, rows[-1].hash.hex()) if rows else Head(0, genesis(SITE).hex())


def sha256sum(text: str) -> str:
    """Source: GNU coreutils, an implementation of FIPS 180-4 that is not ours."""
    done = subprocess.run([need("sha256sum", "coreutils")], input=text.encode(), capture_output=True, check=True)
    return done.stdout.decode().split()[0]


def test_anyone_can_recompute_a_head_with_json_and_sha256sum() -> None:
    """The documented text of each entry, written by hand here, through another program's SHA-256."""
    start = sha256sum('["gaugehouse record book",1,"FARM"]')
    first = sha256sum('[1,1000,1,"dip",{"n":1,"word":"å"},"' + start + '"]')
    second = sha256sum('[2,2000,2,"dip",{"n":2,"word":"å"},"' + first + '"]')
    assert [row.hash.hex() for row in chain(2)] == [first, second]


def test_the_order_of_names_and_the_kind_of_sequence_do_not_change_the_text() -> None:
    one = canonical(Entry("k", 0, 0, {"b": (1, 2), "a": {"y": None, "x": 1.5}}))
    other = canonical(Entry("k", 0, 0, {"a": {"x": 1.5, "y": None}, "b": [1, 2]}))
    assert one == other == '{"a":{"x":1.5,"y":null},"b":[1,2]}'


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
PLAIN = st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.recursive(
    PLAIN | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=80)
@given(st.dictionaries(TEXTS, VALUES, max_size=4))
def test_a_body_comes_back_from_its_text_and_gives_the_same_text(body: dict) -> None:
    text = canonical(Entry("k", 0, 0, body))
    assert json.loads(text) == body
    assert canonical(Entry("k", 0, 0, json.loads(text))) == text


@pytest.mark.parametrize(
    ("entry", "word"),
    [
        (Entry("dip", 0, 7, {"level_m": float("nan")}), "dip record of tick 7: body.level_m is nan"),
        (Entry("dip", 0, 7, {"a": [0, {"b": float("-inf")}]}), r"body.a\[1\].b is -inf"),
        (Entry("dip", 0, 7, {"a": {1, 2}}), "body.a is a set"),
        (Entry("dip", 0, 7, {"a": b"raw"}), "body.a is a bytes"),
        (Entry("dip", 0, 7, {"a": {3: 4}}), "body.a has the name 3; names in JSON are text"),
        (Entry("dip", 0, 7, {"a": "\ud800"}), "surrogates not allowed"),
        (Entry("", 0, 7, {}), "a record needs a kind"),
        (Entry("dip", 1.5, 7, {}), "time_ms 1.5 is no whole number"),
        (Entry("dip", 0, 2**63, {}), "seq 9223372036854775808 is no whole number"),
    ],
)
def test_what_is_no_json_is_refused_by_its_place(entry: Entry, word: str) -> None:
    with pytest.raises(EntryRejected, match=word):
        canonical(entry)


def test_a_body_that_contains_itself_is_refused() -> None:
    loop: dict = {}
    loop["again"] = loop
    with pytest.raises(EntryRejected, match="recursion"):
        canonical(Entry("dip", 0, 0, loop))


def test_a_head_is_read_as_it_is_printed() -> None:
    printed = head(chain(3))
    assert Head.parse(str(printed)) == printed
    assert Head.parse(f"  {str(printed).upper()}\n") == printed


@pytest.mark.parametrize(
    "text", ["", "3", "3:", "3:abc", "-1:" + "0" * 64, "3:" + "g" * 64, "3:" + "0" * 65, "x:" + "0" * 64]
)
def test_what_is_no_head_is_refused_with_its_form(text: str) -> None:
    with pytest.raises(BadQuestion, match="written COUNT:HASH"):
        Head.parse(text)


def test_a_sound_chain_is_unbroken_since_its_first_entry() -> None:
    rows = chain(5)
    verdict = inspect(rows, SITE, head(rows))
    assert verdict.unbroken
    assert (verdict.sound, verdict.head, verdict.since_ms) == (5, head(rows), 1000)
    assert str(verdict).startswith("unbroken: 5 entries since 1970-01-01T00:00:01.000Z, head 5:")


def test_an_empty_chain_is_unbroken() -> None:
    verdict = inspect([], SITE, head([]))
    assert verdict.unbroken
    assert verdict.since_ms is None


def broken(rows: list[Row], kept: Head, against: Head | None = None, site: str = SITE) -> tuple[int, Break]:
    verdict = inspect(rows, site, kept, against)
    assert verdict.broken is not None
    assert not verdict.unbroken
    assert str(verdict).startswith(f"broken at entry {verdict.broken.n}: ")
    assert verdict.sound == max(verdict.broken.n - 1, 0)
    return verdict.broken


ROWS = chain(6)
FORGED = chain(1, start=3, previous=ROWS[1].hash, word="forged")


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        pytest.param([*ROWS[:2], ROWS[2]._replace(body=b"{}"), *ROWS[3:]], (3, Break.CONTENTS), id="body"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(time_ms=1), *ROWS[3:]], (3, Break.CONTENTS), id="time"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(seq=1), *ROWS[3:]], (3, Break.CONTENTS), id="tick"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(kind=b"dup"), *ROWS[3:]], (3, Break.CONTENTS), id="kind"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(time_ms=3000.0), *ROWS[3:]], (3, Break.CONTENTS), id="type of time"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(body=None), *ROWS[3:]], (3, Break.CONTENTS), id="no body"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(hash=bytes(32)), *ROWS[3:]], (3, Break.HASH), id="hash"),
        pytest.param([*ROWS[:5], ROWS[5]._replace(hash=bytes(32))], (6, Break.HASH), id="hash of the last"),
        pytest.param([*ROWS[:5], ROWS[5]._replace(body=b"{}")], (6, Break.CONTENTS), id="body of the last"),
        pytest.param([*ROWS[:2], ROWS[2]._replace(previous=bytes(32)), *ROWS[3:]], (3, Break.LINK), id="link"),
        pytest.param([*ROWS[:2], *FORGED, *ROWS[3:]], (3, Break.REPLACED), id="replaced with a right hash"),
        pytest.param([*ROWS[:3], *ROWS[4:]], (4, Break.GAP), id="one missing"),
        pytest.param(ROWS[2:], (1, Break.GAP), id="the first missing"),
        pytest.param(ROWS[:4], (5, Break.TAIL), id="the last missing"),
        pytest.param([], (1, Break.TAIL), id="all missing"),
        pytest.param([*ROWS, *chain(1, start=7, previous=ROWS[5].hash)], (7, Break.EXTRA), id="one added"),
        pytest.param([ROWS[0]._replace(n=0), *ROWS], (0, Break.EXTRA), id="one numbered 0"),
        pytest.param(
            [*ROWS[:5], *chain(1, start=6, previous=ROWS[4].hash, word="forged")], (6, Break.HEAD), id="last forged"
        ),
    ],
)
def test_the_first_broken_entry_is_named_with_what_is_wrong(rows: list[Row], expected: tuple[int, Break]) -> None:
    assert broken(rows, head(ROWS)) == expected


def test_of_several_broken_entries_the_first_is_named() -> None:
    rows = [row._replace(body=b"{}") if row.n in (2, 4, 5) else row for row in ROWS]
    assert broken(rows, head(ROWS)) == (2, Break.CONTENTS)


def test_the_chain_of_another_site_does_not_pass() -> None:
    assert broken(ROWS, head(ROWS), site="OTHER") == (1, Break.LINK)


@pytest.mark.parametrize("count", range(7))
def test_every_earlier_head_agrees_with_the_chain(count: int) -> None:
    against = head(ROWS[:count])
    assert inspect(ROWS, SITE, head(ROWS), against).unbroken
    assert inspect(ROWS, SITE, head(ROWS), Head(count, against.hash[:16])).unbroken


@pytest.mark.parametrize("count", range(1, 7))
def test_a_whole_new_chain_is_found_by_a_head_that_was_printed_before(count: int) -> None:
    forged = chain(6, word="forged")
    assert inspect(forged, SITE, head(forged)).unbroken  # nothing inside tells
    assert broken(forged, head(forged), head(ROWS[:count])) == (count, Break.HEAD)


def test_a_head_beyond_the_end_finds_a_tail_that_was_cut_off_with_its_mark() -> None:
    assert broken(ROWS[:4], head(ROWS[:4]), head(ROWS)) == (5, Break.TAIL)


def test_a_head_of_nothing_tells_another_site() -> None:
    against = Head(0, genesis("OTHER").hex())
    assert inspect(ROWS, SITE, head(ROWS), against).broken == (0, Break.HEAD)
