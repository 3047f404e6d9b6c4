"""What the record book's entries say of alarms and of telling them: how they are written and read back as rows.

One writer (the core's decisions) and one reader for the pages and the commands, side by side.
"""

from collections.abc import Collection
from typing import Any, Final

from alerts.alarm import Transition
from gaugehouse.days import iso_ms
from history.book import BookReader

ALARM: Final = "alarm"
NOTIFIED: Final = "notified"
"""One message to people that was taken: channel, alarms, and what the other side answered."""

Row = dict[str, Any]


def alarm_body(transition: Transition) -> Row:
    """An alarm transition as an entry's body; its time and tick are the entry's own."""
    t = transition
    body: Row = {
        "source": t.source,
        "condition": t.condition,
        "priority": t.priority,
        "event": t.event.value,
        "state": t.state.value,
        "occurrence": t.occurrence,
    }
    extra = {"by": t.by, "comment": t.comment, "value": t.value, "until_ms": t.until_ms}
    body |= {name: value for name, value in extra.items() if value not in ("", None)}
    return body | {"one_shot": True} if t.one_shot else body


def alarm_rows(
    book: BookReader,
    sources: Collection[str] | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    *,
    newest: int | None = None,
    before: int | None = None,
) -> list[Row]:
    """Alarm transitions with from <= t < to in the order they happened, `entry` the number of each in the book.

    `newest`: at most so many, the last ones; `before`: only those with a lower number.
    """
    rows: list[Row] = []
    for entry in book.entries([ALARM], from_ms, to_ms, newest_first=True, before=before):
        body = entry.body
        if sources is not None and body["source"] not in sources:
            continue
        alarm = f"{body['source']}.{body['condition']}"
        rows.append({"entry": entry.n, "time": iso_ms(entry.time_ms), "id": alarm, **body})
        if newest is not None and len(rows) >= newest:
            break
    return rows[::-1]


def told_rows(book: BookReader, from_ms: int | None = None, to_ms: int | None = None) -> list[Row]:
    """What the channels of notification told with from <= t < to, oldest first: when, to whom, of which alarms."""
    return [
        {
            "time": iso_ms(entry.time_ms),
            "channel": body["channel"],
            "alarms": " ".join(body["alarms"]),
            "took_ms": body["took_ms"],
            "answer": body["answer"],
            "key": body["key"],
        }
        for entry in book.entries([NOTIFIED], from_ms, to_ms)
        for body in [dict[str, Any](entry.body)]
    ]
