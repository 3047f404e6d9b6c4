"""docs/site-file.md names every key of the site file, and no other; so do its words for what is allowed."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from alerts.notify.policy import TELLS
from alerts.sheet import BUILT_IN
from gaugehouse.sitefile import (
    loopschema,
    notifyschema,
    registersschema,
    schema,
    serverschema,
    stock_accounts,
    stock_dips,
    stock_documents,
    stock_leak,
    stock_receipts,
    stock_reports,
    stock_settling,
    stock_water,
    stockschema,
    watchschema,
)
from gaugehouse.sitefile.sheetcells import COLUMNS
from gaugehouse.sitefile.table import Table
from inventory.accountrules import SharedBy
from inventory.batches import MIXINGS
from inventory.documentrules import Counts, Direction, PlaceKind
from inventory.settling import SUCTIONS
from inventory.tolerances import RuleName
from modbus.signals import RegisterType
from models import breathing
from models.breathing import PAINTS
from models.certificate import TankForm
from models.correction import Edition
from models.filters import FilterKind
from models.groups import PRODUCT_GROUPS

DOC = (Path(__file__).parent.parent.parent / "docs" / "site-file.md").read_text(encoding="utf-8")

SECTIONS: dict[str, type[Table]] = {
    "`[site]`": schema.SiteTable,
    "`[store]`": schema.StoreTable,
    "`[[store.server]]`": serverschema.ServerTable,
    "`[console]`": schema.ConsoleTable,
    "`[alarms]`": schema.AlarmsTable,
    "`[faults]`": schema.FaultsTable,
    "`[system]`": schema.SystemTable,
    "`[mqtt]`": schema.MqttTable,
    "`[register_server]`": registersschema.RegisterServerTable,
    "`[loop_check]`": schema.LoopCheckTable,
    "`[stock]`": schema.StockTable,
    "`[stock.documents]`": stock_documents.DocumentsTable,
    "`[[stock.documents.owner]]`": stock_documents.OwnerTable,
    "`[[stock.documents.place]]`": stock_documents.PlaceTable,
    "`[[stock.documents.meter]]`": stock_documents.BookMeterTable,
    "`[stock.receipts]`": stock_receipts.ReceiptsTable,
    "`[stock.reports]`": stock_reports.ReportsTable,
    "`[stock.leak]`": stock_leak.LeakTable,
    "`[stock.dips]`": stock_dips.DipsTable,
    "`[stock.water]`": stock_water.WaterTable,
    "`[stock.forecast]`": stock_water.ForecastTable,
    "`[stock.settling]`": stock_settling.SettlingTable,
    "A settling rule": stock_settling.SettlingRuleTable,
    "`[stock.accounts]`": stock_accounts.AccountsTable,
    "A rule of one's own": stock_accounts.OwnRuleTable,
    "`[[notify]]`": notifyschema.NotifyTable,
    "`[[bus]]`": schema.BusTable,
    "`[[instrument]]`": schema.InstrumentTable,
    "`[[instrument.signal]]`": schema.SignalTable,
    "`[instrument.loop]`": loopschema.LoopTable,
    "A passive output": loopschema.CircuitTable,
    "`[[product]]`": schema.ProductTable,
    "`[[tank]]`": schema.TankTable,
    "`shape`": stockschema.ShapeTable,
    "An end": stockschema.HeadTable,
    "`ne43`": schema.Ne43Table,
    "`[tank.certificate]`": stockschema.CertificateTable,
    "`[tank.accuracy]`": stockschema.AccuracyTable,
    "An accuracy": stockschema.KnownTable,
    "`[tank.roof]`": stockschema.RoofTable,
    "`[tank.liquid_head]`": stockschema.LiquidHeadTable,
    "A course": stockschema.PlatesTable,
    "`[tank.safe_fill]`": stockschema.SafeFillTable,
    "`[tank.limits]`": schema.LimitsTable,
    "A level limit": schema.LimitTable,
    "`[tank.filter]`": schema.FilterTable,
    "A rate limit": schema.RateLimitTable,
    "`[tank.response]`": schema.ResponseTable,
    "`[tank.watch]`": watchschema.WatchTable,
    "A water level": watchschema.WaterHighTable,
    "A rise of water": watchschema.WaterRisingTable,
    "A temperature": watchschema.TemperatureTable,
    "A distance to the dew point": watchschema.CondensationTable,
    "A movement": watchschema.UnorderedTable,
    "`[tank.second_level]`": watchschema.SecondLevelTable,
    "`[[meter]]`": schema.MeterTable,
    "`[[point]]`": schema.PointTable,
    "`[[supply]]`": loopschema.SupplyTable,
    "`[[supply.load]]`": loopschema.LoadTable,
}


def rows(section: str) -> dict[str, list[str]]:
    """Key to the cells of its row, in one section of the page."""
    body = re.split(r"\n#{2,3} ", DOC.split(f"# {section}\n", 1)[1], maxsplit=1)[0]
    lines = [line.strip().strip("|").split("|") for line in body.splitlines() if line.startswith("| `")]
    return {cells[0].strip(" `"): [cell.strip() for cell in cells] for cells in lines}


def tables_in(kind: object) -> Iterator[type[Table]]:
    """Every table that stands in a table, in a list of tables or beside another kind of value, all the way down."""
    if isinstance(kind, type) and issubclass(kind, Table):
        yield kind.__pydantic_generic_metadata__["origin"] or kind
        for field in kind.model_fields.values():
            yield from tables_in(field.annotation)
    for part in get_args(kind):
        yield from tables_in(part)


def test_every_table_of_the_site_file_has_its_section():
    assert set(tables_in(schema.SiteFile)) - {schema.SiteFile} == set(SECTIONS.values())
    named = {re.sub(r"\W|.*\.", "", section) for section in SECTIONS if section.startswith("`[")}
    assert set(schema.SiteFile.model_fields) <= named


@pytest.mark.parametrize("section", list(SECTIONS))
def test_every_key_is_on_the_page_and_no_other(section):
    assert list(rows(section)) == list(SECTIONS[section].model_fields)


@pytest.mark.parametrize("section", list(SECTIONS))
def test_the_page_says_which_keys_are_required(section):
    told = {key for key, cells in rows(section).items() if cells[-1] == "required"}
    assert told == {name for name, field in SECTIONS[section].model_fields.items() if field.is_required()}


@pytest.mark.parametrize(
    ("section", "key", "words"),
    [
        ("`[[instrument.signal]]`", "type", [kind.value for kind in RegisterType]),
        ("`[[product]]`", "group", list(PRODUCT_GROUPS)),
        ("`[[point]]`", "role", list(schema.ROLES)),
        ("`[[meter]]`", "kind", list(schema.METER_KINDS)),
        ("`[[notify]]`", "kind", list(notifyschema.NOTIFY_KINDS)),
        ("`[[notify]]`", "security", list(notifyschema.SECURITIES)),
        ("`[[notify]]`", "tells", list(TELLS)),
        ("`[[notify]]`", "days", list(notifyschema.DAYS)),
        ("`[[stock.documents.place]]`", "kind", [kind.value for kind in PlaceKind]),
        ("`[[stock.documents.meter]]`", "direction", [one.value for one in Direction]),
        ("`[[stock.documents.meter]]`", "counts", [one.value for one in Counts]),
        ("`shape`", "kind", list(stockschema.SHAPES)),
        ("An end", "kind", list(stockschema.HEADS)),
        ("`[tank.filter]`", "kind", [kind.value for kind in FilterKind]),
        ("`[stock.water]`", "paint", list(PAINTS)),
        ("`[stock.water]`", "method", [edition.value for edition in breathing.Edition]),
        ("`[tank.certificate]`", "form", [form.value for form in TankForm]),
        ("`[tank.safe_fill]`", "rule", list(stockschema.SAFE_FILL_RULES)),
        ("`[stock.settling]`", "mixing", list(MIXINGS)),
        ("A settling rule", "suction", list(SUCTIONS)),
        ("`[stock.accounts]`", "rule", [rule.value for rule in RuleName]),
        ("`[stock.accounts]`", "shared_by", [by.value for by in SharedBy]),
        ("`[site]`", "volume_correction", [edition.value for edition in Edition]),
    ],
)
def test_the_page_lists_every_word_that_a_key_takes(section, key, words):
    assert sorted(re.findall(r'`"([^"]+)"`', rows(section)[key][2])) == sorted(words)


def first_cells(title: str) -> list[str]:
    """All names in the first column of a section's table."""
    section = re.split(r"\n#{2,3} ", DOC.split(f"### {title}\n", 1)[1], maxsplit=1)[0]
    heads = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    return [name for head in heads for name in re.findall(r"`([a-z_]+)`", head)]


def test_the_page_names_every_condition_and_every_column_of_the_alarm_sheet():
    assert sorted(first_cells("Every condition")) == sorted(BUILT_IN)
    assert sorted(first_cells("The alarm sheet")) == sorted(COLUMNS)
