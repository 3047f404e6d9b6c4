"""US customary units by a person's choice: exact factors, on pages that name every unit, and never in the JSON."""

import re

import httpx
import pint
import pytest

from console.figures import SHOWN, US, in_units, number, shown, unit, with_unit, written
from tests.console.fake import FakeFacts

UREG = pint.UnitRegistry()
SI = {"m3": "m**3", "m": "m", "kg": "kg", "degC": "degC", "h": "m**3/hour"}
PINT = {"US gal": "gallon", "in": "inch", "lb": "pound", "°F": "degF", "gal/min": "gallon/minute"}


@pytest.mark.parametrize("column", sorted(US))
def test_each_factor_is_that_of_pint(column: str) -> None:
    given = UREG.Quantity(12.5, SI[column.rpartition("_")[2]]).to(PINT[US[column].unit]).magnitude
    assert 12.5 * US[column].factor + US[column].offset == pytest.approx(given, rel=1e-12)


@pytest.mark.parametrize(
    ("column", "si"),
    [("tov_m3", 3.785412e-3), ("level_m", 2.54e-2), ("mass_kg", 4.535924e-1), ("rate_m3_per_h", 6.309020e-5 * 3600)],
)
def test_one_of_each_unit_is_what_the_table_prints(column: str, si: float) -> None:
    """Source: NIST SP 811 (2008), B.8: gallon, inch, pound, gallon per minute, seven figures (from memory)."""
    assert si * US[column].factor == pytest.approx(1.0, rel=2e-7)


def test_the_fixed_points_of_the_fahrenheit_scale() -> None:
    """Source: its definition: 32 °F and 212 °F at 0 °C and 100 °C; both scales meet at -40."""
    with in_units("us"):
        said = [with_unit("temperature_degC", value).replace("\N{NO-BREAK SPACE}", " ") for value in (0, 100, -40)]
    assert said == ["32.0 °F", "212.0 °F", f"{number(-40, 1)} °F"]


def test_only_inside_and_only_where_they_differ() -> None:
    with in_units("us"):
        assert (unit("tov_m3"), unit("current_mA"), unit("volume_percent")) == ("US gal", "mA", "%")
        with in_units("cubits"):
            assert unit("tov_m3") == "L"
        assert written("tov_m3", 3.785411784) == number(1000, 0)
    assert all(shown(column) is SHOWN[column] for column in SHOWN)


@pytest.mark.parametrize("path", ["/", "/tank/ostler-n", "/tank/fennock"])
async def test_a_page_in_us_units_names_no_litre_and_its_feed_follows(client: httpx.AsyncClient, path: str) -> None:
    metric, us = (await client.get(path)).text, (await client.get(path, headers={"cookie": "units=us"})).text
    assert 'data-units="metric"' in metric
    assert "US gal" not in metric
    assert 'data-units="us"' in us
    heads = re.findall(r"<(?:th|dt)\b.*?</(?:th|dt)>", us, re.S)
    units = {found for head in heads if "Newest dip" not in head for found in re.findall(r"<i>(.*?)</i>", head)}
    assert {"US gal", "in", "°F", "gal/min"} <= units
    assert not units & {"L", "mm", "°C", "L/min", "kg"}
    assert not re.findall(r"\d\s(?:L|mm|°C|kg)\b", us), "a figure of a sentence was left in metric units"


async def test_other_pages_and_the_json_stay_metric(client: httpx.AsyncClient) -> None:
    choice = {"cookie": "units=us"}
    for path in ("/stock", "/receipts", "/loops", "/documents", "/dips", "/leak", "/status", "/water", "/due"):
        assert 'data-units="metric"' in (await client.get(path, headers=choice)).text
    assert (await client.get("/api/tanks", headers=choice)).json() == (await client.get("/api/tanks")).json()


def test_the_feed_says_what_the_page_was_served_with(facts: FakeFacts) -> None:
    from console.model import Model

    model, live = Model(facts), facts.live()
    tank = live["tanks"][0]
    with in_units("us"):
        wanted = written("tov_m3", tank["tov_m3"])
    assert wanted in model.message_us(live)["tanks"][tank["tank"]]["tov_m3"]["t"]
    assert wanted not in model.message(live)["tanks"][tank["tank"]]["tov_m3"]["t"]
