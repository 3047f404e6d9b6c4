"""A site of two tanks with a January of papers, readings and a handover, kept in real files: what reports tell."""

import math
from pathlib import Path

from gaugehouse.deriving import SiteModels
from gaugehouse.stores import READINGS, RECORDS
from history.sqlite import SqliteStore
from tests.gaugehouse.ledgers import Ledger

AREA_M2 = math.pi * 25
DAYS = [f"2024-01-{n:02d}" for n in range(1, 32)]
FORMULA = "=HYPERLINK(1)"


def january(folder: Path, *, text: str | None = None, simulated: bool = False) -> str:
    """The path of the site file. A long past month, so that it is over by any clock."""
    ledger = Ledger(folder, text, at="2024-01-01T12:00:00Z")
    if simulated:
        from history.chain import Entry

        ledger.book.commit([Entry("started", ledger.ms, 0, {"simulated": True})], {})
    for tank in ("palm", "ridge"):
        ledger.add("opening balance", DAYS[0], tank=tank, observed="400.1234 m3", standard="400.1234 m3")
    for number, day in enumerate(DAYS):
        ledger.add(
            "fuelling ticket", day, tank="palm", paper=f"T{number}", observed=f"{5 + 0.0137 * number:.4f} m3",
            standard=f"{5 + 0.0137 * number:.4f} m3", comment=FORMULA,
        )  # fmt: skip
        if number == 9:
            ledger.add("delivery note", day, tank="ridge", paper="D1", observed="36.4 m3", standard="36.0321 m3")
        level = (400.0 - 5.01 * (number + 1)) / AREA_M2
        ledger.end_of("palm", day, level)
        ledger.end_of("ridge", day, (400.0 + (36.0 if number >= 9 else 0.0)) / AREA_M2)
    given = ledger.do("hand_over", notes=FORMULA)
    assert given.status.value == "done", given
    taken = ledger.do("take_over", by="Bo", notes="seen")
    assert taken.status.value == "done", taken
    ledger.close()
    kept = ledger.site.store_path
    kept.mkdir(exist_ok=True)
    (folder / "records.sqlite").rename(kept / RECORDS)
    readings = SqliteStore.open(kept / READINGS, ledger.site.id, models=SiteModels(ledger.site))
    for tank in ("palm", "ridge"):
        readings.append(ledger.readings[tank])
    readings.close()
    return str(ledger.site.path)
