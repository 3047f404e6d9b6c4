"""What people say of a fault: nothing is changed, corrections point at the old, a close without a cause stays flagged.

Source of the need: a fault log that is kept and answered is asked for by the investigators of the tank overfill of
2005 (public report of 2011, paragraphs 26 and 27); the rules of the entries are the house's own.
"""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.casebook import SAID, Casebook, Statement, flag, said
from tests.alerts.timelines import START_MS, instant

ANN = Statement("Ann", cause="water in the junction box", part="gland", action="gland and box replaced", close=True)


def body(statement: Statement) -> dict[str, Any]:
    return statement._asdict()


def test_the_newest_word_on_each_matter_counts_and_the_rest_stays() -> None:
    entries = [
        (1, 10, body(Statement("Ann", found_by="dip", cause="wet box", dip_before_m=6.204))),
        (2, 20, body(Statement("Bob", part="gland", action="dried", dip_after_m=6.203, close=True))),
        (3, 30, body(Statement("Cid", comment="looked again"))),
    ]
    summary = said(entries)
    assert summary._asdict() == {
        "found_by": "dip", "cause": "wet box", "part": "gland", "action": "dried", "comment": "looked again",
        "dip_before_m": 6.204, "dip_after_m": 6.203, "closed_by": "Bob", "closed_ms": 20,
    }  # fmt: skip
    assert flag(summary, going_on=False) == ""


def test_nobody_said_anything() -> None:
    summary = said([])
    assert summary.found_by == "gaugehouse"
    assert flag(summary, going_on=True) == "goes on"
    assert flag(summary, going_on=False) == "not closed"


def test_closed_without_a_cause_stays_flagged_until_somebody_gives_one() -> None:
    entries = [(1, 10, body(Statement("Ann", action="power off and on", close=True)))]
    assert flag(said(entries), going_on=False) == "closed without cause"
    entries.append((2, 20, body(Statement("Bob", cause="software of the transmitter"))))
    assert flag(said(entries), going_on=False) == ""


def test_a_correction_takes_the_old_entry_out_with_all_that_it_said() -> None:
    entries = [
        (1, 10, body(ANN)),
        (2, 20, body(Statement("Ann", action="gland replaced", corrects=1))),
    ]
    summary = said(entries)
    assert (summary.cause, summary.action, summary.closed_by) == ("", "gland replaced", "")
    entries.append((3, 30, body(Statement("Bob", cause="wet box", close=True, corrects=2))))
    assert (said(entries).cause, said(entries).action, said(entries).closed_by) == ("wet box", "", "Bob")


def test_a_fault_is_closed_once_and_only_when_it_has_ended() -> None:
    book = Casebook()
    assert book.write(instant(0), "L1:1", ANN, going_on=True).status == "refused"
    assert book.save(True) == {}
    assert book.write(instant(1), "L1:1", Statement("Ann", cause="wet"), going_on=True).entry == 1
    done = book.write(instant(2), "L1:1", ANN, going_on=False)
    assert (done.status, done.entry, done.time_ms) == ("done", 2, START_MS + 2000)
    again = book.write(instant(3), "L1:1", Statement("Bob", close=True), going_on=False)
    assert (again.status, again.by, again.entry) == ("already", "Ann", 2)
    # the entry that closed it is corrected by one that does not: it is open again, and can be closed
    assert book.write(instant(4), "L1:1", Statement("Ann", cause="dry", corrects=2), going_on=False).entry == 3
    assert book.write(instant(5), "L1:1", Statement("Bob", close=True), going_on=False).status == "done"
    assert book.write(instant(5), "L2:1", ANN, going_on=False).entry == 1


@pytest.mark.parametrize("corrects", [2, 9])
def test_only_an_entry_that_still_counts_can_be_corrected(corrects: int) -> None:
    book = Casebook()
    for statement in (ANN, Statement("Ann", cause="a", corrects=1)):
        assert book.write(instant(0), "L1:1", statement, going_on=False).status == "done"
    assert book.write(instant(0), "L1:1", Statement("Ann", cause="c", corrects=1), going_on=False).status == "unknown"
    found = book.write(instant(0), "L1:1", Statement("Ann", cause="c", corrects=corrects), going_on=False)
    assert found.status == ("done" if corrects == 2 else "unknown")
    if corrects == 9:
        assert found.text == "there is no entry 9 to be corrected; entries: 2"


def test_what_was_written_outlives_a_restart() -> None:
    book, again = Casebook(), Casebook()
    book.write(instant(0), "L1:1", ANN, going_on=False)
    again.restore(json.loads(json.dumps(book.save(True))))
    assert book.save(True) == {}
    assert again.write(instant(9), "L1:1", Statement("Bob", close=True), going_on=False).by == "Ann"
    assert again.save(False) == book.save(False)


def test_an_entry_without_anything_to_say_is_seen_as_such() -> None:
    assert not Statement("Ann").says_something
    assert Statement("Ann", corrects=1).says_something
    assert Statement("Ann", dip_before_m=0.0).says_something


texts = st.sampled_from(["", "a", "b"])
statements = st.builds(
    Statement, st.sampled_from(["Ann", "Bob"]), texts, texts, texts, texts, texts, close=st.booleans(),
    corrects=st.one_of(st.none(), st.integers(1, 6)),
)  # fmt: skip


@given(st.lists(statements, max_size=12))
def test_what_is_told_and_what_the_next_entry_is_judged_by_never_part(written: list[Statement]) -> None:
    book, entries = Casebook(), []
    for second, statement in enumerate(written):
        taken = book.write(instant(second), "L1:1", statement, going_on=False)
        before = said(entries)
        if taken.status == "done":
            entries.append((taken.entry, START_MS + second * 1000, body(statement)))
            if statement.close and statement.corrects is None:
                assert before.closed_ms is None
        elif taken.status == "already":
            assert statement.close
    assert [n for n, _, _ in entries] == list(range(1, len(entries) + 1))
    assert set(said(entries)._asdict()) == {*SAID, "closed_by", "closed_ms"}
