"""The `[stock]` table of the site file: one sub-table for each part of the stock book."""

from gaugehouse.sitefile.stock_accounts import AccountsTable
from gaugehouse.sitefile.stock_dips import DipsTable
from gaugehouse.sitefile.stock_documents import DocumentsTable
from gaugehouse.sitefile.stock_leak import LeakTable
from gaugehouse.sitefile.stock_receipts import ReceiptsTable
from gaugehouse.sitefile.stock_reports import ReportsTable
from gaugehouse.sitefile.stock_settling import SettlingTable
from gaugehouse.sitefile.stock_water import ForecastTable, WaterTable
from gaugehouse.sitefile.table import Table


class StockTable(Table):
    """How this site keeps its stock book. Everything in it has a default."""

    accounts: AccountsTable = AccountsTable()
    receipts: ReceiptsTable = ReceiptsTable()
    dips: DipsTable = DipsTable()
    settling: SettlingTable | None = None
    water: WaterTable = WaterTable()
    forecast: ForecastTable = ForecastTable()
    documents: DocumentsTable = DocumentsTable()
    leak: LeakTable = LeakTable()
    reports: ReportsTable = ReportsTable()
