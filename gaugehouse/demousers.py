"""Who may come in to the demo: four invented people with a role each, and a link that signs the first of them in."""

import asyncio
import secrets
import time
from collections.abc import Awaitable, Callable
from typing import Final

from console.roles import ADMINISTRATOR, MAINTAINER, OPERATOR, STOCK_KEEPER
from console.sign_in import hashed_of, hasher
from gaugehouse.act import Act, Answer
from gaugehouse.acts import act_of
from gaugehouse.peopleroom import LINK

PEOPLE: Final = {"Ana": ADMINISTRATOR, "Ben": OPERATOR, "Cleo": MAINTAINER, "Dan": STOCK_KEEPER}
PASSWORD: Final = "invented fuel farm"  # noqa: S105 printed to whoever starts the demo; all of it is invented
LINK_MS: Final = 86_400_000
BY: Final = "demo"


async def let_in(submit: Callable[[Act], Awaitable[Answer]], url: str) -> str:
    """Make the users; the address that signs the first of them in, once."""
    password = await asyncio.to_thread(hasher.hash, PASSWORD)
    for name, role in PEOPLE.items():
        fields = {"user": name, "roles": [role], "password": password, "by": BY, "new": True}
        await submit(act_of("put_user", fields))
    secret, now_ms = secrets.token_urlsafe(16), time.time_ns() // 1_000_000
    key = {
        "hash": hashed_of(secret), "kind": LINK, "user": next(iter(PEOPLE)), "now_ms": now_ms,
        "until_ms": now_ms + LINK_MS, "by": BY,
    }  # fmt: skip
    await submit(act_of("put_key", key))
    return f"{url.rstrip('/')}/enter/{secret}"
