"""The alarm lifecycle drawn from its own table: `python -m alerts.diagram` prints docs/alarm-states.md.

Knows how a table looks as a picture and as rows; every state, move and refusal comes from `alerts.lifecycle`.
"""

from alerts.lifecycle import CORE, HIDDEN, IGNORED, TABLE, Event, Guard, State

LETTERS = dict(zip(State, "ABCDEFGHI", strict=True))

_INTRO = """\
# Alarm states

Made by `python -m alerts.diagram` from the table in `alerts/lifecycle.py`; a test keeps the two equal. States and
events are those of ISA-18.2 / IEC 62682 (from memory; letters as in ISA-18.2). A condition is evaluated in every state:
shelving, suppression and out of service only hide an alarm. The three can overlap, and the strongest is shown:
out of service, then suppressed by design, then shelved. A latched alarm that was hidden comes back latched, and a
condition that is on when hiding ends comes back as a new alarm.

An acknowledgement is for one occurrence. The occurrence rises each time an alarm asks people to look: when it is
raised, raised again, or comes back from hiding.

## The states that people work with
"""

_HIDING = """\
## Hiding and coming back

Each of A to F can be shelved, suppressed or removed from service.
"""

_TABLE = """\
## Every move

| from | event | when | to |
| --- | --- | --- | --- |
"""

_REFUSALS = """\
## What moves nothing

A person who asks for one of these gets the answer; nothing else happens.

| event | states | answer |
| --- | --- | --- |
"""


def _words(state: State) -> str:
    return f"{LETTERS[state]} {state.replace('_', ' ')}"


def _label(event: Event, guard: Guard) -> str:
    return event.replace("_", " ") + (f" ({guard})" if guard else "")


def _picture(states: tuple[State, ...], arrows: list[tuple[str, str, str]]) -> str:
    lines = ["```mermaid", "stateDiagram-v2", *(f"    {LETTERS[s]} : {_words(s)}" for s in states)]
    lines += [f"    {start} --> {end} : {label}" for start, end, label in arrows]
    return "\n".join([*lines, "```", ""])


def core_picture() -> str:
    """Moves among the states that are not hidden."""
    arrows = [
        (LETTERS[state], LETTERS[to], _label(event, guard))
        for (state, event), moves in TABLE.items()
        for guard, to in moves
        if state in CORE and to in CORE
    ]
    return _picture(CORE, [("[*]", LETTERS[State.NORMAL], "start"), *arrows])


def hiding_picture() -> str:
    """Moves among hidden states and out of them; those that change nothing to be seen are left to the table."""
    arrows: dict[tuple[str, str], list[str]] = {}
    for (state, event), moves in TABLE.items():
        for guard, to in moves:
            if state in HIDDEN and to is not state:
                arrows.setdefault((LETTERS[state], LETTERS[to]), []).append(_label(event, guard))
    targets = tuple(s for s in State if s in HIDDEN or any(end == LETTERS[s] for _, end in arrows))
    return _picture(targets, [(start, end, " or ".join(labels)) for (start, end), labels in arrows.items()])


def move_rows() -> str:
    """The whole table, one row a move."""
    rows = [
        f"| {_words(state)} | {event.replace('_', ' ')} | {guard} | {_words(to)} |"
        for (state, event), moves in sorted(TABLE.items(), key=lambda item: list(State).index(item[0][0]))
        for guard, to in moves
    ]
    return "\n".join([*rows, ""])


def refusal_rows() -> str:
    """Everything that is ignored, with the answer."""
    grouped: dict[tuple[Event, str], list[str]] = {}
    for (state, event), words in IGNORED.items():
        grouped.setdefault((event, words), []).append(LETTERS[state])
    rows = [f"| {event.replace('_', ' ')} | {', '.join(s)} | {words} |" for (event, words), s in grouped.items()]
    return "\n".join([*rows, ""])


def document() -> str:
    """The page of the documentation."""
    return "\n".join(
        [_INTRO, core_picture(), _HIDING, hiding_picture(), _TABLE + move_rows(), _REFUSALS + refusal_rows()]
    )


if __name__ == "__main__":
    print(document(), end="")
