"""The settings page: what the daemon runs, with units, without secrets, and what the last start found changed."""

import httpx
import pytest

from console import settings_views
from tests.console.fake import FakeFacts


async def test_the_page_shows_settings_with_their_units_and_no_secret(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/settings")).text
    for piece in ("Marrowfield airfield", "06:00", "1\u00a0s", "10\u202f800\u00a0mm", "4\u00a0mm", "marrowfield.toml",
                  "no certificate", "token.txt", "https://***@hooks.example/***"):  # fmt: skip
        assert piece in text, piece
    for secret in ("sesame", "abcdef", "ada:"):
        assert secret not in text


async def test_the_last_start_tells_what_changed_and_no_earlier_one(looker: httpx.AsyncClient) -> None:
    text = (await looker.get("/settings")).text
    first, second = (text.index(piece) for piece in ("10.9 -&gt; 10.8", "added, https://h.example/***"))
    assert first < second
    assert "of old" not in text


async def test_without_a_record_book_the_rest_is_shown(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    answer = await client.get("/settings")
    assert answer.status_code == 200
    assert "cannot be read now" in answer.text
    assert (await client.get("/api/settings")).status_code == 503


async def test_a_first_start_has_nothing_to_compare_with(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.starts = [row for row in facts.starts if row["kind"] == "started"]
    assert "Nothing, 12:00:00" in (await client.get("/settings")).text
    facts.starts = []
    assert "no start yet" in (await client.get("/settings")).text
    assert (await client.get("/api/settings")).json()["changes"] == []


async def test_the_twin_has_the_same_in_si_and_without_secrets(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/api/settings")
    told = answer.json()
    assert told["settings"]["tank[ostler-n].limits.high.at_m"] == 10.8
    assert told["settings"]["notify[phone].url"] == "https://***@hooks.example/***"
    assert told["started"] == "2026-11-25T12:00:00.000Z"
    assert told["changes"][0] == "tank[ostler-n].limits.high.at_m: 10.9 -> 10.8"
    assert "sesame" not in answer.text


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("tank[a].limits.high.at_m", 10.8, "10\u202f800\u00a0mm"),
        ("bus[a].timeout_ms", 250, "250\u00a0ms"),
        ("alarms.longest_shelf_ms", 28_800_000, "8\u00a0h"),
        ("x.flow_m3_per_s", 0.02, "1\u202f200\u00a0L/min"),
        ("product[a].density_kgpm3", 800.5, "800.5\u00a0kg/m³"),
        ("site.altitude_m", None, "not set"),
        ("mqtt.tls", False, "no"),
        ("stock.dips.ratio", -0.5, "−0.5"),
        ("site.name", "", "empty"),
    ],
)
def test_a_value_has_the_unit_that_its_key_names(key: str, value: object, text: str) -> None:
    assert settings_views.shown(key, value) == text


@pytest.mark.parametrize("key", ["mqtt.password", "store.server[a].token", "notify[b].services"])
def test_what_could_open_a_door_is_hidden_even_where_it_should_not_be(key: str) -> None:
    assert settings_views.safe({key: "hunter2"}) == {key: "***"}


@pytest.mark.parametrize("key", ["mqtt.password_file", "store.server[a].token_env"])
def test_where_a_secret_is_kept_is_told(key: str) -> None:
    assert settings_views.safe({key: "PLACE"}) == {key: "PLACE"}
