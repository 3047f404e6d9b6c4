"""A person's act by HTTP: let it happen, and answer in the words of HTTP."""

from typing import Final

from console.facts import Facts, Json
from console.problems import Refused

ACTED: Final = ("done", "already")
NOT_ACTED: Final = {"unknown": 404, "older": 409, "refused": 409, "wrong": 422}


async def acted(facts: Facts, name: str, fields: Json) -> Json:
    """What the act tells beside its status, or the problem that stands in its way (`Refused`)."""
    answer = await facts.act(name, fields)
    if answer.status in ACTED:
        return {"status": answer.status, **answer.body}
    raise Refused(NOT_ACTED[answer.status], answer.text)
