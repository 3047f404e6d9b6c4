"""Random lives of a stock book: papers, corrections, dips, readings, movements over midnight, closes and crashes.

Whatever happens, and after each crash the same: a day opens with what the day before closed with, figures add up, and
the papers' own litres, kept beside the house in a plainer account, are those of the book.
"""

import itertools
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gaugehouse.acts import Taken
from gaugehouse.days import Days, iso_ms
from gaugehouse.documentrecords import documents_of
from history.chain import Entry
from inventory.account import in_force
from inventory.documents import document_json
from tests.gaugehouse.ledgers import Ledger

DAYS = [f"2026-01-{number:02}" for number in range(28, 32)] + [f"2026-02-{number:02}" for number in range(1, 6)]
"""Over a month's end."""
TANKS = ("palm", "ridge")
LITRES = st.integers(1, 30_000)
SIGN = {"delivery note": 1, "fuelling ticket": -1, "water draw": -1}
COLUMNS = ("receipts", "issues", "transfers", "draws", "adjustments")
AREA_M2 = 78.53981633974483


class Life(RuleBasedStateMachine):
    """`says`: of each paper that stands, its day and its litres for each tank; the house knows none of it."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = tempfile.TemporaryDirectory()
        self.ledger = Ledger(Path(self._folder.name), None, f"{DAYS[0]}T12:00:00Z")
        self.says: dict[int, tuple[str, dict[str, int]]] = {}
        self.today, self.paper, self.movements, self.closed = 0, 0, 0, ""

    def teardown(self) -> None:
        self.ledger.close()
        self._folder.cleanup()

    @initialize(palm=st.integers(300_000, 500_000), ridge=st.integers(300_000, 500_000))
    def open(self, palm: int, ridge: int) -> None:
        self.first = {"palm": palm, "ridge": ridge}
        for tank, litres in self.first.items():
            self.ledger.add("opening balance", DAYS[0], tank=tank, observed=f"{litres} L", standard=f"{litres} L")

    # What people do

    def _day(self, back: int) -> str:
        return DAYS[max(0, self.today - back)]

    @rule(kind=st.sampled_from(sorted(SIGN)), tank=st.sampled_from(TANKS), litres=LITRES, back=st.integers(0, 2))
    def write(self, kind: str, tank: str, litres: int, back: int) -> None:
        more = {"fuel": f"{litres} L", "water": "5 L", "went_to": "slop"} if kind == "water draw" else {}
        stated = {} if more else {"observed": f"{litres} L", "standard": f"{litres} L"}
        self._add(kind, self._day(back), {tank: SIGN[kind] * litres}, tank=tank, **more, **stated)

    @rule(tank=st.sampled_from(TANKS), litres=st.integers(-9_000, 9_000), back=st.integers(0, 2))
    def adjust(self, tank: str, litres: int, back: int) -> None:
        stated = {"observed": f"{litres} L", "standard": f"{litres} L", "comment": "spill"}
        self._add("adjustment", self._day(back), {tank: litres}, tank=tank, **stated)

    @rule(litres=LITRES, back=st.integers(0, 2))
    def hand_over(self, litres: int, back: int) -> None:
        stated = {"observed": f"{litres} L", "standard": f"{litres} L"}
        moved = {"palm": -litres, "ridge": litres}
        self._add("transfer note", self._day(back), moved, tank="palm", to_tank="ridge", **stated)

    def _add(self, kind: str, day: str, moved: dict[str, int], **fields: Any) -> None:
        self.paper += 1
        answer = self.ledger.do("add_document", kind=kind, day=day, paper=f"P{self.paper}", sure=True, **fields)
        if day <= self.closed:
            assert answer.status is Taken.REFUSED
            return
        assert answer.status is Taken.DONE, answer
        self._took(answer)
        (number,) = (one["number"] for one in answer.body["documents"])
        assert {tank: self._litres(number, tank) for tank in moved} == moved

    def _took(self, answer: Any) -> None:
        for one in answer.body["documents"]:
            number = one["number"]
            document = next(d for d in documents_of(self.ledger.book) if d.number == number)
            self.says[number] = (document.day, {tank: self._of(document, tank) for tank in TANKS})

    @staticmethod
    def _of(document: Any, tank: str) -> int:
        litres: int = round(1000 * document.observed_m3)
        if document.tank == tank:
            return litres
        return -litres if document.details.get("to_tank") == tank else 0

    def _litres(self, number: int, tank: str) -> int:
        return self.says[number][1][tank]

    @rule(data=st.data(), litres=LITRES)
    @precondition(lambda self: self.says)
    def correct(self, data: st.DataObject, litres: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.says)))
        old = next((one for one in documents_of(self.ledger.book) if one.number == number), None)
        if old is None or old.kind.value in ("water draw", "adjustment"):
            return
        stated = {"observed": f"{litres} L", "standard": f"{litres} L", "comment": "misread"}
        before = {one.number for one in in_force(documents_of(self.ledger.book))}
        answer = self.ledger.do("correct_document", number=number, old=document_json(old), sure=True, **stated)
        if answer.status is Taken.DONE:
            self._took(answer)
            self._forget(before)

    @rule(data=st.data())
    @precondition(lambda self: self.says)
    def undo(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.says)))
        if self.ledger.do("undo_document", number=number).status is Taken.DONE:
            del self.says[number]

    def _forget(self, before: set[int]) -> None:
        """Papers that a correction on an open day took away: they are no longer in force."""
        after = {one.number for one in in_force(documents_of(self.ledger.book))}
        for number in before - after:
            self.says.pop(number, None)

    @rule(tank=st.sampled_from(TANKS), mm=st.integers(4_000, 6_500))
    def dip(self, tank: str, mm: int) -> None:
        self.ledger.do("add_dip", tank=tank, readings_m=[mm / 1000, mm / 1000], sure=True)

    # What gauges see

    @rule(tank=st.sampled_from(TANKS), level_m=st.none() | st.floats(4.0, 6.5), degC=st.floats(-5, 40))
    def gauge(self, tank: str, level_m: float | None, degC: float) -> None:
        self.ledger.end_of(tank, DAYS[self.today], level_m, degC)

    @rule(tank=st.sampled_from(TANKS), litres=LITRES, way=st.sampled_from(["receipt", "issue"]))
    def move_over_midnight(self, tank: str, litres: int, way: str) -> None:
        end_ms = self._end_ms()
        start_ms, stop_ms = end_ms - 1_800_000, end_ms + 1_800_000
        m3 = litres / 1000 * (1 if way == "receipt" else -1)
        told: dict[str, Any] = {
            "tank": tank, "start": iso_ms(start_ms), "end": iso_ms(stop_ms), "kind": way, "tov_m3": m3,
            "tov_u95_m3": 0.1, "gov_m3": m3, "gov_u95_m3": 0.1, "gsv_m3": m3, "gsv_u95_m3": 0.2, "number": 0,
            "level_start_m": 5.0, "level_end_m": 5.0 + m3 / AREA_M2, "ordered": "", "pair": "", "stage": "final",
            "start_u95_s": 10.0, "end_u95_s": 10.0, "mean_m3_per_h": 24.0, "peak_m3_per_h": 25.0, "blind_s": 0.0,
            "faults": "", "rough": "", "change": "final", "revision": 1, "amends": None, "start_ms": start_ms,
            "end_ms": stop_ms,
        }  # fmt: skip
        self.movements += 1
        told["number"] = self.movements
        self.ledger.seq += 1
        self.ledger.book.commit([Entry("movement", stop_ms, self.ledger.seq, told)], {})

    # What time does

    def _end_ms(self) -> int:
        return Days(self.ledger.site.zone, self.ledger.site.day_starts_min).on(DAYS[self.today]).end_ms

    @rule(sign=st.booleans(), m=st.floats(4.0, 6.5))
    @precondition(lambda self: self.today < len(DAYS) - 2)
    def next_day(self, sign: bool, m: float) -> None:
        """Midnight; where it is signed, the tanks were gauged and the day has a paper at least."""
        day = DAYS[self.today]
        if sign:
            for tank in TANKS:
                self.ledger.end_of(tank, day, m)
            self.write("fuelling ticket", "palm", 100, 0)
        self.ledger.ms = self._end_ms() + 4_000_000
        self.today += 1
        if sign:
            found = self.ledger.closing("day", day)
            if any("months are closed in their order" in what for what in found.obstacles):
                return
            assert not found.obstacles, found.obstacles
            assert self.ledger.do("close_stock", **found.fields).status is Taken.DONE
            self.closed = day
            refused = self.ledger.do(
                "add_document", kind="fuelling ticket", day=day, tank="palm", observed="1 L", paper="late"
            )
            assert refused.status is Taken.REFUSED

    @rule()
    def crash(self) -> None:
        before = self._accounts()
        self.ledger.restart()
        assert self._accounts() == before

    # What must hold

    def _accounts(self) -> dict[str, list[dict[str, Any]]]:
        """The days up to the next one, as the books of the months will tell them an hour after midnight: a paper of
        what flowed over midnight is split between the two."""
        now_ms, self.ledger.ms = self.ledger.ms, self._end_ms() + 3_600_000
        days = DAYS[: self.today + 2]
        shown: dict[str, list[dict[str, Any]]] = {tank: [] for tank in TANKS}
        for month in sorted({day[:7] for day in days}):
            for tank in self.ledger.product("month", month)["tanks"]:
                shown[tank["tank"]] += [row for row in tank["days"] if row["period"] in days]
        self.ledger.ms = now_ms
        return shown

    @invariant()
    def the_book_holds(self) -> None:
        if not hasattr(self, "first"):
            return
        for tank, rows in self._accounts().items():
            assert [row["period"] for row in rows] == DAYS[: self.today + 2]
            for before, after in itertools.pairwise(rows):
                for side in ("gross", "standard"):
                    assert after[f"opening_{side}_m3"] == before[f"closing_{side}_m3"]
            assert rows[0]["opening_gross_m3"] == self.first[tank] / 1000
            self._adds_up(rows)
            booked = sum(round(10_000 * row[f"{name}_gross_m3"]) for row in rows for name in COLUMNS)
            said = sum(10 * moved[tank] for _, moved in self.says.values())
            assert booked == said, (tank, booked, said)

    @staticmethod
    def _adds_up(rows: list[dict[str, Any]]) -> None:
        """Row by row, and from the first opening to the last closing; in whole tenths of a litre."""
        gained = 0
        for row in rows:
            moved = sum(round(10_000 * row[f"{name}_gross_m3"]) for name in COLUMNS)
            assert round(10_000 * row["book_gross_m3"]) == round(10_000 * row["opening_gross_m3"]) + moved
            gained += moved
            if row["physical_gross_m3"] is not None:
                off = round(10_000 * row["physical_gross_m3"]) - round(10_000 * row["book_gross_m3"])
                assert round(10_000 * row["variance_gross_m3"]) == off
                gained += off
        assert round(10_000 * rows[-1]["closing_gross_m3"]) == round(10_000 * rows[0]["opening_gross_m3"]) + gained


Life.TestCase.settings = settings(max_examples=8, stateful_step_count=15, deadline=None)
TestLife = Life.TestCase
