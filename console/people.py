"""What the console asks of the users and their sessions; the daemon answers."""

from typing import NamedTuple, Protocol


class Person(NamedTuple):
    """Somebody who is signed in. session: the key of their session or display, "" for a token."""

    name: str
    roles: tuple[str, ...]
    session: str = ""


class People(Protocol):
    """What the console asks of the users. Nothing blocks."""

    def exists(self) -> bool:
        """True once the site has users."""

    def password_of(self, name: str) -> tuple[str, str] | None:
        """The user's own spelling and the hash of the password; None for nobody, or one who may not come in."""

    def person(self, hashed: str, now_ms: int) -> Person | None:
        """Who has a session or token, None where it is over or never was."""

    def link(self, hashed: str, now_ms: int) -> str | None:
        """The user whom a link lets in."""

    async def begin(self, hashed: str, user: str, address: str, now_ms: int, link: str) -> int:
        """A session begins and is journaled; the link that led to it (its hash, or "") is used up.

        How long it lasts, in ms; 0 for a user who may not come in any more, or a link that somebody else used.
        """

    async def end(self, hashed: str, user: str) -> None:
        """A session ends."""

    async def failed(self, user: str, address: str) -> None:
        """Somebody did not come in."""
