"""A person signs a leak test: what was found becomes an entry of the record book, in their name.

The test itself was made from the kept readings by who asks; the act only writes down what it found, so that the core
stays without history. No clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, refused, text_of
from gaugehouse.actfields import is_number
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.simulatedbook import was_simulated
from history.book import BookReader
from inventory.leak import Verdict
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

KIND: Final = "leak_test"
"""The kind of the record book's entries."""

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
        body = {**self.result, "by": self.by, "comment": self.comment, "signed": iso_ms(at.time_ms)}
        return Outcome(Answer(Taken.DONE, "", body), [Decision(KIND, body)])


def sign_of(fields: Json) -> SignLeakTest:
    result = fields.get("result")
    if not isinstance(result, dict):
        raise CallError("result is missing; sign a test by `gaugehouse leak --sign`, or on its page")
    if result.get("verdict") not in [one.value for one in Verdict]:
        raise CallError(f"verdict is {result.get('verdict')!r}; sign a test as it was found")
    if result["verdict"] != Verdict.REFUSED.value:
        for name in _TEXTS:
            text_of(result, name)
        for name in _FIGURES:
            value: Any = result.get(name)
            if not is_number(value):
                raise CallError(f"{name} is {value!r}; sign a test as it was found")
    return SignLeakTest(
        {"tank": text_of(result, "tank"), **result}, text_of(fields, "by"), text_of(fields, "comment", "")
    )


LEAK_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"sign_leak_test": sign_of}
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
