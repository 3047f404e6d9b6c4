"""The message itself: one text for people, and the same as values for programs.

Words and their order as somebody on a telephone needs them: what, where, how it stands, what to do, since when. How an
alarm is called and what to do about it comes from the alarm sheet through a `Face`. Knows no channel and no clock.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from alerts.lifecycle import State
from alerts.notify.policy import RETURNED
from alerts.notify.stage import Item, Why

CAUTION: Final = (
    "A monitoring and accounting aid: not an overfill prevention system, not a safety instrumented function. "
    "Follow local codes and licensed practice."
)
SIMULATED: Final = "SIMULATED FARM: invented figures, nothing is to be done."
TEST_WORD: Final = "TEST, no alarm."

ALARM: Final = "alarm"
ALIVE: Final = "alive"
TEST: Final = "test"


class Face(NamedTuple):
    """An alarm in words. short: where, in as few words as a subject takes; place: where, in full. reads: what was
    measured, and is now, beside the limit; empty where that is no figure."""

    name: str
    short: str
    place: str
    action: str
    respond: str
    reads: str = ""


class House(NamedTuple):
    """Who writes: the site, its zone, where its pages are, and whether its figures are invented."""

    id: str
    name: str
    zone: str
    link: str
    simulated: bool = False


class Letter(NamedTuple):
    """One message. key: the same for the same contents, so that a message sent twice can be told. priority: the most
    urgent one in it, 0 for none. content: for programs, JSON-ready. kind: alarm, alive or test."""

    kind: str
    key: str
    subject: str
    text: str
    priority: int
    content: Mapping[str, Any]


def alarm_letter(channel: str, house: House, items: Sequence[Item], faces: Mapping[str, Face], now_ms: int) -> Letter:
    """Alarms, the most urgent first, each with what to do. faces: by alarm id."""
    blocks = [_block(item, faces[item.case.id], house.zone, now_ms) for item in items]
    marks = [
        (item.case.id, item.case.first, item.case.last, item.why.value, item.case.tellings, item.case.asked_ms)
        for item in items
    ]
    follow = [(one.what, one.time_ms) for item in items for one in item.case.follow_ups]
    key = _key(house.id, channel, marks, follow)
    content = _content(ALARM, key, channel, house, now_ms)
    content["alarms"] = [_values(item, faces[item.case.id]) for item in items]
    priority = min((item.case.priority for item in items if item.why is not Why.FOLLOW_UP), default=0)
    subject = _marked(house, f"{_headline(items, faces)} - {house.name}")
    text = "\n\n".join([*_top(house), *blocks, *_foot(house)])
    return Letter(ALARM, key, subject, text, priority, content | {"subject": subject, "text": text})


def alive_letter(channel: str, house: House, now_ms: int, every_ms: int) -> Letter:
    """The message that must keep coming. Whoever waits for it in vain knows that gaugehouse itself has died."""
    by = clock(now_ms + every_ms, house.zone)
    subject = _marked(house, f"alive - {house.name}")
    body = (
        f"gaugehouse runs and its last readings are new ({clock(now_ms, house.zone)}). The next message like this one "
        f"comes by {by}. If it does not, nobody watches the alarms of {house.name}: look at the daemon, its machine "
        "and its network, and gauge the tanks by hand until it runs."
    )
    text = "\n\n".join([*_top(house), body, *_foot(house)])
    key = _key(house.id, channel, ALIVE, now_ms)
    content = _content(ALIVE, key, channel, house, now_ms) | {"next_by": iso(now_ms + every_ms)}
    return Letter(ALIVE, key, subject, text, 0, content | {"subject": subject, "text": text})


def letter_of_test(channel: str, house: House, now_ms: int, by: str) -> Letter:
    """A message that shows that a channel works; marked so that nobody acts on it."""
    subject = _marked(house, f"TEST - {house.name}")
    body = f"{TEST_WORD} {by} tries the channel {channel} at {clock(now_ms, house.zone)}. Nothing is to be done."
    text = "\n\n".join([*_top(house), body, *_foot(house)])
    key = _key(house.id, channel, TEST, now_ms)
    content = _content(TEST, key, channel, house, now_ms)
    return Letter(TEST, key, subject, text, 0, content | {"subject": subject, "text": text})


def clock(time_ms: int, zone: str) -> str:
    """``14:02:31 on 26 Nov``: a time as people at the site read it; the zone stands at the foot of the message."""
    local = datetime.fromtimestamp(time_ms // 1000, UTC).astimezone(ZoneInfo(zone))
    return f"{local:%H:%M:%S} on {local.day} {_MONTHS[local.month - 1]}"


def span(ms: int) -> str:
    """``40 s``, ``12 min``, ``3 h 5 min``."""
    minutes = ms // 60_000
    if minutes < 1:
        return f"{ms // 1000} s"
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def iso(time_ms: int) -> str:
    """UTC for programs, as in the CSV files."""
    moment = datetime.fromtimestamp(time_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{time_ms % 1000:03d}Z"


_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _headline(items: Sequence[Item], faces: Mapping[str, Face]) -> str:
    """The most urgent one, and how many more: a telephone shows some forty characters."""
    first = items[0]
    face = faces[first.case.id]
    words = f"{face.short}: {face.name}"
    if first.why is Why.FOLLOW_UP:
        words = f"{first.case.follow_ups[-1].what.capitalize()} {words}"
    else:
        words = f"P{first.case.priority} {words}"
        if first.why is Why.AGAIN:
            words += ", STILL NOT ACKNOWLEDGED"
    return words if len(items) == 1 else f"{words} (+{len(items) - 1} more)"


def _marked(house: House, subject: str) -> str:
    subject = " ".join(subject.split())  # a line break in a name must not become a header of its own
    return f"SIMULATED {subject}" if house.simulated else subject


def _top(house: House) -> list[str]:
    return [SIMULATED] if house.simulated else []


def _foot(house: House) -> list[str]:
    return [f"Look and acknowledge: {house.link}", f"Times are those of {house.zone}. {CAUTION}"]


def _block(item: Item, face: Face, zone: str, now_ms: int) -> str:
    """One alarm."""
    case = item.case
    lines = [f"{face.name}, priority {case.priority}", face.place]
    if face.reads:
        lines.append(face.reads)
    lines += _since(item, zone, now_ms)
    if item.why is not Why.FOLLOW_UP:
        lines += [f"Do: {face.action}.", f"When: {face.respond}."]
    return "\n".join(lines)


def _since(item: Item, zone: str, now_ms: int) -> list[str]:
    """When it was raised, and what has become of it."""
    case = item.case
    if item.why is Why.FOLLOW_UP:
        return [_followed(one.what, one.by, clock(one.time_ms, zone)) for one in case.follow_ups]
    times = case.last - case.first + 1 if case.untold else 1
    raised = f"Raised at {clock(case.asked_ms, zone)}."
    if times > 1:
        raised = f"Raised {times} times, from {clock(case.asked_ms, zone)} to {clock(case.last_asked_ms, zone)}."
    return [raised, _state(item, zone, now_ms)]


def _followed(what: str, by: str, at: str) -> str:
    return f"Its condition returned to normal at {at}." if what == RETURNED else f"Acknowledged by {by} at {at}."


def _state(item: Item, zone: str, now_ms: int) -> str:
    case = item.case
    at = clock(case.changed_ms, zone)
    nobody = f"{'STILL NOBODY' if item.why is Why.AGAIN else 'Nobody'} has acknowledged it"
    waited_ms = now_ms - case.asked_ms
    if waited_ms >= _WORTH_TELLING_MS:
        nobody += f" for {span(waited_ms)}"
    match case.state:
        case State.ACKNOWLEDGED | State.LATCHED_ACKNOWLEDGED:
            return f"Acknowledged by {case.by or 'somebody'} at {at}."
        case State.RETURNED_UNACKNOWLEDGED | State.LATCHED_UNACKNOWLEDGED:
            return f"Its condition returned to normal at {at}. {nobody}."
        case State.NORMAL:
            return f"Acknowledged by {case.by}; over since {at}." if case.by else f"Over since {at}."
    return f"{nobody}."


_WORTH_TELLING_MS: Final = 60_000


def _values(item: Item, face: Face) -> dict[str, Any]:
    case = item.case
    return {
        "key": f"{case.id}#{case.last or case.told}",
        "id": case.id,
        "source": case.source,
        "condition": case.condition,
        "priority": case.priority,
        "why": item.why.value,
        "state": case.state,
        "occurrence": case.last or case.told,
        "first_occurrence": case.first or case.told,
        "raised": iso(case.asked_ms),
        "changed": iso(case.changed_ms),
        "by": case.by,
        "value": case.value,
        "name": face.name,
        "place": face.place,
        "reads": face.reads,
        "action": face.action,
        "respond": face.respond,
    }


def _content(kind: str, key: str, channel: str, house: House, now_ms: int) -> dict[str, Any]:
    content: dict[str, Any] = {"kind": kind, "key": key, "channel": channel, "site": house.id, "site_name": house.name}
    content |= {"time": iso(now_ms), "link": house.link}
    if house.simulated:
        content["simulated"] = True
    return content


def _key(*parts: object) -> str:
    """The same parts give the same key."""
    return sha256(repr(parts).encode()).hexdigest()[:32]
