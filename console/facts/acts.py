"""What a person does through the console."""

from typing import Protocol

from console.facts.answers import AckAnswer, ActAnswer, Json


class ActFacts(Protocol):
    """The door for acts."""

    async def acknowledge(self, alarm_id: str, occurrence: int, by: str, comment: str) -> AckAnswer:
        """Acknowledge one occurrence of an alarm; answered after it is in the record book."""
        ...

    async def act(self, name: str, fields: Json) -> ActAnswer:
        """Let a person's act happen, by its name and its fields; answered after it is in the record book."""
        ...
