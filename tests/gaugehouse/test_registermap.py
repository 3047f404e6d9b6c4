"""The register map: what stands where, that a figure which is not known can be mistaken for nothing, and its papers."""

import csv
import io
import ipaddress
import math
import struct
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from gaugehouse.cli import main
from gaugehouse.mapcall import WORDS
from gaugehouse.registermap import (
    REASONS,
    SITE_BITS,
    SITE_FIELDS,
    SITE_SIZE,
    TANK_BITS,
    TANK_CONDITIONS,
    TANK_FIELDS,
    TANK_FIRST,
    TANK_SIZE,
    Now,
    RegisterMap,
    packed_words,
    site_bits,
    tank_bits,
)
from gaugehouse.sitefile.registersfacts import LARGEST, MOST_TANKS, RegisterServerSpec
from models.reading import Reason
from tests.gaugehouse.sites import LOOP_SITE, write_site

FIGURES = (
    "level_m", "tov_m3", "gov_m3", "gsv_m3", "gsv_u95_m3", "mass_kg", "volume_percent", "level_percent",
    "temperature_degC", "water_m", "ullage_m", "rate_m3_per_h",
)  # fmt: skip


def spec(**changes: Any) -> RegisterServerSpec:
    sound = RegisterServerSpec(
        "127.0.0.1", 1502, 1, (ipaddress.ip_network("127.0.0.1"),), ("north", "south"), True, math.nan
    )
    return RegisterServerSpec(**{name: getattr(sound, name) for name in sound.__slots__} | changes)


def tank(**changes: Any) -> dict[str, Any]:
    sound: dict[str, Any] = dict.fromkeys(FIGURES, 1.5) | {
        "tank": "north", "quality": "Good", "reason": "", "bound": "", "stock_quality": "Good", "torn": None,
        "flow": "filling", "current_mA": 12.0, "alarms": [], "time": "2026-01-31T08:00:00.000Z",
    }  # fmt: skip
    return sound | changes


def live(*alarms: dict[str, Any]) -> dict[str, Any]:
    return {"seq": 7, "alarms": list(alarms), "loops": [{"check": None}], "time": "2026-01-31T08:00:00.000Z"}


def alarm(condition: str, state: str, source: str = "north", priority: int = 2, active: bool = True) -> dict[str, Any]:
    return {
        "id": f"{source}.{condition}", "source": source, "condition": condition, "state": state, "active": active,
        "priority": priority,
    }  # fmt: skip


def read(words: list[int], name: str, *, high_first: bool = True) -> float:
    """A field out of a block, by the form that the map gives it, with nothing of the code that wrote it."""
    field = next(field for field in TANK_FIELDS if field.name == name)
    taken = words[field.at : field.at + WORDS[field.form]]
    raw = struct.pack(f">{len(taken)}H", *(taken if high_first else reversed(taken)))
    forms = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i", "float32": ">f"}
    return float(struct.unpack(forms[field.form], raw)[0])


def test_no_register_has_two_meanings_and_every_block_holds_its_own() -> None:
    for fields, size in ((SITE_FIELDS, SITE_SIZE), (TANK_FIELDS, TANK_SIZE)):
        places = [field.at + k for field in fields for k in range(WORDS[field.form])]
        assert len(places) == len(set(places))
        assert max(places) < size
    assert len(TANK_BITS) == 16
    assert len(SITE_BITS) <= 16
    assert set(REASONS) == set(Reason)
    assert len(set(REASONS.values())) == len(REASONS)


@given(st.booleans(), st.lists(st.floats(-1e5, 1e6), min_size=len(FIGURES), max_size=len(FIGURES)))
def test_a_good_reading_is_read_back_within_a_float32(high_first: bool, figures: list[float]) -> None:
    given_tank = tank(**dict(zip(FIGURES, figures, strict=True)))
    words = RegisterMap(spec(high_first=high_first)).tank_words(Now(live(), given_tank, 3.9, False, False))
    for name, figure in zip(FIGURES, figures, strict=True):
        assert read(words, name, high_first=high_first) == pytest.approx(figure, rel=2**-23, abs=1e-30)
    assert read(words, "quality") == 2 + (2 << 4)
    assert read(words, "age") == 3
    assert read(words, "flow") == 2
    assert read(words, "tov_L", high_first=high_first) == round(figures[1] * 1000)


@pytest.mark.parametrize(
    ("age_s", "stale", "quality"), [(None, True, "Good"), (90.0, True, "Good"), (0.5, False, "Bad")]
)
@pytest.mark.parametrize("bad", [math.nan, -9_999_999.0])
def test_a_reading_that_is_bad_or_old_or_missing_has_no_figure(
    age_s: float | None, stale: bool, quality: str, bad: float
) -> None:
    words = RegisterMap(spec(bad_value=bad)).tank_words(Now(live(), tank(quality=quality), age_s, stale, False))
    for name in FIGURES:
        assert read(words, name) == pytest.approx(bad, nan_ok=True)
    assert read(words, "level_mm") == read(words, "tov_L") == -(2**31)
    assert read(words, "temperature_dC") == -32768
    assert int(read(words, "quality")) & 3 == 0
    assert read(words, "age") == (65535 if age_s is None else int(age_s))


def test_an_old_reading_of_a_simulated_farm_still_says_simulated() -> None:
    words = RegisterMap(spec()).tank_words(Now(live(), tank(), 90.0, True, True))
    assert read(words, "quality") == 4 + 128


def test_the_last_tank_that_is_allowed_has_addresses_of_16_bits() -> None:
    most = RegisterMap(spec(tanks=tuple(str(n) for n in range(MOST_TANKS))))
    assert most.end <= 65536 < most.end + TANK_SIZE
    assert most.bit_end <= 65536


def test_a_memory_that_was_never_written_reads_as_bad() -> None:
    assert read([0] * TANK_SIZE, "quality") == 0


@given(st.sampled_from(["float32", "int32", "int16"]), st.floats() | st.none())
def test_what_fits_no_form_becomes_its_mark_and_never_another_number(form: str, value: float | None) -> None:
    words = packed_words(form, value, math.nan)
    layout = {"float32": ">f", "int32": ">i", "int16": ">h"}[form]
    back = struct.unpack(layout, struct.pack(f">{len(words)}H", *words))[0]
    mark = {"float32": math.nan, "int32": -(2**31), "int16": -(2**15)}[form]
    fits = value is not None and math.isfinite(value)
    if fits and value is not None:
        fits = abs(value) <= LARGEST if form == "float32" else abs(round(value)) < -mark
    wanted = (round(value) if form != "float32" else value) if fits and value is not None else mark
    assert back == pytest.approx(wanted, rel=2**-23, abs=1.5e-45, nan_ok=True)


def test_bits_of_a_tank_follow_its_alarms_and_show_what_is_hidden() -> None:
    stands = live(
        alarm("high_high", "acknowledged"),
        alarm("high", "unacknowledged"),
        alarm("signal_low", "acknowledged", source="LI-1"),
        alarm("low", "shelved"),
        alarm("critical_high", "unacknowledged", source="south", priority=1),
        alarm("rise_fast", "returned_unacknowledged", active=False),
    )
    mine = tank(alarms=[a["id"] for a in stands["alarms"] if a["source"] != "south"])
    word = tank_bits(stands, mine)
    names = {TANK_CONDITIONS.index("high_high"), TANK_CONDITIONS.index("high"), 12, 13, 14, 15}
    assert {bit for bit in range(16) if word >> bit & 1} == names
    assert tank_bits(stands, tank()) == 0
    site = site_bits(stands, 1.0, simulated=True)
    assert {bit for bit in range(16) if site >> bit & 1} == {0, 1, 2, 3, 4, 6, 9}
    assert site_bits(live(), 31.0, simulated=False) == 256


def test_another_order_of_tanks_is_another_map() -> None:
    one, other = (RegisterMap(spec(tanks=tanks)) for tanks in (("north", "south"), ("south", "north")))
    assert one.fingerprint != other.fingerprint
    assert (one.first_of("south"), other.first_of("south")) == (TANK_FIRST + TANK_SIZE, TANK_FIRST)


SERVED = LOOP_SITE + '\n[register_server]\nallow = ["10.1.2.0/24", "127.0.0.1"]\n'


def test_the_map_is_printed_as_text_csv_and_paper_and_bears_what_it_is_not_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = str(write_site(tmp_path, SERVED))
    assert main(["check", site, "--map"]) == 0
    text = capsys.readouterr().out
    assert "not for interlocks, trips or custody transfer" in text
    assert "10.1.2.0/24" in text
    assert main(["check", site, "--map", "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert "not for interlocks, trips or custody transfer" in rows[0]["meaning"]
    level = next(row for row in rows if row["tank"] == "palm" and row["name"] == "level_m")
    assert (level["address"], level["words"], level["type"]) == ("104", "2", "float32")
    paper = tmp_path / "map.pdf"
    assert main(["check", site, "--map", "--pdf", str(paper)]) == 0
    pages = " ".join(page.extract_text() for page in PdfReader(paper).pages)
    assert "Not for interlocks, trips or custody transfer" in pages
    assert "palm" in pages


def test_a_site_without_the_server_has_no_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(write_site(tmp_path)), "--map"]) == 2
    assert "[register_server]" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('allow = ["10.1.2.3/24"]', 'write "10.1.2.0/24" for the network'),
        ('allow = ["control room"]', "no address and no network"),
        ("allow = []", "nobody may ask"),
        ('bad_value = "0"', "could be taken for a level"),
        ('bad_value = "none"', "no such value"),
        ('bad_value = "1e39"', "no such value"),
        ('tanks = ["plam"]', 'did you mean "palm"?'),
        ('bad_value = "500000"', "could be taken for"),  # a mass in kg
        ('tanks = ["palm", "palm"]', "stands there twice"),
        ("tanks = []", "0 tanks have no place in the map"),
        ('port = 8600\nhost = "0.0.0.0"', "the console listens on port 8600 already"),
        ("unit = 300", "allowed is 1 to 247"),
        ('word_order = "low"', '"low first"'),
    ],
)
def test_a_mistake_is_told_with_its_mend(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], keys: str, words: str
) -> None:
    site = str(write_site(tmp_path, LOOP_SITE + f"\n[register_server]\n{keys}\n"))
    assert main(["check", site]) == 2
    said = capsys.readouterr().out
    assert "register_server." in said
    assert words in said


def test_what_is_unwise_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = str(write_site(tmp_path, LOOP_SITE + '\n[register_server]\nallow = ["0.0.0.0/0"]\n'))
    assert main(["check", site]) == 0
    said = capsys.readouterr().out
    assert "everybody may read the figures" in said
    assert "listens on 127.0.0.1 only" in said
