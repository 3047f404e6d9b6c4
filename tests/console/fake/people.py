"""Users, sessions and links by hand."""

from console.people import Person


class FakePeople:
    """Users, sessions and links by hand; the site has users once there is one."""

    def __init__(self) -> None:
        self.users: dict[str, tuple[str, tuple[str, ...]]] = {}
        self.keys: dict[str, Person] = {}
        self.links: dict[str, str] = {}
        self.journal: list[tuple[str, str, str]] = []

    def exists(self) -> bool:
        return bool(self.users)

    def password_of(self, name: str) -> tuple[str, str] | None:
        return (name, self.users[name][0]) if name in self.users else None

    def person(self, hashed: str, now_ms: int) -> Person | None:
        return self.keys.get(hashed)

    def link(self, hashed: str, now_ms: int) -> str | None:
        return self.links.get(hashed)

    async def begin(self, hashed: str, user: str, address: str, now_ms: int, link: str) -> int:
        if link and self.links.pop(link, None) is None:
            return 0
        self.keys[hashed] = Person(user, self.users[user][1], hashed)
        self.journal.append(("session", user, address))
        return 3_600_000

    async def end(self, hashed: str, user: str) -> None:
        del self.keys[hashed]
        self.journal.append(("ended", user, ""))

    async def failed(self, user: str, address: str) -> None:
        self.journal.append(("failed", user if user in self.users else "", address))
