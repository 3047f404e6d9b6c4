"""What is done to users and keys. Every change is journaled by name; no hash gets into the record book's entries."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

from console.roles import ADMINISTRATOR, ROLES, VIEWER
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, refused, text_of, unknown
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.peopleroom import DISPLAY, LINK, LONGEST_DISPLAY_MS, SESSION, TOKEN, Key, User
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

USER: Final = "user"
SIGN_IN: Final = "sign_in"
"""Kinds of the record book's entries."""
LONGEST_NAME: Final = 64


class PutUser(NamedTuple):
    """A user is made, or what is given of one is changed (None: left as it is)."""

    name: str
    roles: tuple[str, ...] | None
    password: str | None
    blocked: bool | None
    by: str
    new: bool

    def apply(self, core: "Core", at: Instant) -> Outcome:
        room, found = core.people, core.people.user(self.name)
        if self.new and found is not None:
            return Outcome(Answer(Taken.ALREADY, f"there is a user {found.name} already", {"user": found.name}))
        if not self.new and found is None:
            return unknown(f"there is no user {self.name!r}")
        if found is None:
            if not room.users() and ADMINISTRATOR not in (self.roles or ()):
                text = f"the first user must be {ADMINISTRATOR}: somebody has to let the others in"
                return refused(text)
            user = User(self.name, self.roles or (), self.password or "", at.time_ms, self.by)
        else:
            changed: Json = {"roles": self.roles, "password": self.password, "blocked": self.blocked}
            user = replace(found, **{name: value for name, value in changed.items() if value is not None})
            if _would_lock_all_out(core, found, user):
                text = f"{found.name} is the only {ADMINISTRATOR} who can come in; make another one first"
                return refused(text)
            if self.password is not None or user.blocked or user.roles != found.roles:
                room.end_keys_of(found.name)
        room.put_user(user)
        what = ["made"] if found is None else [name for name in ("roles", "password", "blocked") if
                                               getattr(self, name) is not None]  # fmt: skip
        body = {"user": user.name, "event": what, "roles": list(user.roles), "blocked": user.blocked, "by": self.by}
        return Outcome(Answer(Taken.DONE, "", body), [Decision(USER, body | {"time": iso_ms(at.time_ms)})])


class RemoveUser(NamedTuple):
    name: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        found = core.people.user(self.name)
        if found is None:
            return unknown(f"there is no user {self.name!r}")
        if _would_lock_all_out(core, found, None):
            text = f"{found.name} is the only {ADMINISTRATOR} who can come in; make another one first"
            return refused(text)
        core.people.remove_user(found.name)
        body = {"user": found.name, "event": ["removed"], "by": self.by, "time": iso_ms(at.time_ms)}
        return Outcome(Answer(Taken.DONE, "", body), [Decision(USER, body)])


class PutKey(NamedTuple):
    """A session begins, or a token, link or display is made; real times. lasts_ms: see `Key`."""

    hash: str
    kind: str
    user: str
    roles: tuple[str, ...] | None
    label: str
    address: str
    now_ms: int
    until_ms: int
    by: str
    lasts_ms: int = 0

    def apply(self, core: "Core", at: Instant) -> Outcome:
        user = core.people.user(self.user)
        if user is None or user.blocked:
            return unknown(f"there is no user {self.user!r} who may come in")
        roles = user.roles if self.roles is None else self.roles
        if (self.kind == DISPLAY or self.lasts_ms) and roles != (VIEWER,):
            return refused(f"a display only looks; it cannot be {', '.join(roles)}")
        if ADMINISTRATOR not in user.roles and not set(roles) <= {VIEWER, *user.roles}:  # everybody may look
            text = f"{user.name} is {', '.join(user.roles)}; a token cannot be more than its user"
            return refused(text)
        key = Key(self.hash, self.kind, user.name, roles, self.label, self.now_ms, self.until_ms, self.lasts_ms)
        core.people.put_key(key, self.now_ms)
        body = {
            "user": user.name, "event": self.kind, "label": self.label, "address": self.address, "by": self.by,
            "roles": list(roles), "until": iso_ms(self.until_ms), "time": iso_ms(at.time_ms),
        }  # fmt: skip
        return Outcome(Answer(Taken.DONE, "", body), [Decision(SIGN_IN, body)])


class EndKey(NamedTuple):
    """A session ends by its person, or a token or display is called back: by its hash, or by its label."""

    hash: str
    label: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        keys = [core.people.key(self.hash)] if self.hash else core.people.keys(TOKEN, DISPLAY, LINK)
        wanted = self.hash or self.label
        found = [key for key in keys if key is not None and wanted and (self.hash or key.label == self.label)]
        if not found:
            what = f"token or display {self.label!r}" if self.label else "such session"
            return unknown(f"there is no {what}")
        decisions = []
        for key in found:
            core.people.end_key(key.hash)
            if key.kind != LINK:
                body = {"user": key.user, "event": f"{key.kind} ended", "label": key.label, "by": self.by}
                decisions.append(Decision(SIGN_IN, body | {"time": iso_ms(at.time_ms)}))
        return Outcome(Answer(Taken.DONE, "", {"ended": len(found)}), decisions)


class SignInFailed(NamedTuple):
    """Somebody did not come in. A name that no user has is not written down: it may be a password."""

    user: str
    address: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        known = core.people.user(self.user)
        body = {"user": "" if known is None else known.name, "event": "failed", "address": self.address}
        return Outcome(Answer(Taken.DONE), [Decision(SIGN_IN, body | {"time": iso_ms(at.time_ms)})])


def _would_lock_all_out(core: "Core", before: User, after: User | None) -> bool:
    """True where nobody would be left who can let people in."""
    others = [user for user in core.people.users() if user.name != before.name]
    left = [*others, *([] if after is None else [after])]
    return not any(ADMINISTRATOR in user.roles and not user.blocked for user in left)


def _name(fields: Json, key: str) -> str:
    name = text_of(fields, key)
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise CallError(f"{key} is {name[:80]!r}; write 1 to {LONGEST_NAME} printable characters")
    return name


def _roles(fields: Json) -> tuple[str, ...] | None:
    given = fields.get("roles")
    if given is None:
        return None
    if not isinstance(given, list) or not given or not set(given) <= set(ROLES):
        raise CallError(f"roles are {given!r}; write some of {', '.join(ROLES)}")
    return tuple(role for role in ROLES if role in given)


def _text(fields: Json, key: str) -> str | None:
    value = fields.get(key)
    if value is not None and not isinstance(value, str):
        raise CallError(f"{key} is no text")
    return value


def put_user_of(fields: Json) -> PutUser:
    blocked = fields.get("blocked")
    return PutUser(
        _name(fields, "user"), _roles(fields), _text(fields, "password"), None if blocked is None else bool(blocked),
        text_of(fields, "by"), bool(fields.get("new", False)),
    )  # fmt: skip


def put_key_of(fields: Json) -> PutKey:
    kind = text_of(fields, "kind")
    if kind not in (SESSION, TOKEN, LINK, DISPLAY):
        raise CallError(f"kind is {kind!r}; write {SESSION}, {TOKEN}, {LINK} or {DISPLAY}")
    label, lasts_ms = text_of(fields, "label", ""), int(fields.get("lasts_ms", 0))
    if not label and (kind in (TOKEN, DISPLAY) or lasts_ms):
        raise CallError("label is empty; write what it is for, so that it can be called back by it")
    if not 0 <= lasts_ms <= LONGEST_DISPLAY_MS:
        raise CallError(f"lasts_ms is {lasts_ms}; allowed is 0 to {LONGEST_DISPLAY_MS} (400 days)")
    return PutKey(
        text_of(fields, "hash"), kind, _name(fields, "user"), _roles(fields), label,
        text_of(fields, "address", ""), int(fields["now_ms"]), int(fields["until_ms"]), text_of(fields, "by"),
        lasts_ms,
    )  # fmt: skip


def end_key_of(fields: Json) -> EndKey:
    return EndKey(text_of(fields, "hash", ""), text_of(fields, "label", ""), text_of(fields, "by"))


PEOPLE_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {
    "put_user": put_user_of,
    "remove_user": lambda fields: RemoveUser(_name(fields, "user"), text_of(fields, "by")),
    "put_key": put_key_of,
    "end_key": end_key_of,
    "sign_in_failed": lambda fields: SignInFailed(text_of(fields, "user", ""), text_of(fields, "address", "")),
}
"""By their names; see `gaugehouse.acts.ACTS`."""
