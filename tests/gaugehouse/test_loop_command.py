"""`gaugehouse loop budget`: by options, from a site file, as text and as JSON."""

import json
import re
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.loopcall import BY_HAND
from tests.gaugehouse.sites import LOOP_SITE

DOC = (Path(__file__).parents[2] / "docs" / "loops.md").read_text(encoding="utf-8")

POWER = """
[instrument.loop]
supply = "psu"
liftoff = "12 V"
liftoff_low = "13 V"
burden = "250 ohm"
area = "0.75 mm2"
length = "300 m"
cable_temperature = "60 degC"

[[supply]]
id = "psu"
volts = "24 V"
limit = "60 mA"
load = [{ name = "heater", current = "20 mA", inrush = "30 mA" }]
"""


@pytest.fixture
def site(tmp_path):
    text = LOOP_SITE.format(port=1502, period="1 s").replace("\n[[product]]", f"{POWER}\n[[product]]", 1)
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def budget(*words: str) -> int:
    return main(["loop", "budget", *words])


HAND = ("--supply", "24 V", "--liftoff", "12 V", "--liftoff-low", "12 V", "--highest", "25 mA")


@pytest.mark.parametrize(
    ("words", "status", "percent"),
    [  # common practice, no source
        (("--limit", "200 mA", "--load", "heater", "100 mA", "100 mA"), 0, 62.5),
        (("--limit", "40 mA"), 0, 62.5),
        (("--limit", "40 mA", "--loops", "2"), 1, 125.0),
    ],
)
def test_the_supplies_of_common_practice(capsys, words, status, percent):
    assert budget(*HAND, *words, "--json") == status
    found = json.loads(capsys.readouterr().out)
    assert found["fits"] is (status == 0)
    assert [supply["load_percent"] for supply in found["supplies"]] == [percent]


def test_the_text_tells_the_figures_and_the_change(capsys):
    assert budget("--supply", "24 V", "--limit", "200 mA", "--liftoff", "12 V", "--awg", "22", "--length", "3000 ft",
                  "--burden", "500 ohm") == 1  # fmt: skip
    out = capsys.readouterr().out
    # The seventh row of tests/data/signal/loop_power.csv.
    assert "loop: 596.8 ohm (cable 96.8, burdens 500); 545 ohm at the most" in out
    assert "current ceiling 20.1 mA (volts 20.1 mA, supply 200.0 mA); fail-high cannot be signalled" in out
    assert "lay AWG 18 instead of AWG 22" in out
    assert "licensed practice" in out


def test_an_output_on_a_second_supply_is_reckoned_there(capsys):
    words = ("--limit", "40 mA", "--output-liftoff", "9 V", "--output-burden", "250 ohm", "--second-supply", "24 V",
             "--second-limit", "50 mA", "--second-load", "pump", "10 mA", "12 mA", "--json")  # fmt: skip
    assert budget(*HAND, *words) == 1
    on_first = json.loads(capsys.readouterr().out)["supplies"][0]
    assert [circuit["circuit"] for circuit in on_first["circuits"]] == ["loop", "loop output"]
    assert budget(*HAND, *words, "--output-on", "second") == 0
    supplies = json.loads(capsys.readouterr().out)["supplies"]
    assert [(s["supply"], s["load_mA"]) for s in supplies] == [("supply", 25.0), ("second supply", 32.0)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--limit", "40 mA"), "--supply is missing"),
        (("--supply", "24", "--limit", "40 mA", "--liftoff", "12 V"), '"24" has no unit'),
        (("--supply", "24 V", "--limit", "40 V", "--liftoff", "12 V"), '"40 V" is not a current'),
        ((*HAND, "--limit", "40 mA", "--awg", "18"), "awg goes with a length one way"),
        ((*HAND, "--limit", "40 mA", "--awg", "19", "--length", "3 m"), "19 is not known here"),
        ((*HAND, "--limit", "40 mA", "--second-limit", "40 mA"), "give --second-supply too"),
        ((*HAND, "--limit", "40 mA", "--second-supply", "24 V"), "limit: missing"),
        ((*HAND, "--limit", "40 mA", "--output-on", "second"), "give --output-liftoff too"),
        ((*HAND, "--limit", "40 mA", "--output-liftoff", "9 V", "--output-on", "second"), "give --second-supply too"),
        ((*HAND, "--limit", "40 mA", "--load", "heater"), "write a name and one or two currents"),
        ((*HAND, "--limit", "40 mA", "--loops", "0"), "allowed is 1 to 1000"),
        ((*HAND, "--limit", "40 mA", "--instrument", "li"), "--instrument is for a site file"),
    ],
)
def test_a_wrong_call_is_told_with_the_mend(capsys, words, told):
    assert budget(*words) == 2
    assert told in capsys.readouterr().err


def test_a_site_file_gives_its_own_loops(site, capsys):
    assert budget(str(site), "--instrument", "palm-top", "--json") == 0
    (supply,) = json.loads(capsys.readouterr().out)["supplies"]
    (circuit,) = supply["circuits"]
    # computed: 2 x 0.3 km x 24.5 ohm/km x 294.5 / 254.5 (IEC 60228)
    assert circuit["cable_ohm"] == pytest.approx(17.01, abs=0.005)
    assert (supply["load_mA"], supply["cold_mA"]) == (42.0, 52.0)
    assert main(["check", str(site)]) == 0


def test_a_site_file_without_the_tables_is_told(tmp_path, site, capsys):
    bare = tmp_path / "bare.toml"
    bare.write_text(LOOP_SITE.format(port=1502, period="1 s"), encoding="utf-8")
    assert budget(str(bare)) == 2
    assert "there is no [[supply]]" in capsys.readouterr().err
    assert budget(str(bare), "--instrument", "palm-top") == 2
    assert "has no [instrument.loop]" in capsys.readouterr().err
    assert budget(str(site), "--instrument", "elm") == 2
    assert "no instrument 'elm'; there are palm-top" in capsys.readouterr().err
    assert budget(str(site), "--loops", "2") == 2
    assert "--loops describes a loop by hand" in capsys.readouterr().err


@pytest.mark.parametrize("what", ["budget", "damping"])
def test_every_option_of_a_command_is_on_the_page_and_no_other(what, capsys):
    """Options of a supply and a loop are called after the site file's keys, which docs/site-file.md has."""
    assert main(["loop", what, "--help"]) == 0
    there = set(re.findall(r"(--[a-z][A-Za-z-]+)", capsys.readouterr().out)) - {"--help"}
    section = DOC.partition("## What moves a level signal")[2 if what == "damping" else 0].partition("## Damping")[0]
    told = set(re.findall(r"(--[a-z][A-Za-z-]+)", section))
    assert told <= there
    assert there - told <= ({*BY_HAND} if what == "budget" else {"--json"})
