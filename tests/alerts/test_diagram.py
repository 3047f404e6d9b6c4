"""The documentation's state diagram equals the table."""

from pathlib import Path

from alerts import diagram
from alerts.lifecycle import TABLE, State

DOC = Path(__file__).parents[2] / "docs" / "alarm-states.md"


def test_the_page_is_what_the_table_gives() -> None:
    assert DOC.read_text(encoding="utf-8") == diagram.document(), "run: python -m alerts.diagram > docs/alarm-states.md"


def test_the_page_has_a_row_for_every_move() -> None:
    assert diagram.move_rows().count("\n") == sum(len(moves) for moves in TABLE.values())


def test_the_pictures_show_every_state() -> None:
    drawn = diagram.core_picture() + diagram.hiding_picture()
    assert all(f" : {letter} {state.replace('_', ' ')}" in drawn for state, letter in diagram.LETTERS.items())
    assert len(diagram.LETTERS) == len(State)
