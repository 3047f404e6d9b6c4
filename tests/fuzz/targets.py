"""One function for each door: any bytes are taken, or refused by an error of the house's own that a person can read.

Whatever else comes out of one (another exception, a figure that no JSON can hold, an error without words) is a finding.
"""

import functools
import json
import math
import shutil
import struct
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

from gaugehouse.acts import act_of
from gaugehouse.burst import read_burst
from gaugehouse.core import Tick
from gaugehouse.historyfiles import rows_in
from gaugehouse.publishing import reading_payload
from gaugehouse.recording import read_samples
from gaugehouse.site import Site, load_site
from gaugehouse.sitefile.capacity import read_capacity
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.strapping import read_strapping
from gaugehouse.wiring import core_of
from modbus.codecs import decoder
from modbus.signals import RegisterSignal, RegisterType
from models.errors import GaugehouseError
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import write_site
from tests.hardening.test_hostile_modbus import RIGHT, SENT, answered, judged

Target = Callable[[bytes], None]

CURRENT: Final = RegisterSignal("current", 3, 0, RegisterType.FLOAT32, unit="mA")
DEGREES: Final = RegisterSignal("temperature", 3, 2, RegisterType.INT16, scale=0.1, unit="degC")
START_MS: Final = 1_767_571_200_000
POLLS: Final = 24
"""Polls that one input may hold, six bytes each."""


@functools.cache
def folder() -> Path:
    """Where targets write their inputs; gone when the process ends."""
    made = tempfile.TemporaryDirectory(prefix="fuzz-")
    _KEPT.append(made)
    return Path(made.name)


_KEPT: Final[list[Any]] = []


@functools.cache
def site() -> Site:
    (folder() / "site").mkdir()
    return load_site(write_site(folder() / "site"))


def pieces(data: bytes) -> list[bytes]:
    """A stream cut where the input says: each piece is led by its length."""
    found: list[bytes] = []
    at = 0
    while at < len(data) and len(found) < 12:
        size = data[at]
        found.append(data[at + 1 : at + 1 + size])
        at += 1 + size
    return found


def modbus(data: bytes) -> None:
    """Bytes of a device to the client's judge, of a caller to the responders."""
    judged(pieces(data))
    answered(pieces(data))


def wire(data: bytes) -> None:
    """Registers of an instrument through decoder and core to the broker's payload: strict JSON, finite figures."""
    core, read = core_of(site()), (decoder(CURRENT), decoder(DEGREES))
    for poll in range(min(POLLS, len(data) // 6)):
        high, low, degrees = struct.unpack_from(">HHH", data, 6 * poll)
        values = {"current": read[0]([high, low]), "temperature": read[1]([degrees])}
        time_ms = START_MS + 1000 * poll
        at = Instant(poll + 1, time_ms, 1000 * poll)
        for reading in core.step(Tick(at, [Sample("palm-top", time_ms, OK, values)])).readings:
            told = json.loads(reading_payload(reading, simulated=False), parse_constant=_no_constant)
            assert all(math.isfinite(value) for value in told.values() if isinstance(value, float))
            assert (told["quality"] == "Bad") or told["level_m"] is not None
    json.dumps(dict(core.slow_state()), allow_nan=False)


def _no_constant(text: str) -> None:
    raise AssertionError(f"{text} is in a payload")


def site_file(data: bytes) -> None:
    """A site file: the first byte picks a line of a good one, the rest takes the place of its value (255: of all)."""
    path = folder() / "site" / "fuzzed.toml"
    lines = site().path.read_bytes().split(b"\n")
    keyed = [place for place, line in enumerate(lines) if b"=" in line]
    if not data or data[0] == 255:
        path.write_bytes(data[1:])
    else:
        place = keyed[data[0] % len(keyed)]
        lines[place] = lines[place].partition(b"=")[0] + b"= " + data[1:]
        path.write_bytes(b"\n".join(lines))
    refused(load_site, path)


def documents_csv(data: bytes) -> None:
    """A file of papers, each row judged and answered; nothing of it may keep the core from going on."""
    act = refused(act_of, "import_documents", {"csv": data.decode("utf-8", "replace"), "by": "Ann"})
    if act is not None:
        core = core_of(site())
        (answer,) = core.step(Tick(Instant(1, START_MS, 0), (), [act])).answers
        json.dumps(dict(answer.body), allow_nan=False)
        json.dumps(dict(core.slow_state()), allow_nan=False)


def capacity_csv(data: bytes) -> None:
    """A capacity table."""
    report = Report("site.toml")
    table = refused(read_capacity, written("table.csv", data), "table.csv", "tank.capacity", report)
    assert (table is None) == bool(report.errors)


def sheet_csv(data: bytes) -> None:
    """An alarm sheet."""
    refused(functools.partial(load_site, sheet=written("sheet.csv", data)), site().path)


def recording_csv(data: bytes) -> None:
    """A recording of samples."""
    refused(_all, read_samples, written("samples.csv", data), site().signal_names)


def readings_csv(data: bytes) -> None:
    """A file of readings to take in."""
    refused(_all, rows_in, written("readings.csv", data))


def burst_csv(data: bytes) -> None:
    """An independent recorder's file."""
    refused(read_burst, written("burst.csv", data), None, None, None)


def burst_wav(data: bytes) -> None:
    """The same as sound."""
    refused(read_burst, written("burst.wav", data), None, None, None)


def strapping(data: bytes) -> None:
    """What a tank's surveyor measured."""
    refused(read_strapping, written("strapping.toml", data))


def written(name: str, data: bytes) -> Path:
    path = folder() / name
    path.write_bytes(data)
    return path


def refused(work: Callable[..., Any], *args: Any) -> Any:
    """The result of some work, or None where it refuses in words."""
    try:
        return work(*args)
    except GaugehouseError as error:
        if not str(error).strip():
            raise AssertionError(f"{type(error).__name__} without a word") from error
        return None


def _all(rows: Callable[..., Iterator[Any]], *args: Any) -> int:
    return sum(1 for _ in rows(*args))


TARGETS: Final[dict[str, Target]] = {
    "modbus": modbus, "wire": wire, "site": site_file, "documents": documents_csv, "capacity": capacity_csv,
    "sheet": sheet_csv, "recording": recording_csv, "readings": readings_csv, "burst": burst_csv, "wav": burst_wav,
    "strapping": strapping,
}  # fmt: skip

_DAY: Final = b"2026-01-05T00:00:00Z"
SEEDS: Final[dict[str, tuple[bytes, ...]]] = {
    "modbus": tuple(bytes([len(one)]) + one for one in (RIGHT, SENT, RIGHT[:-1], RIGHT + RIGHT)),
    "wire": (
        struct.pack(">fh", 12.0, 250) * 4, struct.pack(">fh", 3.5, 250) + struct.pack(">fh", 21.5, 0),
        struct.pack(">fh", math.nan, -1) + struct.pack(">fh", math.inf, 1) + struct.pack(">fh", -1e38, 1),
    ),
    "site": (b'\x00"test"', b"\x05[]", b'\x10"1 s"', b"\x20-1", b"\xff[site]\n", b"\x14{}", b'\x18"0 m"'),
    "documents": (
        b"kind,number,day,tank,gov [L]\ndelivery note,7,2026-01-05,palm,1000\n", b'kind;tank\n"note;palm\n', b"kind\n",
    ),
    "capacity": (b"level [mm],volume [L]\n0,0\n10,785\n20,1570\n", b"level [cm],volume [m3]\n0,0\n1,0.7\n", b"ullage"),
    "sheet": (
        b"source,condition,priority\npalm,high,2\n", b"source,condition\n", b'source,condition,at\npalm,high,"11 m"\n',
    ),
    "recording": (
        b"time,instrument,outcome,current,temperature\n" + _DAY + b",palm-top,ok,12.0,25.1\n", b"time,instrument\n",
    ),
    "readings": (b"time,tank,quality,reason\n" + _DAY + b",palm,Good,\n",),
    "burst": (b"time [s],current [mA]\n0,12\n0.01,12.1\n0.02,12.2\n", b"1\n2\n3\n"),
    "wav": (
        b"RIFF\x28\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x40\x1f\0\0\x80\x3e\0\0\x02\0\x10\0"
        b"data\x04\0\0\0\x01\0\x02\0",
    ),
    "strapping": (b'height = "10 m"\n[[course]]\nheight = "2 m"\n', b"note = 1\n"),
}  # fmt: skip
"""Where to begin: inputs near to good ones. Invented."""


def clean() -> None:
    """Take away what was written."""
    shutil.rmtree(folder(), ignore_errors=True)
