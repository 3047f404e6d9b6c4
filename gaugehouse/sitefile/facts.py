"""What a site is, once its file is read: immutable values in SI, ready for the rooms of the house.

Knows no TOML, no pydantic, no pint. The site file is the only truth for settings; nothing in here changes while the
daemon runs.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from alerts.faulttrace import TraceSpec
from alerts.selfwatch import SystemRules
from alerts.sheet import Sheet
from alerts.spec import Limit, LoopFacts, SwitchAlarm, TankAlarms
from alerts.watched import Watched
from collector.spec import BusSpec
from gaugehouse.sitefile.loopfacts import Power
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.problems import Problem
from gaugehouse.sitefile.registersfacts import RegisterServerSpec
from gaugehouse.sitefile.serverfacts import ServerSpec
from gaugehouse.sitefile.settlingspec import Settling
from gaugehouse.sitefile.stock_waterspec import ForecastSpec, WaterSpec
from inventory.accountrules import AccountRules
from inventory.dips import DipRules
from inventory.documentrules import DocumentRules
from inventory.leakrules import LeakRules
from inventory.receiptrules import ReceiptRules
from modbus.signals import RegisterSignal
from models.certificate import CapacityCertificate
from models.density import DensityRange, density_objection
from models.errors import OutOfRange
from models.filters import FilterSpec
from models.stock_budget import Accuracy, Rest
from models.tank import Linear, Tank
from models.uncertainty import Known
from models.working import SafeFill, SafeFillRule


@dataclass(frozen=True, slots=True)
class ProductSpec:
    """A product. `group` is a word of `models.groups`; `alpha60_per_degF` goes with the group "special" only.

    density_range: between what the site says that its density at 15 degC must lie, in kg/m3. for_issue: False for what
    is gathered and never handed out, as slop.
    """

    id: str
    name: str
    group: str
    base_density_kgpm3: float
    alpha60_per_degF: float | None = None
    density_range: tuple[float, float] | None = None
    for_issue: bool = True

    def objection(self, base_degC: float, density_kgpm3: float | None = None) -> str | None:
        """Why a base density (without one: its own) cannot be this product's, or None."""
        limits = None if self.density_range is None else DensityRange(*self.density_range, "site file")
        density = self.base_density_kgpm3 if density_kgpm3 is None else density_kgpm3
        return density_objection(self.group, density, base_degC, limits, self.alpha60_per_degF)


@dataclass(frozen=True, slots=True)
class MqttSpec:
    """Where to publish. The secret itself is read when connecting (`gaugehouse.sitefile.secret`).

    client_id: None for the usual one of the site. protocol: "5" or "3.1.1". interval_ms: between two readings of a tank
    at the least, in real time.
    """

    host: str
    port: int
    tls: bool = False
    ca: Path | None = None
    certificate: Path | None = None
    private_key: Path | None = None
    username: str | None = None
    password_file: Path | None = None
    password_env: str | None = None
    client_id: str | None = None
    protocol: str = "5"
    keepalive_ms: int = 30_000
    interval_ms: int = 1_000


@dataclass(frozen=True, slots=True)
class LoopCheckRules:
    """How loop checks are done: the largest error in percent of span that passes, how long one may last, how many
    samples make a live step and how far apart they may lie in percent of span. every_ms: from one check of a loop to
    the next, None without a rule."""

    limit_percent: float = 0.25
    longest_ms: int = 3_600_000
    samples: int = 5
    steady_percent: float = 0.1
    every_ms: int | None = None


@dataclass(frozen=True, slots=True)
class AlarmRules:
    """What holds for all alarms of the site. acknowledged_by_return: classes whose alarms need no person after return.

    longest_shelf_ms: the longest time that an alarm may be shelved for.
    """

    longest_shelf_ms: int = 8 * 3_600_000
    acknowledged_by_return: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MeterSpec:
    """A flow meter. `source` gives m3 (kind "volume") or m3/s (kind "flow"), before the meter factor.

    fills, draws_from: the tank that what it counts goes into, and the one that it comes from. u95_frac: expanded
    uncertainty of what it counts; the default is what UFC 3-460-03, 10.3.12.2 lets a meter be off.
    """

    id: str
    name: str
    kind: str
    source: Linear
    factor: float = 1.0
    compensated: bool = False
    rolls_over_at_m3: float | None = None
    fills: str | None = None
    draws_from: str | None = None
    u95_frac: float = 0.002


@dataclass(frozen=True, slots=True)
class PointSpec:
    """A signal that belongs to no tank's level. `source` gives it in `unit`; `tank` says which tank it speaks of.

    alarm_when: the bit of a switch that means alarm.
    """

    id: str
    name: str
    role: str
    source: Linear
    unit: str
    tank: str | None = None
    alarm_when: int = 1


@dataclass(frozen=True, slots=True)
class Response:
    """What passes between the level reaching high-high and the flow standing still, for one tank.

    given_ms: the response time where the site gives it instead of having it added up.
    """

    max_fill_m3_per_s: float
    damping_ms: int = 0
    refresh_ms: int = 0
    notification_ms: int = 0
    reaction_ms: int = 0
    valve_closing_ms: int = 0
    run_on_ms: int = 0
    filter_ms: int = 0
    given_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Hours:
    """A stretch of every day on the site's clock, in minutes of the day; over midnight where it ends first."""

    from_min: int
    to_min: int

    def holds(self, minute: int) -> bool:
        if self.from_min < self.to_min:
            return self.from_min <= minute < self.to_min
        return minute >= self.from_min or minute < self.to_min


@dataclass(frozen=True, slots=True)
class TankWatch:
    """What is watched at a tank beside its limits. limits: one for each condition that is.

    water_over_ms, movement_over_ms: the windows over which rising water and a movement add up. settle_ms: how long
    after an ordered movement none is looked for. still_hours: when the tank should be still, None = always. second: the
    same tank as another gauge sees it.
    """

    limits: tuple[Limit, ...] = ()
    water_over_ms: int = 86_400_000
    movement_over_ms: int = 3_600_000
    settle_ms: int = 1_800_000
    still_hours: Hours | None = None
    second: Tank | None = None

    def limit(self, condition: str) -> Limit | None:
        return next((limit for limit in self.limits if limit.condition == condition), None)


@dataclass(frozen=True, slots=True)
class SafeFillSpec:
    """The rule of a tank's safe fill, with what the site file gives of it; the rest comes from `Response`."""

    rule: str
    rate_m3_per_s: float | None = None
    time_ms: int | None = None
    percent: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class TankExtras:
    """What the site says of a tank beside its model: what the checks judge, how well its figures are known.

    accepted_by: who accepts a stock without a calibration certificate. given_accuracy: what replaces a default, by the
    names of `models.stock_budget.Accuracy`. suction_m: innage of the lowest suction. filter: what damps the level that
    the milder limits are judged on. fastest_m_per_s, waves_m, noisy_above_m: what replaces a default of
    `alerts.spec.LoopFacts`.
    """

    capacity_source: Path | None
    blocking_m: float | None = None
    independent_high_high: str | None = None
    overfill_category: int | None = None
    response: Response | None = None
    certificate: CapacityCertificate | None = None
    accepted_by: str | None = None
    given_accuracy: Mapping[str, Known] = field(default_factory=lambda: MappingProxyType({}))
    at_rest_after_ms: int = 43_200_000
    suction_m: float | None = None
    fastest_m_per_s: float | None = None
    waves_m: float | None = None
    noisy_above_m: float | None = None
    safe_fill: SafeFillSpec | None = None
    filter: FilterSpec | None = None


@dataclass(frozen=True)
class Site:
    """One fuel farm as its site file describes it. Sequences keep the file's order; mappings are read-only.

    `keep_readings_ms`: how long single readings are kept on this machine, None = for good.

    `altitude_m`: above the sea; None where the site does not say. `day_starts_min`: minutes after local midnight.
    `reach_m`: the highest innage that a tank's instrument can tell (its 20 mA level, blocking limit or flange,
    whichever is lowest; the table's top where none of them is given).
    `loop_powered`: instruments that live on their loop's current.
    `period_ms` is per instrument, `rate_window_ms` and `extras` per tank; so are `accuracy` and `safe_fill`, which are
    worked out from the rest. `settling`: None where no tank status is kept. `power`: supplies and the loops on them.
    `factors`: whether correction factors keep all their digits. `signals` has every signal of every instrument by
    (instrument, signal). `source_files`: the site file and all that it points to.
    """

    path: Path
    id: str
    name: str
    zone: str
    day_starts_min: int
    reference_degC: float
    volume_correction: str
    factors: str
    altitude_m: float | None
    store_path: Path
    console_host: str
    console_port: int
    alarm_sheet: Path | None
    alarm_rules: AlarmRules
    operator_positions: int
    system: SystemRules
    mqtt: MqttSpec | None
    buses: tuple[BusSpec, ...]
    products: tuple[ProductSpec, ...]
    tanks: tuple[Tank, ...]
    tank_alarms: tuple[TankAlarms, ...]
    loops: tuple[LoopFacts, ...]
    meters: tuple[MeterSpec, ...]
    points: tuple[PointSpec, ...]
    rate_window_ms: Mapping[str, int]
    reach_m: Mapping[str, float]
    period_ms: Mapping[str, int]
    signals: Mapping[tuple[str, str], RegisterSignal]
    instrument_names: Mapping[str, str]
    extras: Mapping[str, TankExtras]
    accuracy: Mapping[str, Mapping[Rest, Accuracy]]
    safe_fill: Mapping[str, SafeFillRule | None]
    settings: Mapping[str, Any]
    source_files: tuple[Path, ...]
    watches: Mapping[str, TankWatch] = field(default_factory=lambda: MappingProxyType({}))
    watched: tuple[Watched, ...] = ()
    channels: tuple[NotifySpec, ...] = ()
    servers: tuple[ServerSpec, ...] = ()
    register_server: RegisterServerSpec | None = None
    session_ms: int = 12 * 3_600_000
    console_names: tuple[str, ...] = ()
    console_proxies: tuple[str, ...] = ()
    console_certificate: Path | None = None
    console_key: Path | None = None
    keep_readings_ms: int | None = None
    loop_check: LoopCheckRules = LoopCheckRules()
    dip_rules: DipRules = DipRules()  # noqa: RUF009 (immutable)
    water: WaterSpec = WaterSpec()  # noqa: RUF009 (immutable)
    forecast: ForecastSpec = ForecastSpec()  # noqa: RUF009 (immutable)
    accounts: AccountRules = AccountRules()  # noqa: RUF009 (immutable)
    warnings: tuple[Problem, ...] = ()
    power: Power = field(default_factory=Power)
    sheet: Sheet = field(default_factory=Sheet)
    loop_powered: frozenset[str] = frozenset()
    settling: Settling | None = None
    fault_trace: TraceSpec = TraceSpec()  # noqa: RUF009 (immutable)
    receipts: ReceiptRules = ReceiptRules()  # noqa: RUF009 (immutable)
    documents: DocumentRules = DocumentRules()  # noqa: RUF009 (immutable)
    leak: LeakRules = LeakRules()  # noqa: RUF009 (immutable)
    shift_ms: int = 12 * 3_600_000
    paper_size: Literal["A4", "Letter"] = "A4"

    def tank(self, tank_id: str) -> Tank:
        """The tank with an id. Raises `KeyError`."""
        return self._tank_by_id[tank_id]

    def product(self, product_id: str) -> ProductSpec:
        """The product with an id. Raises `KeyError`."""
        for product in self.products:
            if product.id == product_id:
                return product
        raise KeyError(product_id)

    def product_of(self, tank_id: str) -> ProductSpec:
        return self.product(self.tank(tank_id).product)

    def alarms_of(self, tank_id: str) -> TankAlarms:
        """The limits of a tank. Raises `KeyError`."""
        return self._alarms_by_tank[tank_id]

    def watched_limits(self, source: str) -> Mapping[str, Limit]:
        """What is watched of a source beside its level limits, by condition; empty for one of which nothing is."""
        return self._limits_by_source.get(source, {})

    @property
    def switches(self) -> list[SwitchAlarm]:
        """The independent high-level switches, in the order of the site file."""
        known = [(point, self.watched_limits(point.id).get("high_level_switch")) for point in self.points]
        return [SwitchAlarm(p.id, p.source.instrument, p.tank, limit) for p, limit in known if limit is not None]

    def safe_fill_of(self, tank_id: str) -> SafeFill | None:
        """The safe fill of a tank by its rule; None without one, or where it leaves nothing (`check` warns of that)."""
        rule = self.safe_fill[tank_id]
        try:
            return None if rule is None else rule.safe_fill(self.tank(tank_id).table)
        except OutOfRange:
            return None

    @property
    def signal_names(self) -> Mapping[str, tuple[str, ...]]:
        """The names of each instrument's signals, in the file's order."""
        return {
            instrument.id: tuple(signal.name for signal in instrument.signals)
            for bus in self.buses
            for instrument in bus.instruments
        }

    def fingerprint(self) -> str:
        """SHA-256 of all settings, normalised: comments, order of keys and choice of units do not change it."""
        return digest(dict(self.settings))

    def model_version(self, tank_id: str) -> str:
        """SHA-256 of what turns this tank's signal into stock: tank, product, table, reference conditions."""
        return digest([self.model_settings(tank_id), self.reference_degC, self.volume_correction, self.factors])

    def model_settings(self, tank_id: str) -> dict[str, Any]:
        """The settings that a tank's model rests on: its own and its product's."""
        models = self._settings_by_model
        return {
            **models.get(f"product[{self.tank(tank_id).product}].model", {}),
            **models.get(f"tank[{tank_id}].model", {}),
        }

    @cached_property
    def _settings_by_model(self) -> dict[str, dict[str, Any]]:
        """The settings of each tank's and product's model: sought once, as 2000 tanks have 400,000 settings."""
        found: dict[str, dict[str, Any]] = {}
        for key, value in self.settings.items():
            if key.startswith(("tank[", "product[")):
                owner, is_model, _ = key.partition("].model.")
                if is_model:
                    found.setdefault(f"{owner}].model", {})[key] = value
        return found

    @cached_property
    def _limits_by_source(self) -> dict[str, dict[str, Limit]]:
        found: dict[str, dict[str, Limit]] = {}
        for one in self.watched:
            found.setdefault(one.source, {}).update({limit.condition: limit for limit in one.limits})
        return found

    @cached_property
    def _tank_by_id(self) -> dict[str, Tank]:
        return {tank.id: tank for tank in self.tanks}

    @cached_property
    def _alarms_by_tank(self) -> dict[str, TankAlarms]:
        return {alarms.tank: alarms for alarms in self.tank_alarms}


def digest(content: object) -> str:
    """SHA-256 of plain values, written one way only."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """What differs between two settings, a line each: for the journal, and for whoever asks what was changed."""
    lines = []
    for key in sorted(old.keys() | new.keys()):
        if key not in old:
            lines.append(f"{key}: added, {new[key]}")
        elif key not in new:
            lines.append(f"{key}: removed, was {old[key]}")
        elif old[key] != new[key]:
            lines.append(f"{key}: {old[key]} -> {new[key]}")
    return lines


def frozen(mapping: Mapping[Any, Any]) -> Mapping[Any, Any]:
    return MappingProxyType(dict(mapping))
