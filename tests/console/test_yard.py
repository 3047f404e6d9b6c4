"""The yard display as the server makes it: sizes by the published rule, contrast, what a card says and what not."""

import csv
import re
from pathlib import Path

import httpx
import pytest

from console import yard, yard_views
from console.assets import FOLDER
from console.model import Model
from tests.console.fake import FakeFacts
from tests.console.test_light import contrast

DATA = Path(__file__).parents[1] / "data" / "console" / "character_height.csv"
CSS = (FOLDER / "yard.css").read_text()


def colours(selector: str) -> dict[str, str]:
    block = re.search(re.escape(selector) + r" \{(.*?)\}", CSS, re.S)
    assert block
    return dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", block.group(1)))


@pytest.mark.parametrize(
    "row", list(csv.DictReader(DATA.read_text().splitlines())), ids=lambda row: f"{row['distance_m']} m"
)
def test_a_characters_height_follows_the_rule(row: dict[str, str]) -> None:
    height_mm = 1000 * yard.character_height_m(float(row["distance_m"]), float(row["arc_min"]))
    assert height_mm == pytest.approx(float(row["height_mm"]), rel=float(row["rel_tol"]))
    back = yard.arc_of_min(float(row["height_mm"]) / 1000, float(row["distance_m"]))
    assert back == pytest.approx(float(row["arc_min"]), rel=2 * float(row["rel_tol"]))


def test_the_usual_figure_is_larger_than_the_other_rules_ask() -> None:
    """Reading distance: 155 to 175 times the height (ISO 9241-3, as others quote it; the standard was not read)."""
    usual = yard.YardSetting()
    assert usual.distance_m * 1000 / usual.digit_mm < 155
    assert yard.arc_of_min(1 / 155, 1) == pytest.approx(22, abs=0.5)
    assert yard.arc_of_min(1 / 175, 1) == pytest.approx(20, abs=0.5)
    assert usual.text_mm > 1000 * yard.character_height_m(usual.distance_m, yard.LEAST_ARC_MIN)


@pytest.mark.parametrize("selector", [":root", '[data-light="night"]'])
def test_contrast_is_at_least_fifteen_by_day_and_by_night(selector: str) -> None:
    mode = colours(":root") | colours(selector)
    assert contrast(mode["ink"], mode["ground"]) >= 15


def test_the_style_knows_no_other_colour() -> None:
    assert set(re.findall(r"#[0-9a-f]{3,8}\b", CSS)) == {"#000000", "#ffffff", "#e4e4e4"}
    assert not re.findall(r"(?:rgb|hsl)a?\(|opacity", CSS)


def cards(facts: FakeFacts) -> dict[str, dict[str, str]]:
    shown: dict[str, dict[str, str]] = yard_views.message(Model(facts), facts.live())["tanks"]
    return shown


def test_a_card_says_figure_way_and_what_still_fits(facts: FakeFacts) -> None:
    card = cards(facts)["ostler-s"]
    assert card["percent"] == "54"  # 6.42 m of 12 m
    assert re.fullmatch("6\u202f4[0-9]{2}", card["level"])
    assert card["flow"] == "still"
    assert re.fullmatch("fits [\\d\u202f]+\u00a0L", card["fits"])
    assert cards(facts)["ostler-n"]["flow"] == "IN"
    assert cards(facts)["quillmoor"]["flow"] == "OUT"
    assert cards(facts)["quillmoor"]["percent"].startswith("≈ ")
    assert cards(facts)["harrowmead"]["percent"] == "≥ 100"
    assert cards(facts)["harrowmead"]["fits"] == "NOTHING FITS"


@pytest.mark.parametrize("tank", ["fennock", "pipit"])
def test_a_lost_or_old_reading_is_not_shown_at_all(facts: FakeFacts, tank: str) -> None:
    card = cards(facts)[tank]
    assert card["data"] == ""
    assert [card[name] for name in ("percent", "level", "volume", "flow")] == ["– –"] * 4
    assert card["fits"] == ""


def test_the_most_urgent_standing_alarm_is_named_with_the_first_words_of_its_action(facts: FakeFacts) -> None:
    card = cards(facts)["harrowmead"]
    assert (card["alarm"], card["pin"]) == ("High-high level", "1")
    assert card["action"] == "Stop the receipt at the loading valve"
    low = cards(facts)["fennock"]
    assert (low["alarm"], low["pin"]) == ("Level signal failed low", "")
    for name, change in (
        ("high_high", {"state": "shelved"}),
        ("critical_high", {"state": "returned_unacknowledged", "returned": "2026-11-25T11:59:00.000Z"}),
    ):
        facts.standing[f"harrowmead.{name}"].update(change)
    assert cards(facts)["harrowmead"]["alarm"] == ""


def test_an_acknowledged_alarm_stays_pinned_and_a_latched_one_too(facts: FakeFacts) -> None:
    alarm = facts.standing["harrowmead.high_high"]
    facts.standing["harrowmead.critical_high"]["state"] = "normal"
    alarm["state"] = "acknowledged"
    assert cards(facts)["harrowmead"]["pin"] == "1"
    alarm.update(state="latched_acknowledged", returned="2026-11-25T11:59:00.000Z")
    assert cards(facts)["harrowmead"]["pin"] == "1"


@pytest.mark.parametrize(
    ("action", "first"),
    [
        ("Stop the receipt at the loading valve, then dip the tank.", "Stop the receipt at the loading valve"),
        ("Stop receipt. Call the shift leader.", "Stop receipt"),
        ("Close valve 3.2 then phone", "Close valve 3.2"),
        ("Stop", "Stop"),
        ("", ""),
    ],
)
def test_an_action_is_cut_where_its_first_instruction_ends(action: str, first: str) -> None:
    assert yard_views.first_words(action) == first


def test_an_urgent_alarm_of_no_tank_has_a_card_of_its_own(facts: FakeFacts) -> None:
    alarm = facts.raise_alarm(facts.tanks[1], "low", facts.now_ms)
    facts.standing["west.bus_down"] = alarm | {
        "id": "west.bus_down", "source": "west", "tank": None, "priority": 1, "name": "Line down",
    }  # fmt: skip
    site = yard_views.message(Model(facts), facts.live())["site"]
    assert (site["place"], site["alarm"], site["pin"]) == ("west", "Line down", "1")


async def test_first_values_and_later_messages_are_the_same(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    text = (await client.get("/yard?show=volume&light=night")).text
    message = yard_views.message(Model(facts), facts.live())
    found = re.findall(r'data-text="([^"]+)"[^>]*>([^<]*)<', text)
    assert len(found) > 6 * 5
    for where, shown in found:
        value = message
        for key in where.split("/"):
            value = value[key]
        assert shown == value, where
    assert "not a shutdown system" in text
    assert 'data-light="night"' in text
    assert "SIMULATED" in text


async def test_the_address_sets_sizes_and_tanks(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/yard?dist=20&arc=20&screen=75&tank=pipit&tank=ostler-n&night=19:00-06:30&turn=5")).text
    assert float(re.findall(r'data-digit-mm="([^"]+)"', text)[0]) == pytest.approx(116.4, abs=0.1)  # 2 * 58.2 mm
    assert 'data-screen-inch="75.0"' in text
    assert 'data-night="1140-390"' in text
    assert re.findall(r'id="card-([^"]+)"', text) == ["ostler-n", "pipit"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("dist=0", "dist"),
        ("dist=nan", "dist"),
        ("arc=12", "arc"),
        ("screen=wide", "screen"),
        ("show=mass", "show"),
        ("light=day", "light"),
        ("night=19-6", "night"),
        ("night=06:00-06:00", "has no length"),
        ("turn=1", "turn"),
        ("tank=nowhere", "no tank nowhere"),
    ],
)
async def test_an_address_that_cannot_be_shown_is_refused_with_the_word(
    looker: httpx.AsyncClient, query: str, said: str
) -> None:
    answer = await looker.get(f"/yard?{query}")
    assert answer.status_code in (404, 422)
    assert said in answer.text
