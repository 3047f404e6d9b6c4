"""What a person does through the console."""

from typing import Final

from console.facts import AckAnswer, AckStatus, ActAnswer, ActWaits, Json
from console.signed import permit
from gaugehouse.acts import Acknowledge, Act, Answer, Taken, act_of
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.facts.asking import Asking, House

_STATUS: Final = {
    Taken.DONE: AckStatus.ACCEPTED,
    Taken.ALREADY: AckStatus.ALREADY,
    Taken.OLDER: AckStatus.OUTDATED,
    Taken.REFUSED: AckStatus.REFUSED,
}


class DaemonActs(Asking):
    """See `console.facts.acts`."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._submit = house.submit

    async def acknowledge(self, alarm_id: str, occurrence: int, by: str, comment: str) -> AckAnswer:
        permit("acknowledge")
        answer = await self._done(Acknowledge(alarm_id, occurrence, by, comment))
        status = _STATUS.get(answer.status, AckStatus.UNKNOWN)
        view = self._core.alarms.view(alarm_id)
        newest = None if view is None else view.occurrence
        return AckAnswer(status, answer.body.get("by", ""), answer.body.get("time", ""), newest, answer.text)

    async def act(self, name: str, fields: Json) -> ActAnswer:
        try:
            act = act_of(name, fields)
        except CallError as error:
            return ActAnswer("wrong", str(error))
        permit(name)
        answer = await self._done(act)
        return ActAnswer(answer.status.value, answer.text, dict(answer.body))

    async def _done(self, act: Act) -> Answer:
        try:
            return await self._submit(act)
        except CouldNot as error:
            raise ActWaits(str(error)) from error
