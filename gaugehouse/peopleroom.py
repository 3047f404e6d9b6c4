"""Who may come in: users, their roles and the hashes of their passwords, sessions and tokens, by keys.

A Room of the core, so that it outlives a crash and is in every backup. Only hashes are kept: of passwords Argon2id, of
sessions and tokens SHA-256. No I/O, no clock: real time comes in.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

SESSION: Final = "session"
TOKEN: Final = "token"  # noqa: S105 the kind of a key
LINK: Final = "link"  # signs in once
DISPLAY: Final = "display"  # the long session of a screen that only looks
LONGEST_DISPLAY_MS: Final = 400 * 86_400_000
"""Browsers keep no cookie for longer (RFC 6265bis, 5.5, from memory)."""
MOST_SESSIONS: Final = 2000
CLOSED: Final = "closed"
"""The key that says: there were users, and who they were is lost."""


@dataclass(frozen=True, slots=True)
class User:
    """password: an Argon2id hash, "" for one who signs in by link or token only. blocked: may not come in."""

    name: str
    roles: tuple[str, ...]
    password: str
    made_ms: int
    made_by: str
    blocked: bool = False


@dataclass(frozen=True, slots=True)
class Key:
    """A session, token, link or display. roles: what it may at the most; until_ms: real UTC time at which it ends.

    lasts_ms: of a link, how long the display that it lets in stays; 0: it begins an ordinary session.
    """

    hash: str
    kind: str
    user: str
    roles: tuple[str, ...]
    label: str
    made_ms: int
    until_ms: int
    lasts_ms: int = 0


class PeopleRoom:
    """The Room. `exists` turns sign-in on: from the first user on, and for good, even where the users are lost."""

    def __init__(self) -> None:
        self._users: dict[str, User] = {}
        self._keys: dict[str, Key] = {}
        self._dirty: set[str] = set()
        self._closed = False

    def exists(self) -> bool:
        """True once the site has a user: changes need a person then."""
        return self._closed or bool(self._users)

    def users(self) -> list[User]:
        return sorted(self._users.values(), key=lambda user: user.name.casefold())

    def user(self, name: str) -> User | None:
        """By name; capitals do not matter, as people do not remember them."""
        return self._users.get(name.casefold())

    def keys(self, *kinds: str) -> list[Key]:
        return sorted((key for key in self._keys.values() if key.kind in kinds), key=lambda key: key.made_ms)

    def key(self, hashed: str) -> Key | None:
        return self._keys.get(hashed)

    def put_user(self, user: User) -> None:
        self._users[user.name.casefold()] = user
        self._dirty.add(f"user/{user.name.casefold()}")

    def remove_user(self, name: str) -> None:
        """With all that lets them in. Raises KeyError where there is nobody of that name."""
        del self._users[name.casefold()]
        self._dirty.add(f"user/{name.casefold()}")
        self.end_keys_of(name)

    def end_keys_of(self, user: str) -> None:
        """End every session, token, link and display of a user."""
        for key in [key for key in self._keys.values() if key.user.casefold() == user.casefold()]:
            self.end_key(key.hash)

    def put_key(self, key: Key, now_ms: int) -> None:
        """Keep a key; those that are over go."""
        for old in [old.hash for old in self._keys.values() if old.until_ms <= now_ms]:
            self.end_key(old)
        sessions = self.keys(SESSION)
        for old_session in sessions[: max(0, len(sessions) + 1 - MOST_SESSIONS)]:
            self.end_key(old_session.hash)
        self._keys[key.hash] = key
        self._dirty.add(f"key/{key.hash}")

    def end_key(self, hashed: str) -> bool:
        """False where there is none."""
        self._dirty.add(f"key/{hashed}")
        return self._keys.pop(hashed, None) is not None

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = (
            set(self._dirty)
            if changed_only
            else {*(f"user/{name}" for name in self._users), *(f"key/{hashed}" for hashed in self._keys)}
        )
        self._dirty.clear()
        found: dict[str, Any] = {CLOSED: True} if self._closed and not changed_only else {}
        for name in sorted(names):
            kind, _, key = name.partition("/")
            kept = self._users.get(key) if kind == "user" else self._keys.get(key)
            found[name] = None if kept is None else asdict(kept)
        return found

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if state is None:
                continue
            if name == CLOSED:
                self._closed = True
                continue
            fields = state | {"roles": tuple(state["roles"])}
            kind, _, key = name.partition("/")
            if kind == "user":
                self._users[key] = User(**fields)
            else:
                self._keys[key] = Key(**fields)
