"""The site's own alarm sheet: it wins over the site file's priorities and the house's words, and is checked whole."""

from pathlib import Path

import pytest

from gaugehouse.site import Site, SiteError, load_site
from gaugehouse.wiring import core_of
from tests.gaugehouse.sites import LOOP_SITE, write_site

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


def test_a_sheet_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(SiteError, match="cannot be read as CSV"):
        load_site(write_site(tmp_path, LOOP_SITE + '\n[alarms]\nsheet = "sheet.csv"\n'))
