"""The channels of a site once its file is read: whom they serve, and where they go. Secrets are only named here.

Runs where nothing is wrong; decides nothing new.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from alerts.notify.policy import DAY_MIN, EVERY_DAY, Hours, Policy
from gaugehouse.sitefile.notifyschema import EMAIL, NotifyTable
from gaugehouse.sitefile.secret import SecretPlace

PORTS: Final = {"tls": 465, "starttls": 587, "none": 25}
"""Source: RFC 8314 (465, submission over TLS), RFC 6409 (587), RFC 5321 (25)."""


@dataclass(frozen=True, slots=True)
class NotifySpec:
    """One channel. who: for people. security: "tls", "starttls" or "none". url: None where it is a secret.

    link: what messages point to, None for the console's own address.
    """

    policy: Policy
    kind: str
    who: str
    link: str | None = None
    host: str = ""
    port: int = 0
    security: str = "starttls"
    ca: Path | None = None
    username: str | None = None
    password: SecretPlace | None = None
    from_address: str = ""
    to: tuple[str, ...] = ()
    url: str | None = None
    secret_url: SecretPlace | None = None
    token: SecretPlace | None = None
    services: SecretPlace | None = None

    @property
    def id(self) -> str:
        return self.policy.id

    @property
    def secrets(self) -> Iterator[SecretPlace]:
        """Every place from which this channel takes a secret."""
        places = (self.password, self.secret_url, self.token, self.services)
        return (place for place in places if place is not None)


def notify_of(table: NotifyTable, zone: str, folder: Path) -> NotifySpec:
    """A channel as its table says."""
    key = f"notify[{table.id}]"
    security = table.security or "starttls"

    def place(name: str) -> SecretPlace | None:
        file, env = getattr(table, f"{name}_file"), getattr(table, f"{name}_env")
        if file is None and env is None:
            return None
        return SecretPlace(f"{key}.{name}", None if file is None else folder / file, env)

    return NotifySpec(
        policy=_policy(table, zone),
        kind=table.kind,
        who=table.who or table.id,
        link=table.link,
        host=table.host or "",
        port=table.port or (PORTS[security] if table.kind == EMAIL else 0),
        security=security,
        ca=None if table.ca is None else folder / table.ca,
        username=table.username,
        password=place("password"),
        from_address=table.from_address or "",
        to=tuple(table.to),
        url=table.url,
        secret_url=place("url"),
        token=place("token"),
        services=place("services"),
    )


def _policy(table: NotifyTable, zone: str) -> Policy:
    days = frozenset(table.days)
    hours = None
    if table.hours is not None:
        hours = Hours(zone, table.hours.start_min, table.hours.end_min, days)
    elif days != EVERY_DAY:
        hours = Hours(zone, 0, DAY_MIN, days)
    return Policy(
        id=table.id,
        priorities=frozenset(table.priorities),
        classes=frozenset(table.classes),
        sources=frozenset(table.sources),
        tells=frozenset(table.tells) | {"raised"},
        unacknowledged_ms=table.unacknowledged_for,
        again_ms=table.again_every,
        gather_ms=table.gather,
        same_alarm_ms=table.same_alarm_after,
        hours=hours,
        alive_every_ms=table.alive_every,
    )


def settings_of_channel(spec: NotifySpec) -> Mapping[str, Any]:
    """What is compared and journaled of a channel: every setting, of a secret only where it is kept."""
    policy = spec.policy
    plain: dict[str, Any] = {
        "kind": spec.kind,
        "who": spec.who,
        "priorities": tuple(sorted(policy.priorities)),
        "classes": tuple(sorted(policy.classes)),
        "sources": tuple(sorted(policy.sources)),
        "tells": tuple(sorted(policy.tells)),
        "unacknowledged_ms": policy.unacknowledged_ms,
        "again_ms": policy.again_ms,
        "gather_ms": policy.gather_ms,
        "same_alarm_ms": policy.same_alarm_ms,
        "alive_every_ms": policy.alive_every_ms,
        "link": spec.link,
        "host": spec.host,
        "port": spec.port,
        "security": spec.security,
        "ca": spec.ca,
        "username": spec.username,
        "from_address": spec.from_address,
        "to": spec.to,
        "url": spec.url,
    }
    if policy.hours is not None:
        hours = policy.hours
        plain |= {"hours": (hours.start_min, hours.end_min), "days": tuple(sorted(hours.days))}
    for place in spec.secrets:
        name = place.key.rpartition(".")[2]
        plain |= {f"{name}_file": place.file, f"{name}_env": place.env}
    return plain
