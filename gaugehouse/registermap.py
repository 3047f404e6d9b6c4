"""The register map: which figure stands where, and how it is written into 16-bit words. No I/O, no clock.

One block for the site, then one of a fixed size for each tank, so that value, age and quality of a tank come in one
request. A quality word of 0 is "Bad": a memory that was never written, or a server that was restarted, looks bad.
"""

import math
import struct
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple
from zlib import crc32

from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS
from gaugehouse.keeper import EMPTYING, FILLING, STILL
from gaugehouse.sitefile.registersfacts import LARGEST, RegisterServerSpec
from models.reading import Bound, Quality, Reason

Json = Mapping[str, Any]

FORMAT: Final = 1
"""Rises when a register changes its meaning."""

NOT_FOR: Final = "not for interlocks, trips or custody transfer"

SITE_FIRST: Final = 0
SITE_SIZE: Final = 20
TANK_FIRST: Final = 100
TANK_SIZE: Final = 50
BITS_A_TANK: Final = 16

OVER: Final = 65_535
NO_INT32: Final = -(2**31)
NO_INT16: Final = -(2**15)

HIDDEN: Final = frozenset({"shelved", "suppressed_by_design", "out_of_service"})
QUALITIES: Final = {Quality.BAD.word: 0, Quality.UNCERTAIN.word: 1, Quality.GOOD.word: 2}
FLOWS: Final = {STILL: 1, FILLING: 2, EMPTYING: 3}

REASONS: Final = {
    Reason.NONE: 0, Reason.NO_COMMUNICATION: 1, Reason.COMMUNICATION_ERROR: 2, Reason.SENSOR_FAILURE: 3,
    Reason.OUT_OF_RANGE: 4, Reason.UNITS_EXCEEDED: 5, Reason.SUB_NORMAL: 6, Reason.DEVICE_FAILURE: 7,
    Reason.OUT_OF_SERVICE: 8, Reason.CONFIGURATION_ERROR: 9,
}  # fmt: skip

SITE_BITS: Final = (
    "an alarm is not acknowledged: a horn can follow this", "an alarm stands: a lamp can follow this",
    "an alarm of priority 1 stands", "an alarm of priority 1 is not acknowledged",
    "an alarm of priority 2 stands", "an alarm of priority 3 stands",
    "an alarm is shelved, suppressed or out of service", "a loop check is under way",
    "the data are older than 30 s", "simulated: every figure is invented",
)  # fmt: skip
TANK_CONDITIONS: Final = (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS, "rise_fast", "fall_fast")
TANK_BITS: Final = (
    *(f"{name.replace('_', ' ')} stands" for name in TANK_CONDITIONS),
    *("",) * (11 - len(TANK_CONDITIONS)),
    "any other alarm of the tank stands", "a fault of its loop or instrument stands",
    "an alarm of it is shelved, suppressed or out of service",
    "an alarm of it is not acknowledged: a horn can follow this", "an alarm of it stands: a lamp can follow this",
)  # fmt: skip
OTHER, FAULT, HIDES, HORN, LAMP = range(11, 16)
STALE_S: Final = 30.0


class Now(NamedTuple):
    """What is asked of: the live object that pages have too, one of its tanks, and how old that tank's reading is.

    stale: too old to be shown; `simulated`: of a simulated farm.
    """

    live: Json
    tank: Json
    age_s: float | None
    stale: bool
    simulated: bool


class Field(NamedTuple):
    """A figure of a block. `at` counts from the block's first register; value: None = not known."""

    at: int
    form: str
    name: str
    unit: str
    words: str
    value: Callable[[Now], float | None]


def _column(name: str, factor: float = 1.0) -> Callable[[Now], float | None]:
    def value(now: Now) -> float | None:
        figure = None if now.stale or now.tank["quality"] == Quality.BAD.word else now.tank[name]
        return None if figure is None else float(figure) * factor

    return value


def _quality(now: Now) -> float:
    simulated = 128 if now.simulated else 0
    if now.stale:
        return 4 | simulated
    word = QUALITIES[now.tank["quality"]]
    word |= 8 if now.tank["bound"] == Bound.AT_LEAST else 0
    word |= QUALITIES[now.tank["stock_quality"]] << 4
    torn = now.tank["torn"]
    word |= 64 if torn is not None and torn["status"] == "C" else 0
    return word | simulated


def _age(now: Now) -> float:
    return OVER if now.age_s is None else min(OVER, int(now.age_s))


def _reason(now: Now) -> float:
    return REASONS[Reason(now.tank["reason"])]


def _flow(now: Now) -> float:
    return 0 if now.stale else FLOWS.get(now.tank["flow"], 0)


def tank_bits(live: Json, tank: Json) -> int:
    """The alarm word of a tank. A condition's bit is set while it stands and nothing hides it."""
    mine, word = set(tank["alarms"]), 0
    for alarm in live["alarms"]:
        if alarm["id"] not in mine:
            continue
        state, condition = alarm["state"], alarm["condition"]
        if state in HIDDEN:
            word |= 1 << HIDES
            continue
        if alarm["active"]:
            if alarm["source"] == tank["tank"] and condition in TANK_CONDITIONS:
                word |= 1 << TANK_CONDITIONS.index(condition)
            else:
                word |= 1 << (OTHER if alarm["source"] == tank["tank"] else FAULT)
        word |= (1 << HORN if "unacknowledged" in state else 0) | 1 << LAMP
    return word


def site_bits(live: Json, age_s: float, *, simulated: bool) -> int:
    """The alarm word of the site."""
    word = 0
    for alarm in live["alarms"]:
        if alarm["state"] in HIDDEN:
            word |= 64
            continue
        priority, new = int(alarm["priority"]), "unacknowledged" in alarm["state"]
        word |= 2 | (1 if new else 0)
        if priority == 1:
            word |= 4 | (8 if new else 0)
        else:
            word |= 16 if priority == 2 else 32
    word |= 128 if any(loop["check"] is not None for loop in live["loops"]) else 0
    word |= 256 if age_s > STALE_S else 0
    return word | (512 if simulated else 0)


def _standing(live: Json, *, new: bool) -> int:
    states = [alarm["state"] for alarm in live["alarms"] if alarm["state"] not in HIDDEN]
    return sum("unacknowledged" in state for state in states) if new else len(states)


TANK_FIELDS: Final = (
    Field(0, "uint16", "quality", "", "bits 0-1 level: 0 Bad, 1 Uncertain, 2 Good; bit 2 too old; bit 3 figures are "
          "the least that they can be; bits 4-5 stock, as 0-1; bit 6 function check; bit 7 simulated", _quality),
    Field(1, "uint16", "reason", "", ", ".join(f"{n} {r.value or 'none'}" for r, n in REASONS.items()),
          _reason),
    Field(2, "uint16", "age", "s", "of the reading; 65535 is never, or longer", _age),
    Field(3, "uint16", "alarms", "", "bits, see the table of a tank's bits", lambda now: tank_bits(now.live, now.tank)),
    Field(4, "float32", "level_m", "m", "innage", _column("level_m")),
    Field(6, "float32", "tov_m3", "m3", "total observed volume, with water", _column("tov_m3")),
    Field(8, "float32", "gov_m3", "m3", "gross observed volume", _column("gov_m3")),
    Field(10, "float32", "gsv_m3", "m3", "gross standard volume", _column("gsv_m3")),
    Field(12, "float32", "gsv_u95_m3", "m3", "its expanded uncertainty, 95 %", _column("gsv_u95_m3")),
    Field(14, "float32", "mass_kg", "kg", "mass in vacuo", _column("mass_kg")),
    Field(16, "float32", "volume_percent", "%", "of the capacity", _column("volume_percent")),
    Field(18, "float32", "level_percent", "%", "of the top of the table", _column("level_percent")),
    Field(20, "float32", "temperature_degC", "degC", "of the liquid", _column("temperature_degC")),
    Field(22, "float32", "water_m", "m", "innage of free water", _column("water_m")),
    Field(24, "float32", "ullage_m", "m", "from the reference point down", _column("ullage_m")),
    Field(26, "float32", "rate_m3_per_h", "m3/h", "filling is positive", _column("rate_m3_per_h")),
    Field(28, "float32", "current_mA", "mA", "as measured, whatever its quality",
          lambda now: None if now.stale else now.tank["current_mA"]),
    Field(30, "int32", "level_mm", "mm", "level in whole mm; -2147483648 is not known", _column("level_m", 1e3)),
    Field(32, "int32", "tov_L", "L", "TOV in whole litres; -2147483648 is not known", _column("tov_m3", 1e3)),
    Field(34, "int32", "gsv_L", "L", "GSV in whole litres; -2147483648 is not known", _column("gsv_m3", 1e3)),
    Field(36, "int16", "temperature_dC", "0.1 degC", "-32768 is not known", _column("temperature_degC", 10.0)),
    Field(37, "uint16", "flow", "", "0 not known, 1 still, 2 filling, 3 emptying", _flow),
    Field(38, "uint16", "heartbeat", "", "the site's, so that it comes with the figures",
          lambda now: now.live["seq"] & 0xFFFF),
)  # fmt: skip
"""A tank's block. Registers between and after them read 0."""


class SiteField(NamedTuple):
    at: int
    form: str
    name: str
    unit: str
    words: str


SITE_FIELDS: Final = (
    SiteField(0, "uint16", "format", "", f"of this map; {FORMAT} now; the figures are {NOT_FOR}"),
    SiteField(1, "uint16", "map", "", "fingerprint of this map: another number is another map"),
    SiteField(2, "uint16", "heartbeat", "", "rises about once a second while the daemon lives, over 65535 to 0"),
    SiteField(3, "uint16", "age", "s", "of the newest data of all; 65535 is never, or longer"),
    SiteField(4, "uint32", "time", "s", "of the newest data, UTC, since 1970-01-01"),
    SiteField(6, "uint16", "tanks", "", "how many blocks follow"),
    SiteField(7, "uint16", "alarms", "", "bits, see the table of the site's bits"),
    SiteField(8, "uint16", "alarms_standing", "", "how many"),
    SiteField(9, "uint16", "alarms_new", "", "how many of them are not acknowledged"),
)


class RegisterMap:
    """The map of one site, and its words at any moment."""

    def __init__(self, spec: RegisterServerSpec) -> None:
        self.spec = spec
        self.end = TANK_FIRST + TANK_SIZE * len(spec.tanks)
        self.bit_end = TANK_FIRST + BITS_A_TANK * len(spec.tanks)
        named = [f"{f.at} {f.form} {f.name}" for f in (*SITE_FIELDS, *TANK_FIELDS)]
        self.fingerprint = crc32("\n".join([str(FORMAT), *spec.tanks, *named, str(spec.high_first)]).encode()) & 0xFFFF

    def first_of(self, tank: str) -> int:
        """Address of a tank's quality word. Raises ValueError for a tank that is not in the map."""
        return TANK_FIRST + TANK_SIZE * self.spec.tanks.index(tank)

    def site_words(self, live: Json, age_s: float, time_s: float, *, simulated: bool) -> list[int]:
        """The site's block."""
        values = {
            "format": FORMAT, "map": self.fingerprint, "heartbeat": live["seq"] & 0xFFFF,
            "age": min(OVER, int(age_s)), "time": time_s, "tanks": len(self.spec.tanks),
            "alarms": site_bits(live, age_s, simulated=simulated),
            "alarms_standing": min(OVER, _standing(live, new=False)),
            "alarms_new": min(OVER, _standing(live, new=True)),
        }  # fmt: skip
        words = [0] * SITE_SIZE
        for field in SITE_FIELDS:
            self._put(words, field.at, field.form, values[field.name])
        return words

    def tank_words(self, now: Now) -> list[int]:
        """A tank's block."""
        words = [0] * TANK_SIZE
        for field in TANK_FIELDS:
            self._put(words, field.at, field.form, field.value(now))
        return words

    def _put(self, words: list[int], at: int, form: str, value: float | None) -> None:
        packed = packed_words(form, value, self.spec.bad_value)
        words[at : at + len(packed)] = packed if self.spec.high_first else reversed(packed)


def packed_words(form: str, value: float | None, bad: float) -> Sequence[int]:
    """A figure as 16-bit words, most significant first; one that is not known, or does not fit, as the form's mark."""
    if form == "float32":
        known = value is not None and abs(value) <= LARGEST
        return struct.unpack(">HH", struct.pack(">f", value if known else bad))
    if form == "uint32":
        return struct.unpack(">HH", struct.pack(">I", int(value or 0) & 0xFFFF_FFFF))
    if form == "int32":
        return struct.unpack(">HH", struct.pack(">i", _whole(value, NO_INT32)))
    if form == "int16":
        return struct.unpack(">H", struct.pack(">h", _whole(value, NO_INT16)))
    return (OVER if value is None else int(value),)


def _whole(value: float | None, mark: int) -> int:
    """A figure rounded to a whole number, or the mark of its form where it is not known or does not fit."""
    whole = mark if value is None or not math.isfinite(value) else round(value)
    return whole if abs(whole) < -mark else mark
