"""All parts together: the daemon as the console sees it."""

from typing import Protocol

from console.facts.acts import ActFacts
from console.facts.ahead import AheadFacts
from console.facts.alarms import AlarmFacts
from console.facts.dips import DipFacts
from console.facts.documents import DocumentFacts
from console.facts.house import HouseFacts
from console.facts.leak import LeakFacts
from console.facts.live import LiveFacts
from console.facts.loops import LoopFacts
from console.facts.receipts import ReceiptFacts
from console.facts.records import RecordFacts
from console.facts.reports import ReportFacts
from console.facts.status import StatusFacts
from console.facts.stock import StockFacts
from console.facts.tanks import TankFacts
from console.facts.water import WaterFacts


class Facts(
    HouseFacts,
    LiveFacts,
    TankFacts,
    StatusFacts,
    LoopFacts,
    AlarmFacts,
    RecordFacts,
    StockFacts,
    DocumentFacts,
    ReceiptFacts,
    LeakFacts,
    WaterFacts,
    AheadFacts,
    ActFacts,
    Protocol,
):
    """The daemon as the console sees it."""

    @property
    def dips(self) -> DipFacts:
        """Dips and density samples, asked in the same way."""
        ...

    @property
    def reports(self) -> ReportFacts:
        """Reports and shifts handed over, asked in the same way."""
        ...
