"""The tables and keys of a site file, as pydantic models: strict, unknown keys refused, quantities to SI at once.

Says what each key may hold by itself; what keys mean together is in `wirechecks` and `tankchecks`. Every key stands in
docs/site-file.md (a test compares the two). The tables that make stock of a level are in `stockschema`, those of loops
and their supplies in `loopschema`.
"""

import re
from typing import Annotated, Any, Final

from pydantic import AfterValidator, Field, PlainValidator, model_validator

from collector.spec import BusKind
from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import Id, milliseconds, number_of, one_of, quantity, refuse, whole
from gaugehouse.sitefile.loopschema import LoopTable, SupplyTable
from gaugehouse.sitefile.notifyschema import NotifyTable
from gaugehouse.sitefile.registersschema import RegisterServerTable
from gaugehouse.sitefile.serverschema import ServerTable
from gaugehouse.sitefile.stockschema import (
    AccuracyTable,
    CertificateTable,
    LiquidHeadTable,
    RoofTable,
    SafeFillTable,
    ShapeTable,
)
from gaugehouse.sitefile.stocktable import StockTable
from gaugehouse.sitefile.table import Finite, Table, Text
from gaugehouse.sitefile.watchschema import Priority, SecondLevelTable, WatchTable, spread
from modbus.signals import READ_FUNCTIONS, Order, RegisterType
from models.correction import Edition, Form
from models.filters import FilterKind
from models.groups import PRODUCT_GROUPS
from models.tank import Measures


class SiteTable(Table):
    id: Id = Field(examples=['"north-farm"'])
    name: str = ""
    zone: Text = Field(examples=['"Europe/Oslo"'])
    day_starts: f.MinuteOfDay = 0
    reference_temperature: f.Temperature = Field(examples=['"15 degC"'])
    volume_correction: Annotated[Edition, PlainValidator(one_of({e.value: e for e in Edition}))] = Edition.API_2004
    factors: Annotated[Form, PlainValidator(one_of({form.value: form for form in Form}))] = Form.UNROUNDED
    altitude: Annotated[float, quantity("m", "1200 m", -500, 5000)] | None = None


class StoreTable(Table):
    path: Text = "store"
    keep_readings: Annotated[int, milliseconds("400 d", 86_400, 3_162_240_000)] | None = None
    server: list[ServerTable] = Field(default_factory=list)


class ConsoleTable(Table):
    host: Text = "127.0.0.1"
    port: Annotated[int, whole(0, 65535)] = 8600
    names: list[Text] = Field(default_factory=list)
    certificate: Text | None = None
    private_key: Text | None = None
    proxies: list[Text] = Field(default_factory=list)
    session: Annotated[int, milliseconds("12 h", 300, 31 * 86_400)] = 12 * 3_600_000


class AlarmsTable(Table):
    sheet: Text | None = None
    longest_shelf: Annotated[int, milliseconds("8 h", 60, 604_800)] = 8 * 3_600_000
    acknowledged_by_return: list[Text] = Field(default_factory=list)
    operator_positions: Annotated[int, whole(1, 20)] = 1


class FaultsTable(Table):
    trace_before: Annotated[int, milliseconds("2 min", 0, 3600)] = 120_000
    trace_after: Annotated[int, milliseconds("2 min", 0, 3600)] = 120_000
    trace_sparse: Annotated[int, milliseconds("1 min", 1, 86_400)] = 60_000


class LoopCheckTable(Table):
    """How loop checks are done on this site."""

    limit: f.Tolerance = 0.25
    longest: f.CheckTime = 3_600_000
    samples: Annotated[int, whole(2, 60)] = 5
    steady: f.Tolerance = 0.1
    every: f.TestEvery | None = None


MQTT_PROTOCOLS: Final = ("5", "3.1.1")
CLIENT_ID: Final = re.compile(r"[A-Za-z0-9_.:-]{1,64}", re.ASCII)


def _client_id(value: str) -> str:
    if not CLIENT_ID.fullmatch(value):
        allowed = "1 to 64 of A-Z a-z 0-9 _ . : -"
        raise refuse(f'"{value}" is no client id; write {allowed}', allowed=allowed)
    return value


class SystemTable(Table):
    """From when on the daemon raises alarms about itself."""

    store_late: f.Delay = 60_000
    publisher_late: f.Delay = 300_000
    disk_filling: f.Percent = 90.0
    clock_step: f.Delay = 60_000
    failed_check: f.LongWindow = 7 * 86_400_000


class MqttTable(Table):
    host: Text = Field(examples=['"127.0.0.1"'])
    port: Annotated[int, whole(1, 65535)] | None = None
    tls: bool = False
    ca: Text | None = None
    certificate: Text | None = None
    private_key: Text | None = None
    username: Text | None = None
    password_file: Text | None = None
    password_env: Text | None = None
    client_id: Annotated[str, AfterValidator(_client_id)] | None = None
    protocol: Annotated[str, PlainValidator(one_of({word: word for word in MQTT_PROTOCOLS}))] = "5"
    keepalive: Annotated[int, milliseconds("30 s", 5, 3600)] = 30_000
    interval: Annotated[int, milliseconds("1 s", 0.1, 3600)] = 1_000


PARITIES: Final = {"even": "E", "odd": "O", "none": "N", "E": "E", "O": "O", "N": "N"}
BAUDS: Final = (300, 600, 1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200, 230400)


class BusTable(Table):
    id: Id = Field(examples=['"gateway"'])
    kind: Annotated[BusKind, PlainValidator(one_of({kind.value: kind for kind in BusKind}))] = Field(examples=['"tcp"'])
    host: Text | None = None
    port: Annotated[int, whole(1, 65535)] | None = None
    device: Text | None = None
    baud: Annotated[int, PlainValidator(number_of(BAUDS))] | None = None
    parity: Annotated[str, PlainValidator(one_of(PARITIES))] | None = None
    stop_bits: Annotated[int, PlainValidator(number_of((1, 2)))] | None = None
    period: f.Period = 1000
    timeout: f.Timeout = 500


TYPES: Final = {kind.value: kind for kind in RegisterType}
ORDERS: Final = {order.value: order for order in Order}


class SignalTable(Table):
    name: Id = Field(examples=['"level"'])
    function: Annotated[int, PlainValidator(number_of(tuple(sorted(READ_FUNCTIONS))))] = Field(examples=["4"])
    address: Annotated[int, whole(0, 999_999)] = Field(examples=["0"])
    counted_from: Annotated[int, PlainValidator(number_of((0, 1)))] | None = None
    plain_address: bool = False
    type: Annotated[RegisterType, PlainValidator(one_of(TYPES))] = Field(examples=['"float32"'])
    word_order: Annotated[Order, PlainValidator(one_of(ORDERS))] = Order.HIGH_FIRST
    byte_order: Annotated[Order, PlainValidator(one_of(ORDERS))] = Order.HIGH_FIRST
    scale: Finite = 1.0
    offset: Finite = 0.0
    unit: str = ""
    bit: Annotated[int, whole(0, 15)] | None = None
    invalid: list[int] = Field(default_factory=list)
    valid: Annotated[list[Finite], Field(min_length=2, max_length=2)] | None = None
    resolution: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None


POWERED_BY: Final = ("itself", "loop")


class InstrumentTable(Table):
    id: Id = Field(examples=['"li-1"'])
    name: str = ""
    bus: str = Field(examples=['"gateway"'])
    unit: Annotated[int, whole(0, 255)] = Field(examples=["1"])
    shares_unit: bool = False
    bridge: Annotated[int, whole(0, 120)] = 0
    longest: Annotated[int, whole(0, 125)] = 0
    frozen_after: f.Age = 300_000
    powered_by: Annotated[str, PlainValidator(one_of({word: word for word in POWERED_BY}))] = "itself"
    loop: LoopTable | None = None
    signal: list[SignalTable] = Field(examples=["[[instrument.signal]]"])


class ProductTable(Table):
    id: Id = Field(examples=['"jet-a1"'])
    name: str = ""
    group: Annotated[str, PlainValidator(one_of({word: word for word in PRODUCT_GROUPS}))] = "refined"
    base_density: f.Density = Field(examples=['"800 kg/m3"'])
    alpha60: f.Alpha60 | None = None
    density_range: Annotated[list[f.Density], Field(min_length=2, max_length=2)] | None = None
    for_issue: bool = True


class Ne43Table(Table):
    fail_low: f.Current = 3.6
    low: f.Current = 3.8
    high: f.Current = 20.5
    fail_high: f.Current = 21.0


class LimitTable(Table):
    at: f.InnageOrComputed = Field(examples=['"9.2 m"'])
    deadband: f.SmallLength = 0.010
    on_delay: f.Delay | None = None
    off_delay: f.Delay = 5_000
    priority: Priority | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_quantity(cls, value: Any) -> Any:
        return spread(value, "9.2 m")


class RateLimitTable(Table):
    at: f.Rate = Field(examples=['"300 mm/min"'])
    deadband: f.Rate | None = None
    on_delay: f.Delay = 5_000
    off_delay: f.Delay = 5_000
    priority: Priority | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_quantity(cls, value: Any) -> Any:
        return spread(value, "300 mm/min")


class LimitsTable(Table):
    critical_high: LimitTable | None = None
    high_high: LimitTable | None = None
    high: LimitTable | None = None
    low: LimitTable | None = None
    low_low: LimitTable | None = None
    rise_fast: RateLimitTable | None = None
    fall_fast: RateLimitTable | None = None
    rate_window: f.Window = 60_000


class ResponseTable(Table):
    """What passes between the level reaching high-high and the flow standing still."""

    max_fill_rate: f.Flow = Field(examples=['"1000 L/min"'])
    damping: f.Delay = 0
    refresh: f.Delay = 0
    notification: f.Delay = 0
    reaction: f.Delay = 0
    valve_closing: f.Delay = 0
    run_on: f.Delay = 0
    filter: f.Delay = 0
    response_time: f.Delay | None = None
    operator_time: f.Delay | None = None
    max_issue_rate: f.Flow | None = None


class FilterTable(Table):
    """What damps the level that the milder limits are judged on."""

    kind: Annotated[FilterKind, PlainValidator(one_of({k.value: k for k in FilterKind}))] = Field(
        examples=['"first order"']
    )
    time_constant: Annotated[int, milliseconds("10 s", 0.1, 3600)] | None = None
    polls: Annotated[int, whole(2, 99)] | None = None


class TankTable(Table):
    id: Id = Field(examples=['"t1"'])
    name: str = ""
    product: str = Field(examples=['"jet-a1"'])
    level: f.Ref = Field(examples=['"li-1.level"'])
    temperature: f.RefOrNone = "none"
    water: f.RefDipsOrNone = "none"
    measures: Annotated[Measures, PlainValidator(one_of({m.value: m for m in Measures}))] | None = None
    at_4mA: f.Innage | None = None
    at_20mA: f.Innage | None = None
    reference_height: f.Height = Field(examples=['"12.5 m"'])
    capacity: Text | None = None
    proportional_parts: Text | None = None
    certificate: CertificateTable | None = None
    accepted_by: Text | None = None
    shape: ShapeTable | None = None
    shell_expansion: f.Expansion | None = None
    shell_insulated: bool = False
    roof: RoofTable | None = None
    pressure: Annotated[float, quantity("kPa", "5 kPa", 0, 10_340)] = 0.0
    liquid_head: LiquidHeadTable | None = None
    accuracy: AccuracyTable = AccuracyTable()
    fastest_change: f.LevelRate | None = None
    surface_waves: f.SmallLength | None = None
    noisy_above: f.SmallLength | None = None
    suction: f.Innage | None = None
    safe_fill: SafeFillTable | None = None
    tolerance: f.Tolerance = 0.25
    max_age: f.Age = 600_000
    ne43: Ne43Table | None = None
    blocking_level: Annotated[float, quantity("m", "11.9 m", 0, 100)] | None = None
    sensor_flange: Annotated[float, quantity("m", "12.3 m", 0, 100)] | None = None
    overflow_level: Annotated[float, quantity("m", "12.6 m", 0, 100)] | None = None
    independent_high_high: str | None = None
    overfill_category: Annotated[int, PlainValidator(number_of((0, 1, 2, 3)))] | None = None
    limits: LimitsTable = LimitsTable()
    filter: FilterTable | None = None
    response: ResponseTable | None = None
    watch: WatchTable | None = None
    second_level: SecondLevelTable | None = None


METER_KINDS: Final = ("volume", "flow")


class MeterTable(Table):
    id: Id = Field(examples=['"m1"'])
    name: str = ""
    signal: f.Ref = Field(examples=['"totaliser.volume"'])
    kind: Annotated[str, PlainValidator(one_of({word: word for word in METER_KINDS}))] = Field(examples=['"volume"'])
    factor: Annotated[float, Field(gt=0.9, lt=1.1)] = 1.0
    compensated: bool = False
    rolls_over_at: f.Volume | None = None
    fills: str | None = None
    draws_from: str | None = None
    uncertainty: f.Tolerance = 0.2


ROLES: Final = {
    "ambient_temperature": "degC",
    "humidity": "%",
    "dew_point": "degC",
    "window_temperature": "degC",
    "shell_temperature": "degC",
    "heater_current": "mA",
    "supply_voltage": "V",
    "field_current": "mA",
    "pump": "",
    "valve": "",
    "high_level_switch": "",
    "other": None,
}
"""What a point is, and the unit that its signal is turned into (None: left as declared)."""


class PointTable(Table):
    id: Id = Field(examples=['"ambient"'])
    name: str = ""
    signal: f.Ref = Field(examples=['"weather.temperature"'])
    role: Annotated[str, PlainValidator(one_of({word: word for word in ROLES}))] = "other"
    tank: str | None = None
    alarm_when: Annotated[int, PlainValidator(number_of((0, 1)))] = 1


class SiteFile(Table):
    """The whole site file."""

    site: SiteTable = Field(examples=["[site]"])
    store: StoreTable = StoreTable()
    console: ConsoleTable = ConsoleTable()
    alarms: AlarmsTable = AlarmsTable()
    faults: FaultsTable = FaultsTable()
    system: SystemTable = SystemTable()
    mqtt: MqttTable | None = None
    register_server: RegisterServerTable | None = None
    loop_check: LoopCheckTable = LoopCheckTable()
    stock: StockTable = StockTable()
    bus: list[BusTable] = Field(min_length=1, examples=["[[bus]]"])
    instrument: list[InstrumentTable] = Field(min_length=1, examples=["[[instrument]]"])
    product: list[ProductTable] = Field(min_length=1, examples=["[[product]]"])
    tank: list[TankTable] = Field(min_length=1, examples=["[[tank]]"])
    meter: list[MeterTable] = Field(default_factory=list)
    point: list[PointTable] = Field(default_factory=list)
    notify: list[NotifyTable] = Field(default_factory=list)
    supply: list[SupplyTable] = Field(default_factory=list)
