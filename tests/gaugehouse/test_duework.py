"""What falls due, source by source: each row has its rule, its time and who may do it; without a rule there is none."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from gaugehouse.duework import BOOK_SOURCES, CORE_SOURCES, due_list, dues_of_book, dues_of_core
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from inventory.documents import DocumentKind
from inventory.duelist import Due
from models.certificate import CapacityCertificate, TankForm
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.gaugehouse.waterpast import DAY_MS, START_MS, act, document, site_of, write

NOW_MS = START_MS + 40 * DAY_MS

CERTIFICATE = CapacityCertificate(
    "K-7", "Invented laboratory", "2016-04-01", TankForm.UPRIGHT, 13.5, "dip plate", next_due="2026-04-20"
)


def site_with(folder: Path, more: str = "", certificate: CapacityCertificate | None = None) -> Site:
    head, bus = LOOP_SITE.split("[[bus]]", 1)
    site = load_site(write_site(folder, f"{head}{more}\n[[bus]]{bus}"))
    return replace(site, extras={"palm": replace(site.extras["palm"], certificate=certificate)})


def dues(site: Site, now_ms: int = NOW_MS) -> dict[str, Due]:
    with open_stores(site):
        pass
    core = core_of(site)
    with look_into_book(site) as book:
        core.restore(book.state())
        found = [*dues_of_core(core, now_ms), *dues_of_book(site, book, now_ms)]
    return {one.kind: one for one in found}


def test_a_site_without_rules_of_its_own_has_drain_checks_and_dips_only(tmp_path: Path) -> None:
    assert set(dues(site_with(tmp_path))) == {"drain check", "dip"}
    assert len(CORE_SOURCES) + len(BOOK_SOURCES) == 8


def test_a_certificate_is_due_at_the_end_of_its_day_and_asked_for_two_months_before(tmp_path: Path) -> None:
    site = site_with(tmp_path, certificate=CERTIFICATE)
    row = dues(site)["calibration"]
    assert row.until_ms == START_MS + 51 * DAY_MS  # the end of 2026-04-20
    assert row.state(NOW_MS).value == "due"
    assert row.state(START_MS - 60 * DAY_MS).value == "later"
    assert row.state(START_MS + 51 * DAY_MS).value == "overdue"
    assert row.last == "2016-04-01 by Invented laboratory"


def test_a_loop_check_is_due_by_the_sites_own_interval(tmp_path: Path) -> None:
    site = site_with(tmp_path, '\n[loop_check]\nevery = "365 d"\n')
    never = dues(site)["loop check"]
    assert never.until_ms is None
    assert never.state(NOW_MS).value == "overdue"
    body: dict[str, Any] = {
        "change": "finished", "how": "finished", "instrument": "palm-top", "number": 1, "started_ms": START_MS,
        "ended_ms": START_MS + 1000, "by": "Ada", "runs": {}, "passes": True,
    }  # fmt: skip
    with open_stores(site) as stores:
        stores.book.commit([Entry("loop_check", START_MS + 1000, 1, body)], {})
    row = dues(site)["loop check"]
    assert row.until_ms == START_MS + 1000 + 365 * DAY_MS
    assert row.last == "2026-03-01 by Ada"


def test_a_month_with_papers_is_to_be_closed_within_five_days_of_its_end(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    with open_stores(site):
        pass
    write(site, document(1, DocumentKind.TICKET, "2026-03-10", -7.0))
    row = dues(site)["month close"]
    assert row.from_ms == START_MS + 31 * DAY_MS
    assert row.until_ms == START_MS + 36 * DAY_MS
    assert (row.about, row.who) == ("jet", "stock keeper")
    assert row.state(START_MS + 20 * DAY_MS).value == "later"
    assert row.state(START_MS + 28 * DAY_MS).value == "coming"
    with open_stores(site) as stores:
        body = {"period": "month", "name": "2026-03", "product": "jet"}
        stores.book.commit([Entry("stock_close", NOW_MS, 9, body)], {})
    assert "month close" not in dues(site)


def test_a_drain_check_is_due_on_its_site_day_and_overdue_after_it(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    with open_stores(site):
        pass
    act(site, "drain_check", START_MS + 3_600_000, tank="palm", by="Ada", result="clear", appearance="hazy")
    row = dues(site, START_MS + 8 * DAY_MS)["drain check"]
    assert (row.from_ms, row.until_ms) == (START_MS + 7 * DAY_MS, START_MS + 8 * DAY_MS)
    assert [row.state(START_MS + day * DAY_MS).value for day in (1, 7, 8)] == ["coming", "due", "overdue"]
    assert "other tank, every 7 d (US Army QM5200" in row.rule
    act(site, "drain_check", START_MS + 8 * DAY_MS, tank="palm", by="Bo", result="not done", why="storm")
    assert dues(site, START_MS + 8 * DAY_MS)["drain check"].note == "not done on 2026-03-09 (Bo): storm"


def test_the_list_has_its_times_as_text(tmp_path: Path) -> None:
    told = due_list(dues(site_with(tmp_path, certificate=CERTIFICATE)).values(), NOW_MS)
    assert told["counts"] == {"overdue": 2, "due": 1, "coming": 0, "later": 0}
    assert told["dues"][-1]["until"] == "2026-04-21T00:00:00.000Z"
    assert told["dues"][0]["until"] is None
