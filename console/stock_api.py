"""Stock by HTTP: what every tank holds now. Answers in SI units; refuses to format for people."""

from fastapi import APIRouter

from console.api import REFUSED
from console.facts import Facts, Json


class StockApi:
    """The routes below /api/stock."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        self.router.get("/stock")(self.stock)

    async def stock(self) -> Json:
        """What every tank holds now, and the sum of each product; null where it is not known, with why."""
        return self._facts.stock()
