"""The tank states drawn from their own table: `python -m inventory.statusdiagram` prints docs/tank-status.md.

Knows how a table looks as a picture and as rows; every state, move and refusal comes from `inventory.status`.
"""

from inventory.status import IGNORED, TABLE, UNMET, Event, Guard, TankStatus

LETTERS = dict(zip(TankStatus, "ABCDEFG", strict=True))

_INTRO = """\
# Tank states

Made by `python -m inventory.statusdiagram` from the table in `inventory/status.py`; a test keeps the two equal. The
states are common practice, no source. A tank that nobody has said anything of awaits its test. How long it settles is
the site's own rule (`[stock.settling]`, see [the site file](site-file.md)), and [the stock book](stock-book.md) tells
what restarts it.

"Settling" is of the quality: water and dirt sink. The calm of the surface, after which a movement gets its final
figure, takes minutes and is another thing.

A receipt voids the release of what was in the tank before. Fuel should flow out of a tank only in the states D and E;
in every other one that is an alarm, and so is a flow in and a flow out at once.

## The states

"""

_TABLE = """\
## Every move

The first row whose "when" holds is the one that is taken.

| from | event | when | to |
| --- | --- | --- | --- |
"""

_REFUSALS = """\
## What moves nothing

A person who asks for one of these gets the answer; nothing else happens.

| event | states | answer |
| --- | --- | --- |
"""


def _words(status: TankStatus) -> str:
    return f"{LETTERS[status]} {status.value}"


def _label(event: Event, guard: Guard) -> str:
    return event.value + (f" ({guard.value})" if guard else "")


def picture() -> str:
    """Moves between states; one arrow for all that lead the same way."""
    arrows: dict[tuple[str, str], list[str]] = {}
    for (status, event), moves in TABLE.items():
        for guard, to in moves:
            if to is not status:
                arrows.setdefault((LETTERS[status], LETTERS[to]), []).append(_label(event, guard))
    lines = ["```mermaid", "stateDiagram-v2", *(f"    {LETTERS[s]} : {_words(s)}" for s in TankStatus)]
    lines.append(f"    [*] --> {LETTERS[TankStatus.AWAITING_TEST]} : nothing is known yet")
    lines += [f"    {start} --> {end} : {' or '.join(labels)}" for (start, end), labels in arrows.items()]
    return "\n".join([*lines, "```", "", ""])


def move_rows() -> str:
    """The whole table, one row a move."""
    rows = [
        f"| {_words(status)} | {event.value} | {guard.value} | {_words(to)} |"
        for (status, event), moves in sorted(TABLE.items(), key=lambda item: list(TankStatus).index(item[0][0]))
        for guard, to in moves
    ]
    return "\n".join([*rows, "", ""])


def refusal_rows() -> str:
    """Everything that is ignored, and what is where no "when" holds, with the answer."""
    grouped: dict[tuple[Event, str], list[str]] = {}
    for (status, event), words in (*IGNORED.items(), *UNMET.items()):
        grouped.setdefault((event, words), []).append(LETTERS[status])
    order = list(Event)
    told = sorted(grouped.items(), key=lambda item: order.index(item[0][0]))
    rows = [f"| {event.value} | {', '.join(states)} | {words} |" for (event, words), states in told]
    return "\n".join([*rows, ""])


def document() -> str:
    """The page of the documentation."""
    return "".join([_INTRO, picture(), _TABLE, move_rows(), _REFUSALS, refusal_rows()])


if __name__ == "__main__":
    print(document(), end="")
