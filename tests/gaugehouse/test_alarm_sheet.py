"""The site's own alarm sheet: it wins over the site file's priorities and the house's words, and is checked whole."""

from pathlib import Path

import pytest

from alerts.sheet import While
from gaugehouse.core import Tick
from gaugehouse.site import Site, SiteError, load_site
from gaugehouse.wiring import core_of
from models.reading import OK, Instant, Sample
from tests.gaugehouse.sites import LOOP_SITE, write_site

RULES = """
[[instrument.signal]]
name = "pump"
function = 1
address = 7
counted_from = 0
type = "bit"

[[point]]
id = "pump-1"
signal = "palm-top.pump"
role = "pump"

[alarms]
sheet = "sheet.csv"
longest_shelf = "2 h"
acknowledged_by_return = ["supply"]
"""
WATER = """
[tank.watch]
water_high = "4 mm"

[[instrument.signal]]
name = "water"
function = 3
address = 9
counted_from = 0
type = "uint16"
unit = "mm"
"""
HEADER = "source,condition,priority,cause,consequence,action,latching\n"


def with_sheet(folder: Path, sheet: str) -> Site:
    (folder / "sheet.csv").write_text(sheet, encoding="utf-8")
    return load_site(write_site(folder, LOOP_SITE + '\n[alarms]\nsheet = "sheet.csv"\n'))


def test_the_sheet_wins_over_the_site_file_and_the_house_s_words(tmp_path: Path) -> None:
    rows = "palm,high,1,overfilling,a spill,call Pat,yes\n,low,2,empty,no fuel,order some,\n"
    site = with_sheet(tmp_path, HEADER + rows)
    priorities = {limit.condition: limit.priority for limit in site.alarms_of("palm").limits}
    assert (priorities["high"], priorities["low"], priorities["high_high"]) == (1, 2, 1)
    alarms = core_of(site).alarms
    high, low, lowest = (alarms.view(f"palm.{name}") for name in ("high", "low", "low_low"))
    assert high is not None
    assert low is not None
    assert lowest is not None
    assert (high.action, low.consequence) == ("call Pat", "no fuel")
    assert lowest.action  # not in the sheet: the house's words
    assert site.sheet.entry("palm", "high").kind.latching
    assert not site.sheet.entry("palm", "low").kind.latching


def test_class_repeated_call_and_suppression_by_design_come_from_the_sheet(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").write_text(
        "source,condition,class,ask_again,suppressed_while\npalm,low,supply,30 min,not pump-1\n,high,,,pump-1\n"
    )
    site = load_site(write_site(tmp_path, LOOP_SITE + RULES))
    low, high, other = (site.sheet.entry("palm", name) for name in ("low", "high", "low_low"))
    assert (low.alarm_class, low.ask_again_ms, low.suppressed_while) == ("supply", 1_800_000, While("pump-1", on=False))
    assert low.kind.acknowledged_by_return
    assert (high.alarm_class, high.ask_again_ms, high.suppressed_while) == ("", None, While("pump-1"))
    assert not high.kind.acknowledged_by_return
    assert other.suppressed_while is None
    assert site.alarm_rules.longest_shelf_ms == 7_200_000


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("palm,low,supply,soon,", "row 2: ask_again"),
        ("palm,low,supply,30 s,", "allowed is 60 to 86400 s"),
        ("palm,low,supply,,pump-2", 'row 2: suppressed_while is "pump-2"'),
        ("palm,low,suply,,", 'has the class "supply"'),
    ],
)
def test_a_mistake_in_how_an_alarm_lives_is_told(tmp_path: Path, row: str, words: str) -> None:
    (tmp_path / "sheet.csv").write_text(f"source,condition,class,ask_again,suppressed_while\n{row}\n")
    with pytest.raises(SiteError) as raised:
        load_site(write_site(tmp_path, LOOP_SITE + RULES))
    assert any(words in problem.text for problem in raised.value.problems), raised.value.problems


def test_classes_without_a_sheet_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="name it by `sheet`"):
        load_site(write_site(tmp_path, LOOP_SITE + '\n[alarms]\nacknowledged_by_return = ["supply"]\n'))


def test_a_point_that_is_on_suppresses_by_design_until_it_is_off_or_not_read_any_more(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").write_text("source,condition,class,suppressed_while\npalm,low,supply,pump-1\n")
    core = core_of(load_site(write_site(tmp_path, LOOP_SITE + RULES)))
    told = []
    for second, pump in ((0, 1.0), (1, 1.0), (61, None), (62, None), (70, 1.0), (71, 0.0)):
        values = {"current": 12.0, "temperature": 15.0} | ({} if pump is None else {"pump": pump})
        tick = Tick(Instant(second + 1, second * 1000, second * 1000), [Sample("palm-top", second * 1000, OK, values)])
        told += [(second, t.id, t.event.value, t.state.value, t.comment) for t in core.step(tick).transitions]
    assert told == [
        (0, "palm.low", "suppressed", "suppressed_by_design", "while pump-1 is on"),
        (62, "palm.low", "unsuppressed", "normal", "while pump-1 is on"),
        (70, "palm.low", "suppressed", "suppressed_by_design", "while pump-1 is on"),
        (71, "palm.low", "unsuppressed", "normal", "while pump-1 is on"),
    ]


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        (HEADER + "palm,hihg,1,a,b,c,\n", 'row 2: no condition is called "hihg"'),
        (HEADER + "elm,high,1,a,b,c,\n", 'no tank is called "elm"'),
        (HEADER + "palm,frozen,,a,b,c,\n", 'no instrument is called "palm"'),
        (HEADER + "palm,high,1,a,b,,\n", "row 2: action is empty"),
        (HEADER + "palm,high,4,a,b,c,\n", "write 1, 2 or 3"),
        (HEADER + "palm,high,1,a,b,c,maybe\n", "write yes or no"),
        (HEADER + "palm-top,frozen,1,a,b,c,\n", "leave it empty"),
        (HEADER + "palm,high,1,a,b,c,\npalm,high,2,a,b,c,\n", "row 3: high of palm stands in the sheet twice"),
        ("source,condition,colour\n", 'no column is called "colour"'),
        ("condition,action\n", 'the column "source" is missing'),
        ("", 'the column "source" is missing'),
    ],
)
def test_a_mistake_in_the_sheet_names_its_file_and_row(tmp_path: Path, sheet: str, words: str) -> None:
    with pytest.raises(SiteError) as raised:
        with_sheet(tmp_path, sheet)
    texts = [problem.text for problem in raised.value.problems]
    assert any(words in text and "sheet.csv" in text for text in texts), texts


def test_another_sheet_that_is_not_there_is_told_without_guessing_at_its_contents(tmp_path: Path) -> None:
    with pytest.raises(SiteError) as raised:
        load_site(write_site(tmp_path, LOOP_SITE), sheet=tmp_path / "other.csv")
    assert "other.csv: the alarm sheet cannot be read: No such file or directory; check the name" in str(raised.value)
    assert "CSV in UTF-8" not in str(raised.value)


def test_a_sheet_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(SiteError, match="cannot be read as CSV"):
        load_site(write_site(tmp_path, LOOP_SITE + '\n[alarms]\nsheet = "sheet.csv"\n'))


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("source,condition,deadband\npalm,rise_fast,1 m3/min\n", "row 2: deadband: rise_fast of palm: it is a volume"),
        ("source,condition,deadband\npalm,rise_fast,9 m/min\n", "it is not below the limit itself; write a smaller"),
        (
            "source,condition,deadband,set_point\n,rise_fast,5 mm/min,\npalm,rise_fast,,1 m3/min\n",
            "row 3: deadband: rise_fast of palm: it is a length per time, the limit a volume per time",
        ),
        ("source,condition,set_point,deadband\npalm,high,4 m,5 m\n", "row 2: deadband: high of palm: 4 m less 5 m"),
    ],
)
def test_a_deadband_of_another_kind_or_without_a_way_back_is_told_with_its_row(
    tmp_path: Path, sheet: str, words: str
) -> None:
    (tmp_path / "sheet.csv").write_text(sheet, encoding="utf-8")
    text = LOOP_SITE + 'rise_fast = "300 mm/min"\n\n[alarms]\nsheet = "sheet.csv"\n'
    with pytest.raises(SiteError) as caught:
        load_site(write_site(tmp_path, text))
    assert words in str(caught.value)


def test_a_smaller_set_point_of_the_sheet_takes_its_deadband_along(tmp_path: Path) -> None:
    site = with_sheet(tmp_path, "source,condition,set_point\nsystem,disk_filling,0.5 %\n")
    (limit,) = (x for one in site.watched for x in one.limits if x.condition == "disk_filling")
    assert (limit.at, limit.deadband) == (0.5, 0.25)


def test_high_water_of_few_millimetres_returns_when_the_water_is_gone(tmp_path: Path) -> None:
    text = LOOP_SITE.replace('water = "none"', 'water = "palm-top.water"') + WATER
    site = load_site(write_site(tmp_path, text))
    (limit,) = (x for one in site.watched for x in one.limits if x.condition == "water_high")
    assert (limit.at, limit.deadband) == (0.004, 0.002)
