"""What people write down of a tank that they went to: dips, water, density samples, and that one of these was wrong.

Refused before the site's relaxation time after flow (static electricity), while readings do not repeat, and where a
figure cannot be. Decides by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, refused, text_of, unknown
from gaugehouse.actfields import boolean_of, moment_of, number_of, numbers_of, whole_of, word_of
from gaugehouse.dipamend import amended
from gaugehouse.dipjudge import Judged, judge_dip, judge_sample
from inventory.dips import DensitySample, Dip, Method, Purpose, dip_json, sample_json
from models.density import DensityMeter
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

DIP: Final = "dip"
SAMPLE: Final = "density_sample"
"""The kinds of the record book's entries."""

ADDED: Final = "added"
WITHDRAWN: Final = "withdrawn"

KINDS: Final = {"dip": DIP, "sample": SAMPLE}
TEMPERATURES: Final = ("", "spot", "average")


class AddDip(NamedTuple):
    """A dip as a person types it. sure: a figure that looks wrong is right all the same."""

    dip: Dip
    sure: bool = False

    def apply(self, core: "Core", at: Instant) -> Outcome:
        dip = replace(self.dip, time_ms=self.dip.time_ms or at.time_ms, entered_ms=at.time_ms)
        if dip.tank not in core.keepers:
            return no_tank(dip.tank)
        for before in core.dips.dips(dip.tank):
            if _same(before, dip):
                text = f"tank {dip.tank}: dip {before.number} by {before.by} says the same of that time already"
                return Outcome(Answer(Taken.ALREADY, text, told_dip(core, before)))
        judged = judge_dip(core, at, dip, sure=self.sure)
        if judged.refused:
            return refused(f"tank {dip.tank}: {judged.refused}")
        number = core.dips.next_number("dip")
        dip = replace(judged.dip, number=number)
        core.dips.add(dip)
        body = told_dip(core, dip)
        note = " ".join(judged.notes)
        decisions = [Decision(DIP, {"change": ADDED, **body, **comparison_json(judged)}), *amended(core, dip.tank)]
        return Outcome(Answer(Taken.DONE, note, {**body, **comparison_json(judged), "note": note}), decisions)


class AddSample(NamedTuple):
    """A density sample as a person types it. rejected: the person does not accept it, and why."""

    sample: DensitySample
    rejected: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        sample = self.sample
        if sample.tank not in core.keepers:
            return no_tank(sample.tank)
        time_ms = sample.time_ms or at.time_ms
        sample = replace(sample, time_ms=time_ms, entered_ms=at.time_ms, product=core.site.tank(sample.tank).product)
        for before in core.dips.samples(sample.tank):
            if (before.time_ms, before.observed_kgpm3, before.observed_degC, before.meter) == (
                sample.time_ms, sample.observed_kgpm3, sample.observed_degC, sample.meter,
            ):  # fmt: skip
                text = f"tank {sample.tank}: sample {before.number} by {before.by} says the same of that time already"
                return Outcome(Answer(Taken.ALREADY, text, sample_json(before)))
        judged = judge_sample(core, at, sample, self.rejected)
        if judged.refused:
            return refused(f"tank {sample.tank}: {judged.refused}")
        sample = replace(judged.sample, number=core.dips.next_number("sample"))
        core.dips.add_sample(sample)
        core.restock(sample.tank)
        body = sample_json(sample)
        note = " ".join(judged.notes)
        return Outcome(Answer(Taken.DONE, note, {**body, "note": note}), [Decision(SAMPLE, {"change": ADDED, **body})])


class Withdraw(NamedTuple):
    """A person says that a dip or a sample was wrong: it counts no more. What was written stays in the record book."""

    kind: str
    number: int
    by: str
    why: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        found = core.dips.withdraw(self.kind, self.number)
        if found is None:
            text = f"{self.kind} {self.number} is none of the newest ones, or was withdrawn; `gaugehouse dip list`"
            return unknown(f"{text} lists them, `gaugehouse correct` writes beside an old entry")
        if self.kind == "sample":
            core.restock(found.tank)
        body = {"number": self.number, "tank": found.tank, "by": self.by, "why": self.why}
        decisions = [Decision(KINDS[self.kind], {"change": WITHDRAWN, **body}), *amended(core, found.tank)]
        return Outcome(Answer(Taken.DONE, "", {"kind": self.kind, **body}), decisions)


def told_dip(core: "Core", dip: Dip) -> Json:
    """A dip for programs: its own fields, and when the next one is due."""
    due = core.dips.next_due(dip.tank)
    return {**dip_json(dip), "due_ms": due.time_ms, "due_for": due.why}


def comparison_json(judged: Judged) -> Json:
    told = judged.compared
    return {
        "difference_m": None if told is None else told.difference_m,
        "difference_u95_m": None if told is None else told.u95_m,
        "within": None if told is None else told.within,
        "explained": None if told is None else told.explained,
        "repeated": judged.repeated,
    }


def _same(a: Dip, b: Dip) -> bool:
    return (a.time_ms, a.method, a.readings_m, a.water_m, a.temperature_degC) == (
        b.time_ms, b.method, b.readings_m, b.water_m, b.temperature_degC,
    )  # fmt: skip


def dip_of(fields: Json) -> AddDip:
    """Raises `CallError` for a field that is not understood."""
    dip = Dip(
        number=0,
        tank=text_of(fields, "tank"),
        time_ms=moment_of(fields, "time"),
        entered_ms=0,
        by=text_of(fields, "by"),
        purpose=Purpose(word_of(fields, "purpose", tuple(Purpose), Purpose.STOCK)),
        method=Method(word_of(fields, "method", tuple(Method), Method.INNAGE)),
        readings_m=numbers_of(fields, "readings_m", -1.0, 100.0),
        water_m=number_of(fields, "water_m", 0.0, 100.0),
        temperature_degC=number_of(fields, "temperature_degC", -60.0, 100.0),
        temperature_kind=word_of(fields, "temperature_kind", TEMPERATURES, ""),
        tape_degC=number_of(fields, "tape_degC", -60.0, 100.0),
        reference_m=number_of(fields, "reference_m", 0.0, 100.0),
        after_setting=boolean_of(fields, "after_setting"),
        waited=text_of(fields, "waited", ""),
        comment=text_of(fields, "comment", ""),
    )
    return AddDip(dip, boolean_of(fields, "sure"))


def sample_of(fields: Json) -> AddSample:
    """Raises `CallError` for a field that is not understood."""
    density = number_of(fields, "observed_kgpm3", 400.0, 1300.0, needed=True)
    degC = number_of(fields, "observed_degC", -60.0, 100.0, needed=True)
    assert density is not None and degC is not None  # noqa: PT018 both are needed
    sample = DensitySample(
        number=0,
        tank=text_of(fields, "tank"),
        product="",
        time_ms=moment_of(fields, "time"),
        entered_ms=0,
        by=text_of(fields, "by"),
        observed_kgpm3=density,
        observed_degC=degC,
        meter=word_of(fields, "meter", tuple(DensityMeter), DensityMeter.HYDROMETER),
        base_kgpm3=0.0,
        base_degC=0.0,
        place=text_of(fields, "place", ""),
        certificate_kgpm3=number_of(fields, "certificate_kgpm3", 400.0, 1300.0),
        waited=text_of(fields, "waited", ""),
        comment=text_of(fields, "comment", ""),
    )
    return AddSample(sample, text_of(fields, "rejected", ""))


def withdraw_of(fields: Json) -> Withdraw:
    number = whole_of(fields, "number", "write the number of a dip or sample")
    return Withdraw(word_of(fields, "kind", tuple(KINDS), "dip"), number, text_of(fields, "by"), text_of(fields, "why"))


DIP_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {
    "add_dip": dip_of,
    "add_density_sample": sample_of,
    "withdraw_dip": withdraw_of,
}
"""By their names; see `gaugehouse.acts.ACTS`."""
