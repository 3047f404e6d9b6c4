"""The HTTP API of what people do to alarms beside acknowledging them: each a POST below the alarm's address."""

from typing import Annotated, Final, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, Comment, PersonName
from console.facts import Facts, Json
from console.lookup import AlarmId
from console.problems import said

Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]
LONGEST_SPAN_S: Final = 7 * 86_400

NOT_NOW: Final = said(409, "not now, or not so: the detail says why")


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")
    by: PersonName


class Shelving(_Body):
    """Who shelves it, why, and for how long. one_shot: the shelf ends with the condition too, if that comes first."""

    reason: Reason
    span_s: Annotated[float, Field(strict=True, ge=1, le=LONGEST_SPAN_S, allow_inf_nan=False)]
    one_shot: Annotated[bool, Field(strict=True)] = False


class Commented(_Body):
    """Who does it, and what they have to say about it."""

    comment: Comment = ""


class Reasoned(_Body):
    """Who does it, and why."""

    reason: Reason


class Reset(Commented):
    """Who resets the latch of which occurrence (none: the newest)."""

    occurrence: Annotated[int, Field(strict=True, ge=0, le=2**53)] | None = None


Means = Literal["wet", "simulated"]
"""The real liquid or float moves, or a simulator stands in for the sensor."""


class TestBegun(Commented):
    """Who moves the signal now, by which means, and within how many seconds the alarm must come."""

    means: Means
    limit_s: Annotated[float, Field(strict=True, ge=1, le=3600, allow_inf_nan=False)] = 600.0


class TestTold(Commented):
    """A test that somebody watched with a clock of their own. seconds: from the signal to the alarm."""

    means: Means
    passed: Annotated[bool, Field(strict=True)]
    seconds: Annotated[float, Field(strict=True, ge=0, le=86_400, allow_inf_nan=False)] | None = None


class AlarmApi:
    """The routes below /api/alarms of single alarms. The same again is answered with status "already"."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/alarms", responses=REFUSED)
        self.router.get("/every")(self.every)
        self.router.get("/tests", responses=SILENT)(self.tests)
        post = self.router.post
        answers = UNREADABLE | UNKNOWN | NOT_NOW | SILENT
        post("/{alarm}/shelve", responses=answers)(self.shelve)
        post("/{alarm}/unshelve", responses=answers)(self.unshelve)
        post("/{alarm}/reset", responses=answers)(self.reset)
        post("/{alarm}/remove-from-service", responses=answers)(self.remove)
        post("/{alarm}/return-to-service", responses=answers)(self.back)
        post("/{alarm}/test", responses=answers)(self.begin_test)
        post("/{alarm}/test/end", responses=answers)(self.end_test)
        post("/{alarm}/test/told", responses=answers)(self.tell_test)

    async def every(self) -> list[Json]:
        """Every alarm that the site can have, in whatever state, in the order of the site file."""
        return self._facts.every_alarm()

    async def shelve(self, alarm: AlarmId, body: Shelving) -> Json:
        """Hide an alarm for a while; it is evaluated meanwhile and comes back by itself."""
        return await acted(self._facts, "shelve", {"alarm": alarm, **body.model_dump()})

    async def unshelve(self, alarm: AlarmId, body: Commented) -> Json:
        """Let a shelved alarm speak again."""
        return await acted(self._facts, "unshelve", {"alarm": alarm, **body.model_dump()})

    async def reset(self, alarm: AlarmId, body: Reset) -> Json:
        """Let a latched alarm go that has been acknowledged."""
        return await acted(self._facts, "reset_latch", {"alarm": alarm, **body.model_dump()})

    async def remove(self, alarm: AlarmId, body: Reasoned) -> Json:
        """Take an alarm out of service until somebody brings it back."""
        return await acted(self._facts, "remove_from_service", {"alarm": alarm, **body.model_dump()})

    async def back(self, alarm: AlarmId, body: Commented) -> Json:
        """Bring an alarm back into service."""
        return await acted(self._facts, "return_to_service", {"alarm": alarm, **body.model_dump()})

    async def tests(self) -> list[Json]:
        """Every test of an alarm that was made, newest first, with the seconds to the alarm and to the message."""
        return await self._facts.alarm_tests()

    async def begin_test(self, alarm: AlarmId, body: TestBegun) -> Json:
        """A test of one alarm end to end begins: the signal is moved now, the seconds are measured."""
        return await acted(self._facts, "begin_alarm_test", {"alarm": alarm, **body.model_dump()})

    async def end_test(self, alarm: AlarmId, body: Commented) -> Json:
        """Give a test up: it proves nothing."""
        return await acted(self._facts, "end_alarm_test", {"alarm": alarm, **body.model_dump()})

    async def tell_test(self, alarm: AlarmId, body: TestTold) -> Json:
        """Write down a test that somebody watched."""
        return await acted(self._facts, "tell_alarm_test", {"alarm": alarm, **body.model_dump()})
