"""US customary units and number formats by a person's choice: exact factors, on every page, and never in the JSON."""

import csv
import re
from pathlib import Path

import httpx
import pint
import pytest

from console.chosen import Choice, Feeds, choice_of, chosen
from console.figures import number, trimmed, with_unit, written
from console.model import Model
from console.units import BY_UNIT, FEET_UNIT, SHOWN, US, for_script, in_units, shown, unit
from gaugehouse.sitefile import quantities
from tests.console.fake import FakeFacts

UREG: pint.UnitRegistry[float] = pint.UnitRegistry()
SI = {
    "m3": "m**3", "m": "m", "kg": "kg", "degC": "degC", "m3_per_h": "m**3/hour", "kgpm3": "kg/m**3",
    "m_per_m": "m/m", "m_per_day": "m",
}  # fmt: skip
PINT = {
    "US gal": "gallon", "in": "inch", FEET_UNIT: "inch", "lb": "pound", "°F": "degF", "gal/min": "gallon/minute",
    "gal/h": "gallon/hour", "US fl oz": "fluid_ounce", "lb/gal": "pound/gallon",
}  # fmt: skip
FACTORS = list(csv.DictReader((Path(__file__).parents[1] / "data/units/us_factors.csv").read_text().splitlines()))
PAGES = (
    "/", "/tank/ostler-n", "/tank/fennock", "/alarms", "/stock", "/receipts", "/documents", "/dips", "/dips/ostler-n",
    "/leak", "/status", "/water", "/due", "/forecast", "/loops", "/buses", "/trends", "/settings",
)  # fmt: skip


def si_of(name: str) -> str:
    return max((end for end in SI if name.endswith(f"_{end}")), key=len)


@pytest.mark.parametrize("column", sorted(US))
def test_each_factor_is_that_of_pint(column: str) -> None:
    """Apart from offsets of a scale, which a difference has not; a slope is a length a length."""
    one = US[column]
    if column == "span_m_per_m":
        assert 12.5 * one.factor == pytest.approx(UREG.Quantity(12.5, "m/m").to("inch/foot").magnitude, rel=1e-12)
        return
    si, us = SI[si_of(column)], PINT[one.unit]
    if column == "apart_degC":
        si, us = "delta_degC", "delta_degF"
    given = UREG.Quantity(12.5, si).to(us).magnitude
    assert 12.5 * one.factor + one.offset == pytest.approx(given, rel=1e-12)


@pytest.mark.parametrize(
    ("column", "si", "us"), [("tov_m3", "m3", "gal"), ("level_m", "m", "in"), ("density_kgpm3", "kg/m3", "lb/gal")]
)
def test_each_factor_is_that_of_the_site_file(column: str, si: str, us: str) -> None:
    assert quantities.linear(si, us)[0] == pytest.approx(US[column].factor, rel=1e-11)


@pytest.mark.parametrize("row", FACTORS, ids=lambda row: row["unit"])
def test_one_of_each_unit_is_what_the_table_prints(row: dict[str, str]) -> None:
    """Source: beside each row. A gallon per minute is shown of m3/h, a foot as twelve of the shown inches."""
    found = {
        "US gal": ("tov_m3", 1.0, 1.0), "in": ("level_m", 1.0, 1.0), "ft": ("level_m", 1.0, 12.0),
        "lb": ("mass_kg", 1.0, 1.0), "gal/min": ("rate_m3_per_h", 3600.0, 1.0), "US fl oz": ("drop_m3", 1.0, 1.0),
        "lb/gal": ("density_kgpm3", 1.0, 1.0),
    }  # fmt: skip
    column, times, count = found[row["unit"]]
    assert float(row["si"]) * times * US[column].factor == pytest.approx(count, rel=5e-7)  # half of the seventh figure


def test_the_fixed_points_of_the_fahrenheit_scale() -> None:
    """Source: its definition: 32 °F and 212 °F at 0 °C and 100 °C; both scales meet at -40."""
    with in_units("us"):
        said = [with_unit("temperature_degC", value).replace("\N{NO-BREAK SPACE}", " ") for value in (0, 100, -40)]
    assert said == ["32.0 °F", "212.0 °F", f"{number(-40, 1)} °F"]


def test_a_level_reads_as_the_tape_of_the_worked_example() -> None:
    """Source: US Army QM5097, p. 51: tape 6 ft 3 5/8 in, water 1 1/8 in (its volumes are of its own tank)."""
    with in_units("us"):
        assert written("level_m", (6 * 12 + 3 + 5 / 8) * 0.0254) == "6-03-10"
        assert with_unit("level_m", (6 * 12 + 3 + 5 / 8) * 0.0254).replace("\N{NO-BREAK SPACE}", " ") == (
            "6 ft 3 10/16 in"
        )
        assert written("water_m", 1.125 * 0.0254) == "0-01-02"


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (0, "0-00-00"),
        (11.99, "1-00-00"),
        (11.96, "0-11-15"),
        (0.03125, "0-00-01"),
        (0.031, "0-00-00"),
        (480, "40-00-00"),
    ],
)
def test_sixteenths_carry_into_inches_and_feet(inches: float, text: str) -> None:
    """Computed: the nearest sixteenth, up from its middle."""
    with in_units("us"):
        assert written("level_m", inches * 0.0254) == text


def test_only_inside_and_only_where_they_differ() -> None:
    with in_units("us"):
        assert (unit("tov_m3"), unit("current_mA"), unit("volume_percent")) == ("US gal", "mA", "%")
        with in_units("cubits"):
            assert unit("tov_m3") == "L"
        assert written("tov_m3", 3.785411784) == number(1000, 0)
    assert all(shown(column) is SHOWN[column] for column in SHOWN)


def test_what_a_choice_may_be() -> None:
    assert choice_of({"units": "us", "numbers": "comma"}) == Choice("us", "comma")
    assert choice_of({"units": "furlong", "numbers": "roman"}) == Choice()
    assert Choice().query == ""
    assert Choice("us", "decimal-comma").query == "units=us&numbers=decimal-comma"


@pytest.mark.parametrize(
    ("numbers", "text"),
    [("space", "1\u202f234\u202f567.8"), ("comma", "1,234,567.8"), ("decimal-comma", "1\u202f234\u202f567,8")],
)
def test_the_three_formats(numbers: str, text: str) -> None:
    with chosen(Choice("metric", numbers)):
        assert number(1234567.84, 1) == text
        assert number(-0.04, 1) == text[-2:].replace(text[-1], "0").rjust(3, "0")
        assert trimmed("paper_m3", 2.0) == {"comma": "2,000"}.get(numbers, "2\u202f000")


@pytest.mark.parametrize("path", PAGES)
async def test_a_page_in_us_units_names_no_metric_unit(looker: httpx.AsyncClient, path: str) -> None:
    answer = await looker.get(path, headers={"cookie": "units=us; numbers=decimal-comma"})
    metric = (await looker.get(path)).text
    us = answer.text
    assert answer.status_code == 200
    assert 'data-units="metric" data-numbers="space" data-feed="/feed"' in metric
    assert 'data-units="us" data-numbers="decimal-comma"' in us
    assert 'data-feed="/feed?units=us&amp;numbers=decimal-comma"' in us
    assert "<i>US gal</i>" not in metric
    units = set(re.findall(r"<i[^>]*>(.*?)</i>", re.sub(r"<script\b.*?</script>", "", us, flags=re.S)))
    assert not units & {"L", "mm", "°C", "L/min", "kg", "kg/m³", "L/h", "m³", "mL"}


@pytest.mark.parametrize("path", ["/", "/tank/ostler-n"])
async def test_no_sentence_of_the_live_pages_is_left_in_metric_units(looker: httpx.AsyncClient, path: str) -> None:
    us = (await looker.get(path, headers={"cookie": "units=us"})).text
    assert {"US gal", FEET_UNIT, "°F", "gal/min"} <= set(re.findall(r"<i>(.*?)</i>", us))
    assert not re.findall(r"\d\s(?:L|mm|°C|kg)\b", us), "a figure of a sentence was left in metric units"


async def test_every_page_names_the_sites_zone(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    for path in PAGES:
        assert f"Times are those of {facts.site.zone}." in (await client.get(path)).text, path


async def test_the_reference_temperature_stays_as_it_is(looker: httpx.AsyncClient) -> None:
    """A choice of units turns no 15 °C into 60 °F: the volume would be another one."""
    page = (await looker.get("/stock", headers={"cookie": "units=us"})).text
    assert "US gal at 15 °C" in page
    assert "60 °F" not in page


async def test_a_report_is_read_by_choice_and_its_files_are_the_sites(looker: httpx.AsyncClient) -> None:
    choice = {"cookie": "units=us; numbers=comma"}
    page = (await looker.get("/reports/stock", headers=choice)).text
    assert "[US gal]" in page
    assert not re.findall(r"\[(?:m³|m|mm|°C|kg|kg/m³)\]", page)
    assert "The site's own paper is the PDF" in page
    assert "[m³]" in (await looker.get("/reports/stock")).text
    for ending in ("csv", "json"):
        address = f"/api/reports/stock.{ending}" if ending == "csv" else "/api/reports/stock"
        assert (await looker.get(address, headers=choice)).text == (await looker.get(address)).text


@pytest.mark.parametrize("unit_", sorted(BY_UNIT))
def test_each_unit_of_a_report_is_that_of_pint(unit_: str) -> None:
    one = BY_UNIT[unit_]
    us = {"in/ft": "inch/foot", "in": "inch"}.get(one.unit) or PINT[one.unit]
    si = unit_.replace("m³/h", "m**3/hour").replace("m³", "m**3").replace("°C", "degC")
    assert 12.5 * one.factor + one.offset == pytest.approx(UREG.Quantity(12.5, si).to(us).magnitude, rel=1e-12)


async def test_the_json_stays_as_it_is(looker: httpx.AsyncClient) -> None:
    choice = {"cookie": "units=us; numbers=decimal-comma"}
    for path in ("/api/tanks", "/api/stock", "/api/receipts", "/api/dips", "/api/documents"):
        assert (await looker.get(path, headers=choice)).text == (await looker.get(path)).text, path


async def test_the_feed_says_what_the_page_was_served_with(facts: FakeFacts) -> None:
    model, live = Model(facts), facts.live()
    feeds = Feeds(facts, "1", model.parts)
    tank = live["tanks"][0]
    texts = set()
    for choice in (Choice(), Choice("us"), Choice("us", "comma"), Choice("metric", "decimal-comma")):
        with chosen(choice):
            wanted = written("tov_m3", tank["tov_m3"]), written("temperature_degC", tank["temperature_degC"])
        told = await feeds.of(choice).text(live)
        assert all(one in told for one in wanted)
        texts.add(told)
    assert len(texts) == 4
    assert feeds.of(Choice("us")) is feeds.of(Choice("us"))


def test_a_script_is_told_the_shown_and_the_si_way() -> None:
    with in_units("us"):
        told = for_script("dip_m")["dip_m"]
    assert (told["shown"]["form"], told["si"]["unit"], told["si"]["factor"]) == ("feet", "mm", 1000)
