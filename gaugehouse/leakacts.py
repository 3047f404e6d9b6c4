"""A person signs a leak test: what was found becomes an entry of the record book, in their name, and a loss an alarm.

The test itself was made from the kept readings by who asks; the act only writes down what it found, so that the core
stays without history. A person may also decide that a loss that was found is none, with a reason. No clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, refused, text_of
from gaugehouse.actfields import is_number
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.errors import CallError
from gaugehouse.leakroom import Suspicion
from gaugehouse.simulatedbook import was_simulated
from history.book import BookReader
from inventory.leak import Verdict
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

KIND: Final = "leak_test"
DECIDED: Final = "leak_decision"
"""The kinds of the record book's entries: a signed test, and a person's decision on a suspected loss."""

_TEXTS: Final = ("tank", "product", "from", "to")
_FIGURES: Final = (
    "hours", "loss_m3_per_h", "u_m3_per_h", "free", "threshold_m3_per_h", "detectable_m3_per_h",
    "claim_at_most_m3_per_h",
)  # fmt: skip


class SignLeakTest(NamedTuple):
    """A named person keeps the result of a test. result: what `gaugehouse.leakwork.outcome_json` gave."""

    result: Json
    by: str
    comment: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        tank = self.result["tank"]
        if tank not in core.keepers:
            return no_tank(tank)
        if self.result["verdict"] == Verdict.REFUSED.value:
            text = f"tank {tank}: there was no test, so there is nothing to sign; its refusal says what it would need"
            return refused(text)
        result = self.result
        found = Suspicion(
            result["loss_m3_per_h"], result["threshold_m3_per_h"], parse_ms(result["from"]), parse_ms(result["to"]),
            self.by, at.time_ms,
        )  # fmt: skip
        effect = core.leaks.signed(tank, Verdict(result["verdict"]), found, result["detectable_m3_per_h"])
        body = {
            **result, "by": self.by, "comment": self.comment, "signed": iso_ms(at.time_ms), "alarm": effect.value
        }  # fmt: skip
        return Outcome(Answer(Taken.DONE, "", body), [Decision(KIND, body)])


class DecideLeak(NamedTuple):
    """A named person decides that a suspected loss is none, or is dealt with, and says why."""

    tank: str
    reason: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if self.tank not in core.keepers:
            return no_tank(self.tank)
        stands = core.leaks.clear(self.tank)
        if stands is None:
            return Outcome(Answer(Taken.ALREADY, f"tank {self.tank}: no loss is suspected", {"tank": self.tank}))
        body = {
            "tank": self.tank, "by": self.by, "reason": self.reason, "time": iso_ms(at.time_ms),
            "suspected": suspected_json(stands),
        }  # fmt: skip
        return Outcome(Answer(Taken.DONE, "", body), [Decision(DECIDED, body)])


def suspected_json(found: Suspicion) -> Json:
    """A suspicion as the API and the record book have it; rates in m3/h."""
    return {
        "loss_m3_per_h": found.loss_m3_per_h, "threshold_m3_per_h": found.threshold_m3_per_h,
        "from": iso_ms(found.from_ms), "to": iso_ms(found.to_ms), "by": found.by, "signed": iso_ms(found.signed_ms),
    }  # fmt: skip


def sign_of(fields: Json) -> SignLeakTest:
    result = fields.get("result")
    if not isinstance(result, dict):
        raise CallError("result is missing; sign a test by `gaugehouse leak --sign`, or on its page")
    if result.get("verdict") not in [one.value for one in Verdict]:
        raise CallError(f"verdict is {result.get('verdict')!r}; sign a test as it was found")
    if result["verdict"] != Verdict.REFUSED.value:
        for name in _TEXTS:
            text_of(result, name)
        for name in ("from", "to"):
            try:
                parse_ms(result[name])
            except ValueError as error:
                raise CallError(f"{name} is {result[name]!r}; sign a test as it was found") from error
        for name in _FIGURES:
            value: Any = result.get(name)
            if not is_number(value):
                raise CallError(f"{name} is {value!r}; sign a test as it was found")
    return SignLeakTest(
        {"tank": text_of(result, "tank"), **result}, text_of(fields, "by"), text_of(fields, "comment", "")
    )


def decide_of(fields: Json) -> DecideLeak:
    return DecideLeak(text_of(fields, "tank"), text_of(fields, "reason"), text_of(fields, "by"))


LEAK_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"sign_leak_test": sign_of, "decide_leak": decide_of}
"""By their names; see `gaugehouse.acts.ACTS`."""


def leak_tests(book: BookReader, tank: str | None = None) -> list[Json]:
    """Signed tests, newest first. number: of the record book's entry, which is the paper's number; head: for `verify
    --against`."""
    found = []
    for entry in book.entries([KIND], newest_first=True):
        if tank in (None, entry.body["tank"]):
            simulated = was_simulated(book, entry.time_ms)
            marks = {"number": entry.n, "head": f"{entry.n}:{entry.hash}", "simulated": simulated}
            found.append({**entry.body, **marks})
    return found
