"""All parts together: `console.facts.Facts` over the core, the stores and the record book."""

from gaugehouse.facts.ahead import DaemonAhead
from gaugehouse.facts.alarms import DaemonAlarms
from gaugehouse.facts.asking import House
from gaugehouse.facts.dips import DaemonDips
from gaugehouse.facts.documents import DaemonDocuments
from gaugehouse.facts.house import DaemonHouse
from gaugehouse.facts.leak import DaemonLeak
from gaugehouse.facts.live import DaemonLive
from gaugehouse.facts.loops import DaemonLoops
from gaugehouse.facts.receipts import DaemonReceipts
from gaugehouse.facts.records import DaemonRecords
from gaugehouse.facts.reports import DaemonReports
from gaugehouse.facts.status import DaemonStatus
from gaugehouse.facts.stock import DaemonStock
from gaugehouse.facts.tanks import DaemonTanks
from gaugehouse.facts.water import DaemonWater


class DaemonFacts(
    DaemonHouse,
    DaemonLive,
    DaemonTanks,
    DaemonStatus,
    DaemonLoops,
    DaemonAlarms,
    DaemonRecords,
    DaemonStock,
    DaemonDocuments,
    DaemonReceipts,
    DaemonLeak,
    DaemonWater,
    DaemonAhead,
):
    """See `console.facts.Facts` for what each call answers."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.dips = DaemonDips(self._core, self._book, self._store, self._clock.now_ms, self._ask)
        self.reports = DaemonReports(self._core, self._book, self._store, self._now_ms, self._ask)
