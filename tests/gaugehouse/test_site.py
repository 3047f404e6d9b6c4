"""What comes out of a sound site file: plain values in SI, defaults filled in, and what its hashes see."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from collector.spec import BusKind
from gaugehouse.errors import CallError
from gaugehouse.site import Site, changes, load_site, read_password
from gaugehouse.sitefile.facts import MqttSpec
from modbus.signals import Order, RegisterType
from models.geometry import LyingCylinder
from models.signal import NE43_2003
from models.tank import LevelKind, Linear, Measures

ROOT = Path(__file__).parent.parent.parent
SITES = ROOT / "tests" / "sites"
PLAIN = SITES / "good" / "plain.toml"
FARM = ROOT / "deploy" / "examples" / "jet-farm" / "site.toml"
LEAST = ROOT / "deploy" / "examples" / "least.toml"


@pytest.fixture(scope="module")
def plain() -> Site:
    return load_site(PLAIN)


@pytest.fixture(scope="module")
def farm() -> Site:
    return load_site(FARM)


def loaded(folder: Path, *swaps: tuple[str, str]) -> Site:
    """The plain site with some texts swapped."""
    text = PLAIN.read_text(encoding="utf-8")
    for old, new in (("../tables/t1.csv", (SITES / "tables" / "t1.csv").as_posix()), *swaps):
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return load_site(path)


@pytest.mark.parametrize("path", [LEAST, FARM], ids=["least", "jet-farm"])
def test_the_examples_load_without_a_problem(path):
    assert load_site(path).warnings == ()


def test_the_least_site_says_only_what_has_no_default():
    site = load_site(LEAST)
    assert (site.day_starts_min, site.volume_correction) == (0, "API MPMS 11.1-2004")
    assert (site.console_host, site.console_port, site.store_path) == ("127.0.0.1", 8600, LEAST.parent / "store")
    (bus,) = site.buses
    assert (bus.port, bus.period_ms, bus.timeout_ms) == (502, 1000, 500)


def test_the_sites_own_table(plain):
    assert (plain.id, plain.name, plain.zone, plain.day_starts_min) == ("plain", "Plain site", "Europe/Oslo", 360)
    assert plain.reference_degC == 15.0
    assert plain.mqtt == MqttSpec("127.0.0.1", 1883, username="gaugehouse", password_env="BROKER_PASSWORD")
    assert plain.source_files == (PLAIN, PLAIN.parent / "../tables/t1.csv")


def test_buses_and_their_instruments(plain):
    gateway, line = plain.buses
    assert (gateway.kind, gateway.host, gateway.port, gateway.period_ms) == (BusKind.TCP, "192.0.2.10", 502, 2000)
    assert (line.kind, line.device, line.baud, line.parity, line.stop_bits) == (
        BusKind.RTU,
        "/dev/ttyUSB0",
        9600,
        "E",
        1,
    )
    assert plain.period_ms == {"li-1": 2000, "li-2": 1000}
    assert plain.signal_names == {"li-1": ("current", "temperature"), "li-2": ("level", "temperature", "alarm", "flow")}


def test_addresses_counted_from_one_are_one_less_on_the_wire(plain):
    """Source: MODBUS Application Protocol V1.1b3 4.4: data numbered X is addressed X-1 in the PDU."""
    signal = plain.signals["li-2", "level"]
    assert (signal.function, signal.address, signal.type, signal.word_order) == (
        3, 100, RegisterType.UINT16, Order.HIGH_FIRST,
    )  # fmt: skip
    assert plain.signals["li-1", "current"].address == 0


def test_no_parity_goes_with_two_stop_bits_unless_told(tmp_path):
    """Source: MODBUS over Serial Line V1.02 2.5.1: without parity a second stop bit fills the character."""
    site = loaded(tmp_path, ('parity = "even"', 'parity = "none"'))
    assert (site.buses[1].parity, site.buses[1].stop_bits) == ("N", 2)


def test_a_loop_tank(plain):
    tank = plain.tank("t1")
    assert (tank.kind, tank.measures, tank.instrument) == (LevelKind.CURRENT, Measures.INNAGE, "li-1")
    assert tank.level == Linear("li-1", "current", 1.0, 0.0) == tank.current_signal
    assert tank.range_m == (0.0, 12.0)
    assert (tank.table.capacity_m3, tank.table.top_m) == (981.748, 12.5)
    assert (tank.tolerance_frac, tank.max_age_ms, tank.ne43, tank.water_from_dips) == (0.0025, 600_000, NE43_2003, True)
    assert tank.temperature == Linear("li-1", "temperature", 1.0, 0.0)


def test_a_tank_with_a_level_in_mm_keeps_no_range(plain):
    tank = plain.tank("t2")
    assert (tank.kind, tank.level, tank.range_m) == (LevelKind.LENGTH, Linear("li-2", "level", 0.001, 0.0), None)
    assert tank.current_signal is None
    assert tank.table.volume_m3(1.0) == pytest.approx(LyingCylinder(2.5, 8).volume_m3(1.0), abs=4e-5)


def test_a_digital_level_keeps_the_loop_current_beside_it(farm):
    tank = farm.tank("north")
    assert tank.level == Linear("li-north", "level", 0.001, 0.0)
    assert tank.current_signal == Linear("li-north", "current", 1.0, 0.0)
    assert farm.loops[0].current_signal == "current"


def test_reach_is_the_lowest_of_range_blocking_limit_and_flange(plain, farm, tmp_path):
    assert farm.reach_m["north"] == 12.1, "its blocking limit"
    assert farm.reach_m["slop"] == pytest.approx(2.45), "2.75 m of reference height less 0.3 m of distance"
    assert plain.reach_m["t1"] == 12.0, "its 20 mA level"
    assert plain.reach_m["t2"] == 2.5, "nothing told: the top of the table"
    swap = (
        'reference_height = "13.5 m"',
        'reference_height = "13.5 m"\nblocking_level = "12.2 m"\nsensor_flange = "11.95 m"',
    )
    assert loaded(tmp_path, swap).reach_m["t1"] == 11.95, "its flange"


def test_limits_have_their_defaults(plain):
    limits = {limit.condition: limit for limit in plain.alarms_of("t1").limits}
    assert list(limits) == ["critical_high", "high_high", "high", "low", "low_low", "rise_fast", "fall_fast"]
    assert {name: limit.priority for name, limit in limits.items()} == {
        "critical_high": 1, "high_high": 1, "high": 2, "low": 3, "low_low": 2, "rise_fast": 2, "fall_fast": 2,
    }  # fmt: skip
    assert {name: limit.on_delay_ms for name, limit in limits.items()} == {
        "critical_high": 0, "high_high": 0, "high": 10_000, "low": 5000, "low_low": 5000, "rise_fast": 5000,
        "fall_fast": 5000,
    }  # fmt: skip
    assert {limit.off_delay_ms for limit in limits.values()} == {5000}
    assert (limits["high"].deadband, limits["low"].deadband) == (0.02, 0.01)
    assert plain.rate_window_ms == {"t1": 60_000, "t2": 60_000}
    assert (plain.alarms_of("t1").instrument, plain.alarms_of("t2").instrument) == ("li-1", "li-2")


def test_rates_are_per_second_of_level_or_of_volume(plain):
    limits = {limit.condition: limit for limit in plain.alarms_of("t1").limits}
    assert (limits["rise_fast"].per, limits["fall_fast"].per) == ("m/s", "m3/s")
    assert limits["rise_fast"].at == pytest.approx(0.005)  # 300 mm/min
    assert limits["fall_fast"].at == pytest.approx(2 / 60)
    assert limits["fall_fast"].deadband == pytest.approx(0.2 / 60), "a tenth of the limit"


def test_every_instrument_has_its_loop_facts_in_the_files_order(plain, farm):
    assert [loop.instrument for loop in farm.loops] == ["li-north", "li-south", "li-slop", "yard"]
    assert farm.loops[0].watched == (("current", None), ("level", 0.1)), "a float may be finer than any step told"
    slop, yard = farm.loops[2:]
    assert slop.frozen_after_ms == 1_800_000
    assert slop.watched == (("current", pytest.approx(0.000244148)),)
    assert (yard.current_signal, yard.watched) == (None, ())
    assert plain.loops[1].watched == (("level", 1.0),)


def test_the_finest_register_is_watched_first(tmp_path):
    """16 mA over 12 m: 0.01 mA is 7.5 mm, one count of a register in mm is 1 mm (computed)."""
    site = loaded(
        tmp_path,
        ('type = "float32", unit = "mA" },', 'type = "uint32", scale = 0.01, unit = "mA" },\n'
         '  { name = "level", function = 4, address = 3, counted_from = 0, type = "uint16", unit = "mm" },'),
    )  # fmt: skip
    assert site.loops[0].watched == (("level", 1.0), ("current", 0.01))


def test_a_signal_declared_in_other_units_gets_factor_and_constant(tmp_path):
    site = loaded(
        tmp_path,
        ('scale = 0.1, unit = "degC" },\n]\n\n[[instrument]]\nid = "li-2"',
         'scale = 0.1, unit = "degF" },\n]\n\n[[instrument]]\nid = "li-2"'),
        ('type = "float32", unit = "mA"', 'type = "float32", unit = "A"'),
        ('unit = "mm" }', 'unit = "in" }'),
    )  # fmt: skip
    source = site.tank("t1").temperature
    assert source is not None
    assert 212 * source.factor + source.constant == pytest.approx(100, abs=1e-9)  # water boils, by definition of degF
    assert 32 * source.factor + source.constant == pytest.approx(0, abs=1e-9)
    assert site.tank("t1").level.factor == 1000.0
    assert site.loops[0].current_factor == 1000.0
    assert site.tank("t2").level.factor == 0.0254  # exact; NIST SP 811


def test_invalid_codes_bounds_and_bits_reach_the_register(farm):
    level, temperature = farm.signals["li-north", "level"], farm.signals["li-north", "temperature"]
    assert (level.invalid, level.word_order) == ((0x80000000,), Order.LOW_FIRST)
    assert (temperature.valid_min, temperature.valid_max) == (-40, 80)


def test_meters_and_points_are_in_si(farm):
    (meter,) = farm.meters
    assert (meter.kind, meter.source.factor, meter.factor) == ("volume", 0.001, 0.9993)
    assert meter.rolls_over_at_m3 == 2**32 / 1000  # a count of 32 bits in litres
    air = farm.points[0]
    assert (air.id, air.role, air.unit, air.source.signal) == ("air", "ambient_temperature", "degC", "air")
    assert (farm.points[3].tank, farm.points[3].unit) == ("north", "")


def test_one_card_with_several_channels_is_several_instruments_with_one_unit(tmp_path):
    text = 'bus = "line"\nunit = 2\n'
    other = (
        '[[instrument]]\nid = "li-3"\nbus = "line"\nunit = 2\nshares_unit = true\nsignal = [{ name = "level", '
        'function = 3, address = 9, counted_from = 0, type = "uint16", unit = "mm" }]\n\n[[product]]'
    )
    site = loaded(tmp_path, (text, f"{text}shares_unit = true\n"), ("[[product]]", other))
    assert [(i.id, i.unit) for i in site.buses[1].instruments] == [("li-2", 2), ("li-3", 2)]


def test_a_true_address_of_40101_can_be_said(tmp_path):
    site = loaded(
        tmp_path, ("address = 101, counted_from = 1,", "address = 40101, counted_from = 0, plain_address = true,")
    )
    assert site.signals["li-2", "level"].address == 40101


@pytest.mark.parametrize(
    "swap",
    [
        pytest.param(('at_20mA = "12 m"', 'at_20mA = "1200 cm"'), id="another unit"),
        pytest.param(('base_density = "800 kg/m3"', 'base_density = "0.8 g/cm3"'), id="another unit of density"),
        pytest.param(('"15 degC"', '"288.15 K"'), id="another scale of temperature"),
        pytest.param(('id = "plain"\n', "# a word\nid = 'plain'\n"), id="a comment"),
        pytest.param(('host = "192.0.2.10"\nperiod = "2 s"', 'period = "2000 ms"\nhost = "192.0.2.10"'), id="order"),
        pytest.param(("address = 101, counted_from = 1", "address = 100, counted_from = 0"), id="the count's start"),
        pytest.param(('low = "1 m"', 'low = { at = "1 m", deadband = "10 mm" }'), id="a default spelt out"),
    ],
)
def test_the_fingerprint_does_not_see_how_a_thing_is_written(tmp_path, swap):
    assert loaded(tmp_path, swap).fingerprint() == loaded(tmp_path).fingerprint()


@pytest.mark.parametrize(
    ("swap", "key"),
    [
        (('name = "Plain site"', 'name = "Another name"'), "site.name"),
        (('timeout = "500 ms"', 'timeout = "400 ms"'), "bus[gateway].timeout_ms"),
        (('type = "int16", scale = 0.1', 'type = "int16", scale = 0.2'), "instrument[li-1].signal[temperature].scale"),
        (('low = "1 m"', 'low = "1.1 m"'), "tank[t1].limits.low.at"),
        (('at_20mA = "12 m"', 'at_20mA = "12.1 m"'), "tank[t1].model.at_20mA_m"),
        (('tank = "t1"', 'tank = "t2"'), "point[switch].tank"),
    ],
)
def test_a_changed_setting_is_named_and_changes_the_fingerprint(tmp_path, swap, key):
    old, new = loaded(tmp_path), loaded(tmp_path, swap)
    assert old.fingerprint() != new.fingerprint()
    (line,) = changes(old.settings, new.settings)
    assert re.fullmatch(rf"{re.escape(key)}: .+ -> .+", line)


def test_added_and_removed_settings_are_named(tmp_path):
    old, new = loaded(tmp_path), loaded(tmp_path, ('low = "1 m"\n', ""))
    assert {line.split(":")[1].split(",")[0].strip() for line in changes(old.settings, new.settings)} == {"removed"}
    assert {line.split(":")[1].split(",")[0].strip() for line in changes(new.settings, old.settings)} == {"added"}


def test_the_model_version_sees_what_makes_stock_and_nothing_else(tmp_path):
    old = loaded(tmp_path)
    for same in (
        ('low = "1 m"', 'low = "1.1 m"'),
        ('timeout = "500 ms"', 'timeout = "400 ms"'),
        ('id = "t1"\n', 'id = "t1"\nname = "Tank one"\n'),
        ('length = "8 m"', 'length = "8.1 m"'),
    ):
        assert loaded(tmp_path, same).model_version("t1") == old.model_version("t1")
    for other in (
        ('at_20mA = "12 m"', 'at_20mA = "12.1 m"'),
        ('"800 kg/m3"', '"801 kg/m3"'),
        ('reference_height = "13.5 m"', 'reference_height = "13.6 m"'),
        ("API MPMS 11.1-2004", "1980 tables"),
        ('"15 degC"', '"20 degC"'),
    ):
        assert loaded(tmp_path, other).model_version("t1") != old.model_version("t1")
    assert old.model_version("t1") != old.model_version("t2")


def test_the_model_version_sees_the_capacity_table(tmp_path):
    table = tmp_path / "t1.csv"
    text = (SITES / "tables" / "t1.csv").read_text(encoding="utf-8")
    table.write_text(text, encoding="utf-8")
    swap = ((SITES / "tables" / "t1.csv").as_posix(), "t1.csv")
    old = loaded(tmp_path, swap)
    table.write_text(
        text.replace("# Invented", "# Surely invented").replace("100,78.540", "100,78.5400"), encoding="utf-8"
    )
    assert loaded(tmp_path, swap).model_version("t1") == old.model_version("t1")
    table.write_text(text.replace("78.540", "78.541"), encoding="utf-8")
    new = loaded(tmp_path, swap)
    assert new.model_version("t1") != old.model_version("t1")
    assert new.model_version("t2") == old.model_version("t2")


def test_a_site_does_not_change(plain):
    with pytest.raises(TypeError):
        plain.reach_m["t1"] = 1.0  # type: ignore[index]
    with pytest.raises(AttributeError):
        plain.id = "other"  # type: ignore[misc]


def test_unknown_ids_are_key_errors(plain):
    for ask in (plain.tank, plain.product, plain.alarms_of, plain.model_version):
        with pytest.raises(KeyError):
            ask("nowhere")


def test_the_password_comes_from_a_file_or_the_environment(tmp_path):
    spec = MqttSpec("127.0.0.1", 1883, username="u")
    assert read_password(spec, {}) is None
    word = tmp_path / "word"
    word.write_text("s3cret\n", encoding="utf-8")
    assert read_password(replace(spec, password_file=word), {}) == "s3cret"
    assert read_password(replace(spec, password_env="P"), {"P": "s3cret"}) == "s3cret"


def test_a_password_that_is_not_there_is_told_without_showing_anything(tmp_path):
    spec = MqttSpec("127.0.0.1", 1883, username="u")
    empty = tmp_path / "empty"
    empty.touch()
    with pytest.raises(CallError, match="variable P is not set"):
        read_password(replace(spec, password_env="P"), {})
    with pytest.raises(CallError, match="is empty"):
        read_password(replace(spec, password_file=empty), {})
    with pytest.raises(CallError, match="cannot be read"):
        read_password(replace(spec, password_file=tmp_path / "none"), {})
