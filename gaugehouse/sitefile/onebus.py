"""One `[[bus]]` of a file that may be no whole site yet: whoever explores a line has nothing else to write down."""

import tomllib
from pathlib import Path
from typing import Any

from collector.spec import BusKind, BusSpec
from gaugehouse.sitefile.busfacts import bus_of
from gaugehouse.sitefile.problems import Report, SiteError
from gaugehouse.sitefile.reading import read_tables
from gaugehouse.sitefile.schema import BusTable, StoreTable


def load_bus(path: Path, bus_id: str) -> tuple[BusSpec, Path]:
    """The bus of that id, and where the site's store is (or would be). Only these parts of the file are read.

    Raises `SiteError` with what is wrong with them, or when there is no such bus.
    """
    report = Report(str(path))
    raw = _raw(path, report)
    buses: list[Any] = [one for one in raw.get("bus", []) if isinstance(one, dict)] if not report.errors else []
    mine = next((one for one in buses if one.get("id") == bus_id), None)
    if mine is None and not report.errors:
        known = ", ".join(str(one.get("id")) for one in buses) or "none"
        report.error("bus", f"there is no [[bus]] {bus_id!r}; there are {known}", found=bus_id)
    if mine is None:
        raise SiteError(report.errors)
    table = read_tables(BusTable, mine, report)
    store = read_tables(StoreTable, raw.get("store", {}), report)
    if not report.errors:
        needed, example = ("device", "/dev/ttyUSB0") if table.kind is BusKind.RTU else ("host", "192.0.2.10")
        if getattr(table, needed) is None:
            report.error(f"bus[{bus_id}].{needed}", f'a {table.kind.value} bus needs it, such as "{example}"')
    if report.errors:
        raise SiteError(report.errors)
    return bus_of(table, []), path.parent / store.path


def _raw(path: Path, report: Report) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        report.error("", f"the file cannot be read: {error.strerror}; check the name and its rights")
    except UnicodeDecodeError as error:
        report.error("", f"the file is no text in UTF-8 (byte {error.start}); save it as UTF-8")
    except tomllib.TOMLDecodeError as error:
        report.error("", f"this is no valid TOML: {error}; mend that line")
    return {}
