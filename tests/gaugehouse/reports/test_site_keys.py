"""`[stock.reports]`: what it says, and the mistakes that a user makes in it."""

from pathlib import Path

import pytest

from gaugehouse.site import load_site
from gaugehouse.sitefile.problems import SiteError
from tests.gaugehouse.sites import write_site


def site_with(folder: Path, lines: str) -> Path:
    path = write_site(folder)
    path.write_text(path.read_text("utf-8") + f"\n[stock.reports]\n{lines}\n", encoding="utf-8")
    return path


def test_a_shift_and_a_paper_of_one_s_own(tmp_path: Path) -> None:
    site = load_site(site_with(tmp_path, 'shift = "8 h"\npaper = "Letter"'))
    assert (site.shift_ms, site.paper_size) == (8 * 3_600_000, "Letter")
    plain = load_site(write_site(tmp_path))
    assert (plain.shift_ms, plain.paper_size) == (12 * 3_600_000, "A4")


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('shift = "8"', "stock.reports.shift"),
        ('shift = "30 h"', "stock.reports.shift"),
        ('shift = "10 min"', "stock.reports.shift"),
        ('paper = "A5"', "stock.reports.paper"),
        ('papers = "A4"', 'did you mean "paper"'),
    ],
)
def test_a_mistake_is_told_by_its_key(tmp_path: Path, lines: str, said: str) -> None:
    with pytest.raises(SiteError) as wrong:
        load_site(site_with(tmp_path, lines))
    assert said in str(wrong.value)
