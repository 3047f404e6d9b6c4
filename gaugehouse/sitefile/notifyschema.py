"""The keys of one [[notify]] table: a channel by which people are told of alarms. What they mean together is in
`notifychecks`. Every key stands in docs/site-file.md (a test compares the two)."""

import re
from typing import Annotated, Final, NamedTuple

from pydantic import AfterValidator, Field, PlainValidator

from alerts.notify.policy import DAY_MIN, EVERY_DAY, RAISED, TELLS
from gaugehouse.sitefile.fields import Id, milliseconds, number_of, one_of, refuse, whole
from gaugehouse.sitefile.problems import shown
from gaugehouse.sitefile.table import Table, Text

EMAIL: Final = "email"
WEBHOOK: Final = "webhook"
MQTT: Final = "mqtt"
APPRISE: Final = "apprise"
NOTIFY_KINDS: Final = (EMAIL, WEBHOOK, MQTT, APPRISE)
SECURITIES: Final = ("tls", "starttls", "none")
DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LONGEST_CHANNEL: Final = 24
"""Of an id: `notify-ID` is a source of alarms, whose names have up to 32 characters."""

_HOURS: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-(?:([01]\d|2[0-3]):([0-5]\d)|24:00)", re.ASCII)
_ADDRESS: Final = re.compile(r"[^\s@<>\",;]+@[^\s@<>\",;]+", re.ASCII)


class Duty(NamedTuple):
    """Minutes after midnight, start <= t < end."""

    start_min: int
    end_min: int


def _hours(value: object) -> Duty:
    found = _HOURS.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise refuse(f'{shown(value)} are no hours; write "06:00-22:00" in quotes', allowed='"HH:MM-HH:MM"')
    start = 60 * int(found[1]) + int(found[2])
    end = DAY_MIN if found[3] is None else 60 * int(found[3]) + int(found[4])
    if start == end:
        raise refuse(f'"{value}" has no length; leave `hours` out for the whole day', allowed='"HH:MM-HH:MM"')
    return Duty(start, end)


def _address(value: str) -> str:
    if not _ADDRESS.fullmatch(value):
        raise refuse(f'"{value}" is no e-mail address; write "name@host" and nothing around it', allowed='"name@host"')
    return value


Address = Annotated[str, AfterValidator(_address)]
Priority = Annotated[int, PlainValidator(number_of((1, 2, 3)))]
DayName = Annotated[int, PlainValidator(one_of({word: number for number, word in enumerate(DAYS)}))]


class NotifyTable(Table):
    id: Id = Field(examples=['"duty-phone"'])
    kind: Annotated[str, PlainValidator(one_of({word: word for word in NOTIFY_KINDS}))] = Field(examples=['"email"'])
    who: Text | None = None
    priorities: list[Priority] = Field(default_factory=lambda: [1, 2, 3])
    classes: list[Text] = Field(default_factory=list)
    sources: list[Text] = Field(default_factory=list)
    tells: list[Annotated[str, PlainValidator(one_of({word: word for word in TELLS}))]] = Field(
        default_factory=lambda: [RAISED]
    )
    unacknowledged_for: Annotated[int, milliseconds("10 min", 0, 86_400)] = 0
    again_every: Annotated[int, milliseconds("30 min", 60, 86_400)] | None = None
    gather: Annotated[int, milliseconds("10 s", 0, 3600)] = 10_000
    same_alarm_after: Annotated[int, milliseconds("1 min", 0, 86_400)] = 60_000
    hours: Annotated[Duty, PlainValidator(_hours)] | None = None
    days: list[DayName] = Field(default_factory=lambda: sorted(EVERY_DAY), min_length=1)
    alive_every: Annotated[int, milliseconds("5 min", 10, 604_800)] | None = None
    link: Text | None = None
    host: Text | None = None
    port: Annotated[int, whole(1, 65535)] | None = None
    security: Annotated[str, PlainValidator(one_of({word: word for word in SECURITIES}))] | None = None
    ca: Text | None = None
    username: Text | None = None
    password_file: Text | None = None
    password_env: Text | None = None
    from_address: Address | None = None
    to: list[Address] = Field(default_factory=list)
    url: Text | None = None
    url_file: Text | None = None
    url_env: Text | None = None
    token_file: Text | None = None
    token_env: Text | None = None
    services_file: Text | None = None
    services_env: Text | None = None


KEYS_OF: Final = {
    EMAIL: (
        "host", "port", "security", "ca", "username", "password_file", "password_env", "from_address", "to",
    ),
    WEBHOOK: ("url", "url_file", "url_env", "ca", "token_file", "token_env"),
    MQTT: (),
    APPRISE: ("services_file", "services_env"),
}  # fmt: skip
"""Keys that are of use for one kind only."""
