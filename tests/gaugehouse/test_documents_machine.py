"""Random lives of the room of documents beside a second, plainer account: numbers and sums hold, whatever happens."""

import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from gaugehouse.acts import Taken
from gaugehouse.documentacts import DOCUMENT, UNDONE
from inventory.documents import document_from
from tests.gaugehouse.documentsites import TODAY, Office

DAYS = ["2026-09-19", "2026-09-20", "2026-09-21", TODAY]
LITRES = st.integers(1, 40_000)
SIGN = {"delivery note": 1, "fuelling ticket": -1}


class Life(RuleBasedStateMachine):
    """`says`: number to day and litres of what stands, kept apart from the house; `closed`: the last closed day."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = tempfile.TemporaryDirectory()
        self.office = Office(Path(self._folder.name))
        self.says: dict[int, tuple[str, int]] = {}
        self.bodies: dict[int, dict] = {}
        self.reversed: set[int] = set()
        self.next = 1
        self.closed = ""
        self.papers = 0

    def teardown(self) -> None:
        self._folder.cleanup()

    def _took(self, answer, *expected: tuple[str, int]) -> None:
        for one, (day, litres) in zip(answer.body["documents"], expected, strict=True):
            assert one["number"] == self.next
            self.next += 1
            self.says[one["number"]] = (day, litres)
            self.bodies[one["number"]] = one

    @rule(day=st.sampled_from(DAYS), kind=st.sampled_from(sorted(SIGN)), litres=LITRES)
    def add(self, day: str, kind: str, litres: int) -> None:
        self.papers += 1
        answer = self.office.add(kind, day=day, tank="palm", paper=f"P{self.papers}", observed=f"{litres} L", sure=True)
        if day <= self.closed:
            assert answer.status is Taken.REFUSED
        else:
            self._took(answer, (day, SIGN[kind] * litres))

    @rule(data=st.data())
    @precondition(lambda self: self.says)
    def undo(self, data) -> None:
        number = data.draw(st.sampled_from(sorted(self.says)))
        day = self.says[number][0]
        answer = self.office.do("undo_document", number=number)
        held = self.bodies[number]["details"].get("reverses") in self.reversed and any(
            self.bodies[n]["corrects"] is not None and n != number for n in self.says
        )
        if day <= self.closed:
            assert answer.status is Taken.REFUSED
        elif answer.status is Taken.DONE:
            del self.says[number]
        else:
            assert held, answer.text

    @rule(data=st.data(), litres=LITRES)
    @precondition(lambda self: self.says)
    def correct(self, data, litres: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.says)))
        day, old = self.says[number]
        sign = 1 if old > 0 else -1
        closed = day <= self.closed
        answer = self.office.do(
            "correct_document", number=number, observed=f"{litres} L", sure=True, old=self.bodies[number]
        )
        if answer.status is Taken.REFUSED:
            reverses = self.bodies[number]["details"].get("reverses") is not None
            assert reverses or (closed and (number in self.reversed or self.closed >= TODAY)), answer.text
        elif closed:
            self.reversed.add(number)
            self._took(answer, (TODAY, -old), (TODAY, sign * litres))
        else:
            del self.says[number]
            self._took(answer, (day, sign * litres))

    @rule(litres=LITRES, wrong=st.booleans())
    def bring_a_file(self, litres: int, wrong: bool) -> None:
        self.papers += 2
        tank = "plam" if wrong else "palm"
        text = (
            "kind,day,tank,paper,observed [L]\n"
            f"delivery note,{TODAY},palm,P{self.papers - 1},{litres}\n"
            f"fuelling ticket,{TODAY},{tank},P{self.papers},{litres}\n"
        )
        answer = self.office.do("import_documents", csv=text, sure=True)
        if wrong or self.closed >= TODAY:
            assert answer.status is Taken.REFUSED
            return
        for litres_of_row in (litres, -litres):
            self.says[self.next] = (TODAY, litres_of_row)
            self.bodies[self.next] = dict(self.office.core.documents.get(self.next) and self._body(self.next))
            self.next += 1

    def _body(self, number: int) -> dict:
        return next(d.body for d in self.office.book if d.kind == DOCUMENT and d.body["number"] == number)

    @rule(day=st.sampled_from(DAYS))
    def close(self, day: str) -> None:
        self.office.close(day)
        self.closed = max(self.closed, day)

    @rule()
    def restart(self) -> None:
        self.office.restart()

    @invariant()
    def the_room_holds_what_stands_on_open_days(self) -> None:
        room = {one.number: round(1000 * one.observed_m3) for one in self.office.core.documents.all()}
        assert room == {n: litres for n, (day, litres) in self.says.items() if day > self.closed}
        assert self.office.core.documents.next_number == self.next

    @invariant()
    def the_record_book_sums_to_the_same(self) -> None:
        standing = {}
        for decision in self.office.book:
            if decision.kind == DOCUMENT:
                document = document_from(decision.body)
                standing[document.number] = (document.day, round(1000 * document.observed_m3))
            elif decision.kind == UNDONE:
                del standing[decision.body["number"]]
        assert standing == self.says


Life.TestCase.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)
TestLife = Life.TestCase
