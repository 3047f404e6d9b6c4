"""The two values that the whole house passes around: a Sample off the wire, and a Reading of a tank.

Knows their fields, units and fixed decimals; refuses to know where they come from or where they go.
NamedTuples, because they are built once per poll: measured 0.5 us against 3-5 us for a frozen dataclass of that width.
"""

from collections.abc import Mapping
from enum import IntEnum, StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

EMPTY: Final[Mapping[str, tuple[int, ...]]] = MappingProxyType({})

OK: Final = "ok"
TIMEOUT: Final = "timeout"
WRONG_REPLY: Final = "wrong-reply"


class Quality(IntEnum):
    """OPC UA severity (Part 4, 7.39.1), ordered so that `max` is the worst."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2

    @property
    def word(self) -> str:
        return ("Good", "Uncertain", "Bad")[self]


GOOD: Final = Quality.GOOD
UNCERTAIN: Final = Quality.UNCERTAIN
BAD: Final = Quality.BAD
"""The same by plain names, for what runs at every poll: Python 3.11 needs 70 ns to look an enum's member up, 15 ns for
a global (measured)."""


class Reason(StrEnum):
    """Why a level is not Good: symbols of the OPC UA status code list; empty for Good."""

    NONE = ""
    NO_COMMUNICATION = "BadNoCommunication"
    COMMUNICATION_ERROR = "BadCommunicationError"
    SENSOR_FAILURE = "BadSensorFailure"
    OUT_OF_RANGE = "BadOutOfRange"
    DEVICE_FAILURE = "BadDeviceFailure"
    OUT_OF_SERVICE = "BadOutOfService"
    CONFIGURATION_ERROR = "BadConfigurationError"
    UNITS_EXCEEDED = "UncertainEngineeringUnitsExceeded"
    SUB_NORMAL = "UncertainSubNormal"


class Bound(StrEnum):
    """Whether a level is exact, or only known to be at least / at most the printed figure."""

    NONE = ""
    AT_LEAST = "ge"
    AT_MOST = "le"


NO_REASON: Final = Reason.NONE
EXACT: Final = Bound.NONE


class Instant(NamedTuple):
    """One tick of the core: its rising number, the site's UTC clock, and a monotonic clock that never falls.

    `elapsed_ms` is a position on the core's own monotonic clock (kept over restarts): every delay, dwell and age uses
    differences of it; `time_ms` is for people and stores only.
    """

    seq: int
    time_ms: int
    elapsed_ms: int


class Sample(NamedTuple):
    """All signals of one instrument in one poll.

    `values` holds engineering values in each signal's declared unit. A signal that answered with something that is
    not a number (NaN, a device's "invalid" code) is there as ``None``; a signal whose block failed is absent, and
    `outcome` says how it failed: ``ok``, ``timeout``, ``wrong-reply`` or ``exception-02``. `raw` keeps the registers
    for people to look at; no figure is made from it. `elapsed_ms` is the monotonic clock at `time_ms`, both read at
    once; a recording has one clock only and leaves it 0.
    """

    instrument: str
    time_ms: int
    outcome: str
    values: Mapping[str, float | None]
    raw: Mapping[str, tuple[int, ...]] = EMPTY
    elapsed_ms: int = 0

    @property
    def answered(self) -> bool:
        """True when at least one signal came back, be it as "not a number"."""
        return bool(self.values)


class Reading(NamedTuple):
    """One tank at one instant. Units are in the names; ``None`` is "not known".

    `quality` and `reason` speak of `level_m`; `stock_quality` is the worst input of `gsv_m3`. With `bound` = ``ge`` the
    level and volumes are the least that they can be (the loop is at or beyond its 100 %).
    """

    seq: int
    time_ms: int
    tank: str
    quality: Quality
    reason: Reason
    current_mA: float | None = None
    level_m: float | None = None
    temperature_degC: float | None = None
    water_m: float | None = None
    tov_m3: float | None = None
    gov_m3: float | None = None
    gsv_m3: float | None = None
    mass_kg: float | None = None
    volume_percent: float | None = None
    level_percent: float | None = None
    ullage_m: float | None = None
    rate_m3_per_h: float | None = None
    stock_quality: Quality = Quality.BAD
    bound: Bound = Bound.NONE
    rate_sd_m3_per_h: float | None = None
    gsv_u95_m3: float | None = None


class Quantity(NamedTuple):
    """A figure of a Reading as the outside sees it: its column, unit and fixed decimals."""

    column: str
    unit: str
    decimals: int


QUANTITIES: Final[tuple[Quantity, ...]] = (
    Quantity("current_mA", "mA", 4),
    Quantity("level_m", "m", 5),
    Quantity("temperature_degC", "degC", 3),
    Quantity("water_m", "m", 5),
    Quantity("tov_m3", "m3", 4),
    Quantity("gov_m3", "m3", 4),
    Quantity("gsv_m3", "m3", 4),
    Quantity("mass_kg", "kg", 1),
    Quantity("volume_percent", "%", 3),
    Quantity("level_percent", "%", 3),
    Quantity("ullage_m", "m", 5),
    Quantity("rate_m3_per_h", "m3/h", 3),
    Quantity("rate_sd_m3_per_h", "m3/h", 3),
    Quantity("gsv_u95_m3", "m3", 4),
)
QUANTITY: Final[Mapping[str, Quantity]] = MappingProxyType({q.column: q for q in QUANTITIES})

READING_COLUMNS: Final[tuple[str, ...]] = (
    "time", "tank", "quality", "reason", "current_mA", "level_m", "temperature_degC", "water_m", "tov_m3", "gov_m3",
    "gsv_m3", "mass_kg", "volume_percent", "level_percent", "ullage_m", "rate_m3_per_h", "stock_quality", "bound",
    "rate_sd_m3_per_h", "gsv_u95_m3",
)  # fmt: skip
