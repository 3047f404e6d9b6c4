"""Acts of testing one alarm end to end, and what the record book tells of such tests.

A test begins when a named person moves the signal, by a wet or simulated means; the core measures how long the alarm
takes. Where a channel told somebody of that occurrence, the time to that is read from the record book as well.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from alerts.alarmtests import BY_HAND, MEANS, Proof
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.actfields import is_number
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from history.book import BookReader
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

TEST: Final = "alarm_test"
NOTIFIED: Final = "notified"
LIMIT_S: Final = 600.0
LONGEST_S: Final = 3600.0


class BeginTest(NamedTuple):
    """A named person moves the signal from now on; the alarm must come within limit_s."""

    alarm: str
    by: str
    means: str
    limit_s: float = LIMIT_S
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        alarm = core.alarms.find(self.alarm)
        if alarm is None:
            return _no_alarm(self.alarm)
        there = core.tests.under_way(self.alarm)
        if there is not None:
            text = f"a test of {self.alarm} is under way since {iso_ms(there.begun_ms)}, by {there.by}"
            return Outcome(Answer(Taken.ALREADY, text, {"alarm": self.alarm, "by": there.by}))
        refusal = core.tests.refusal(alarm)
        if refusal:
            return refused(f"{self.alarm}: {refusal}", {"alarm": self.alarm})
        limit_ms = round(1000 * self.limit_s)
        trial = core.tests.begin(at, self.alarm, self.by, self.means, limit_ms, self.comment)
        body: Json = {"alarm": self.alarm, "by": self.by, "means": self.means, "until": iso_ms(trial.due.time_ms)}
        entry: Json = {"change": "begun", "alarm": self.alarm, "by": self.by, "means": self.means}
        return Outcome(Answer(Taken.DONE, "", body), [Decision(TEST, entry | {"comment": self.comment})])


class EndTest(NamedTuple):
    """Somebody gives a test up: it proves nothing."""

    alarm: str
    by: str
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        why = f"given up by {self.by}" + (f": {self.comment}" if self.comment else "")
        proof = core.tests.give_up(at, self.alarm, why)
        if proof is None:
            return Outcome(Answer(Taken.ALREADY, f"no test of {self.alarm} is under way", {"alarm": self.alarm}))
        return Outcome(Answer(Taken.DONE, "", {"alarm": self.alarm, "by": self.by}), [proof_entry(proof)])


class TellTest(NamedTuple):
    """A test that somebody watched with a clock of their own. seconds: None where the alarm did not come."""

    alarm: str
    by: str
    means: str
    passed: bool
    seconds: float | None
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if core.alarms.find(self.alarm) is None:
            return _no_alarm(self.alarm)
        proof = Proof(
            self.alarm, self.by, self.means, self.passed, self.seconds, at.time_ms, at.time_ms, 0, BY_HAND, self.comment
        )
        core.tests.told(proof)
        return Outcome(Answer(Taken.DONE, "", {"alarm": self.alarm, "by": self.by}), [proof_entry(proof)])


def _no_alarm(alarm: str) -> Outcome:
    text = f"there is no alarm {alarm!r}; `gaugehouse alarms` lists them as source and condition"
    return unknown(text, {"alarm": alarm})


def proof_entry(proof: Proof) -> Decision:
    """The entry of a test that has ended."""
    body = {"change": "ended", **proof._asdict()}
    return Decision(TEST, {name: value for name, value in body.items() if value not in ("", None)})


def proof_rows(book: BookReader, alarm: str | None = None) -> list[Json]:
    """Every test that has ended, oldest first; `notified_s`: until the first channel had told of that occurrence."""
    rows: list[Json] = []
    for entry in book.entries([TEST]):
        body = entry.body
        if body.get("change") == "ended" and alarm in (None, body["alarm"]):
            rows.append(_row(body))
    told = _told(book, rows)
    for row in rows:
        told_ms = told.get((row["alarm"], row.pop("occurrence")))
        row["notified_s"] = None if told_ms is None else (told_ms - row["begun_ms"]) / 1000
        row["begun"], row["ended"] = iso_ms(row.pop("begun_ms")), iso_ms(row.pop("ended_ms"))
    return rows


def _row(body: Mapping[str, Any]) -> Json:
    names = ("alarm", "by", "means", "passed", "raised_s", "begun_ms", "ended_ms", "occurrence", "how", "comment")
    return {name: body.get(name, "" if name == "comment" else None) for name in names}


def _told(book: BookReader, rows: list[Json]) -> dict[tuple[str, int], int]:
    """When the alarms of these tests were first told to somebody, by alarm and occurrence."""
    wanted = {(row["alarm"], row["occurrence"]) for row in rows if row["passed"] and row["occurrence"]}
    found: dict[tuple[str, int], int] = {}
    if not wanted:
        return found
    for entry in book.entries([NOTIFIED], min(row["begun_ms"] for row in rows)):
        body: Mapping[str, Any] = entry.body
        for name in body.get("alarms", ()):  # written as palm.high#4, or palm.high#2-4 for several in one message
            alarm, _, numbers = str(name).rpartition("#")
            first, _, last = numbers.partition("-")
            for occurrence in range(int(first), int(last or first) + 1):
                if (alarm, occurrence) in wanted:
                    found.setdefault((alarm, occurrence), entry.time_ms)
    return found


def begin_of(fields: Json) -> BeginTest:
    limit_s = fields.get("limit_s") or LIMIT_S
    if not is_number(limit_s) or not 1 <= limit_s <= LONGEST_S:
        raise CallError(f"limit_s is {limit_s!r}; allowed is 1 to {LONGEST_S:g} s")
    return BeginTest(
        text_of(fields, "alarm"), text_of(fields, "by"), _means(fields), float(limit_s), text_of(fields, "comment", "")
    )


def end_of(fields: Json) -> EndTest:
    return EndTest(text_of(fields, "alarm"), text_of(fields, "by"), text_of(fields, "comment", ""))


def tell_of(fields: Json) -> TellTest:
    seconds, passed = fields.get("seconds"), fields.get("passed", True)
    if seconds is not None and (not is_number(seconds) or seconds < 0):
        raise CallError(f"seconds is {seconds!r}; write how long it took from the signal to the alarm")
    if passed is True and seconds is None:
        raise CallError(
            "how long it took from the signal to the alarm is missing: give --took (`seconds`), or --failed (`passed`)"
        )
    return TellTest(
        text_of(fields, "alarm"),
        text_of(fields, "by"),
        _means(fields),
        bool(passed),
        None if seconds is None else float(seconds),
        text_of(fields, "comment", ""),
    )


def _means(fields: Json) -> str:
    means = text_of(fields, "means")
    if means not in MEANS:
        raise CallError(f"means is {means!r}; write one of {', '.join(MEANS)}")
    return means


TEST_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {"begin_alarm_test": begin_of, "end_alarm_test": end_of, "tell_alarm_test": tell_of}
)
