"""The console's users as the daemon has them: asked of the core's room, changed by acts like all else."""

from collections.abc import Awaitable, Callable

from console.facts import ActWaits
from console.people import Person
from console.roles import VIEWER
from gaugehouse.act import Act, Answer, Taken
from gaugehouse.errors import CouldNot
from gaugehouse.peopleacts import EndKey, PutKey, SignInFailed
from gaugehouse.peopleroom import DISPLAY, LINK, SESSION, PeopleRoom

ITSELF = "gaugehouse"


class DaemonPeople:
    """See `console.people.People`."""

    def __init__(self, room: PeopleRoom, submit: Callable[[Act], Awaitable[Answer]], session_ms: int) -> None:
        self._room, self._submit, self._session_ms = room, submit, session_ms

    def exists(self) -> bool:
        return self._room.exists()

    def password_of(self, name: str) -> tuple[str, str] | None:
        user = self._room.user(name)
        return None if user is None or user.blocked or not user.password else (user.name, user.password)

    def person(self, hashed: str, now_ms: int) -> Person | None:
        key = self._room.key(hashed)
        if key is None or key.kind == LINK or key.until_ms <= now_ms:
            return None
        user = self._room.user(key.user)
        if user is None or user.blocked:
            return None
        return Person(user.name, key.roles, hashed if key.kind in (SESSION, DISPLAY) else "")

    def link(self, hashed: str, now_ms: int) -> str | None:
        key = self._room.key(hashed)
        return key.user if key is not None and key.kind == LINK and key.until_ms > now_ms else None

    async def begin(self, hashed: str, user: str, address: str, now_ms: int, link: str) -> int:
        way = self._room.key(link) if link else None
        if link:
            used = await self._done(EndKey(link, "", user))
            if used.status is not Taken.DONE:  # two browsers at once: one of them was first
                return 0
        lasts_ms = self._session_ms
        put = PutKey(hashed, SESSION, user, None, "", address, now_ms, now_ms + lasts_ms, user)
        if way is not None and way.lasts_ms:
            lasts_ms = way.lasts_ms
            put = put._replace(kind=DISPLAY, roles=(VIEWER,), label=way.label, until_ms=now_ms + lasts_ms)
        return lasts_ms if (await self._done(put)).status is Taken.DONE else 0

    async def end(self, hashed: str, user: str) -> None:
        await self._done(EndKey(hashed, "", user))

    async def failed(self, user: str, address: str) -> None:
        await self._done(SignInFailed(user, address))

    async def _done(self, act: Act) -> Answer:
        try:
            return await self._submit(act)
        except CouldNot as error:
            raise ActWaits(str(error)) from error
