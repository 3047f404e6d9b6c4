"""The alarm sheet in force: it can be changed alarm by alarm, reads back to the same, and says what changed."""

import csv
import io
import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from gaugehouse.cli import main
from gaugehouse.journal import SETTINGS, started
from gaugehouse.site import Site, SiteError, load_site
from gaugehouse.sitefile.sheetcells import COLUMNS
from gaugehouse.sitefile.sheetlines import csv_of, lines
from tests.gaugehouse.sites import LOOP_SITE, write_site

MORE = """
rise_fast = "2 m3/min"
fall_fast = {{ at = "70 mm/min", deadband = "7 mm/min" }}

[tank.response]
max_fill_rate = "2000 L/min"
reaction = "5 min"

[[instrument.signal]]
name = "lshh"
function = 2
address = 0
counted_from = 0
type = "bit"

[[point]]
id = "lshh-palm"
signal = "palm-top.lshh"
role = "high_level_switch"
tank = "palm"

[alarms]
sheet = "sheet.csv"
"""


def with_sheet(folder: Path, rows: str, header: str = ",".join(COLUMNS)) -> Site:
    (folder / "sheet.csv").write_text(f"{header}\n{rows}", encoding="utf-8")
    return load_site(write_site(folder, LOOP_SITE + MORE))


def alarm(**cells: str) -> str:
    """One row of a whole sheet; texts that a row must not leave empty are given."""
    given = dict(cells)
    for name in ("name", "cause", "consequence", "action", "respond"):
        given.setdefault(name, f"{name} in the site's own words")
    out = io.StringIO()
    csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n").writerow(given)
    return out.getvalue()


WHOLE = (
    alarm(source="palm", condition="high", set_point="1050 cm", priority="1", deadband="30 mm", on_delay="20 s",
          off_delay="1 min", latching="yes", ask_again="30 min", suppressed_while="not lshh-palm", rationale="long",
          owner="A. Keeper", test_method="wet, by a slow receipt", last_test="2026-03-01", test_every="365 d",
          **{"class": "receipts"})
    + alarm(source="palm", condition="fall_fast", set_point="3 m3/min")
    + alarm(source="", condition="low", priority="2", on_delay="1 s")
    + alarm(source="palm", condition="response_short", set_point="10 min", priority="2")
    + alarm(source="palm", condition="fill_rate_high", deadband="50 L/min")
    + alarm(source="lshh-palm", condition="high_level_switch", on_delay="2 s")
)  # fmt: skip


def test_every_column_takes_effect_for_one_alarm(tmp_path: Path) -> None:
    site = with_sheet(tmp_path, WHOLE)
    limits = {limit.condition: limit for limit in site.alarms_of("palm").limits}
    high = limits["high"]
    assert (high.at, high.deadband, high.on_delay_ms, high.off_delay_ms, high.priority) == (
        10.5,
        0.03,
        20_000,
        60_000,
        1,
    )
    entry = site.sheet.entry("palm", "high")
    assert (entry.kind.latching, entry.ask_again_ms, entry.alarm_class) == (True, 1_800_000, "receipts")
    assert (entry.rationale, entry.owner, entry.test_method) == ("long", "A. Keeper", "wet, by a slow receipt")
    assert (entry.last_test, entry.test_every_ms) == ("2026-03-01", 365 * 86_400_000)
    assert str(entry.suppressed_while) == "while lshh-palm is off"
    assert (limits["fall_fast"].per, limits["fall_fast"].at) == ("m3/s", pytest.approx(0.05))
    assert limits["fall_fast"].deadband == pytest.approx(0.005)  # in the unit of the new set point
    assert (limits["low"].priority, limits["low"].on_delay_ms) == (2, 1000)
    watched = {(w.source, limit.condition): limit for w in site.watched for limit in w.limits}
    assert (watched["palm", "response_short"].at, watched["palm", "response_short"].priority) == (600.0, 2)
    assert watched["palm", "fill_rate_high"].deadband == pytest.approx(50 / 60_000)
    assert watched["lshh-palm", "high_level_switch"].on_delay_ms == 2000


@pytest.mark.parametrize("rows", [WHOLE, alarm(source="palm", condition="high", set_point="10.93 m")])
def test_the_printed_sheet_reads_back_to_the_same(tmp_path: Path, rows: str) -> None:
    site = with_sheet(tmp_path, rows)
    printed = csv_of(site)
    (tmp_path / "sheet.csv").write_text(printed, encoding="utf-8")
    again = load_site(site.path)
    assert list(lines(again)) == list(lines(site))
    assert csv_of(again) == printed
    assert again.fingerprint() == site.fingerprint()


def test_a_row_of_one_alarm_wins_over_that_of_its_condition_cell_by_cell(tmp_path: Path) -> None:
    header = "source,condition,on_delay,priority"
    site = with_sheet(tmp_path, ",high,30 s,1\npalm,high,,2\n", header)
    high = next(limit for limit in site.alarms_of("palm").limits if limit.condition == "high")
    assert (high.on_delay_ms, high.priority) == (30_000, 2)


def test_a_set_point_makes_a_limit_that_the_site_file_does_not_have(tmp_path: Path) -> None:
    text = (LOOP_SITE + MORE).replace('low = "1 m"\n', "")
    (tmp_path / "sheet.csv").write_text("source,condition,set_point\npalm,low,1.2 m\n", encoding="utf-8")
    site = load_site(write_site(tmp_path, text))
    assert [limit.condition for limit in site.alarms_of("palm").limits][:5] == [
        "critical_high", "high_high", "high", "low", "low_low",
    ]  # fmt: skip
    assert next(limit.at for limit in site.alarms_of("palm").limits if limit.condition == "low") == 1.2


MISTAKES = [
    (alarm(source="palm", condition="high", set_point="11.6 m"), "row 2: set_point: high of palm: 11.6 m is not below"),
    (alarm(source="palm", condition="critical_high", set_point="12.5 m"), "beyond what the instrument reaches: 12 m"),
    (alarm(source="palm", condition="high", set_point="10 degC"), "set_point:"),
    (alarm(source="palm", condition="high", deadband="10"), "deadband: "),
    (alarm(source="palm", condition="high", off_delay="2 d"), "off_delay: "),
    (alarm(source="palm", condition="high", last_test="1 March"), "last_test: "),
    (alarm(source="palm", condition="high", test_every="1 h"), "test_every: "),
    (alarm(source="palm", condition="rise_fast", set_point="1 m3/min", deadband="5 mm/min"), "of the same kind"),
    (alarm(source="palm-top", condition="frozen", on_delay="5 s"), "on_delay: frozen is judged by the loop's own"),
    (alarm(source="lshh-palm", condition="high_level_switch", set_point="1 m"), "is there or not; leave it empty"),
    (alarm(source="palm", condition="high_level_switch"), 'no point is called "palm"'),
    (alarm(source="elm", condition="response_short"), 'no tank is called "elm"'),
    (alarm(source="palm", condition="high").rstrip("\n") + ",too much\n", "22 cells under 21 columns"),
]


@pytest.mark.parametrize(("row", "words"), MISTAKES, ids=[words for _, words in MISTAKES])
def test_a_mistake_is_told_with_its_row(tmp_path: Path, row: str, words: str) -> None:
    with pytest.raises(SiteError) as raised:
        with_sheet(tmp_path, row)
    (problem,) = raised.value.problems
    assert words in problem.text
    assert "row 2" in problem.text
    assert problem.file.endswith("sheet.csv")


def test_every_mistake_of_every_row_is_told_at_once(tmp_path: Path) -> None:
    rows = (
        alarm(source="palm", condition="high", set_point="much", priority="9", latching="perhaps", action="", cause="")
        + alarm(source="", condition="foam")
        + alarm(source="palm", condition="low", on_delay="soon", last_test="soon", suppressed_while="nobody")
    )
    with pytest.raises(SiteError) as raised:
        with_sheet(tmp_path, rows)
    found = [problem.text.split("row ", 1)[1][:16] for problem in raised.value.problems]
    assert [text[0] for text in found] == list("2222" + "3" + "444"), found


def test_what_changed_in_the_sheet_is_journaled_at_the_next_start_by_alarm_and_field(tmp_path: Path) -> None:
    before = with_sheet(tmp_path, alarm(source="palm", condition="high", action="call Pat"))
    after = with_sheet(tmp_path, alarm(source="palm", condition="high", action="call Kim", set_point="10.8 m"))
    state = {SETTINGS: json.dumps(dict(before.settings))}
    told = [d.body["change"] for d in started(after, state, "1", 0, simulated=False) if d.kind == "setting_changed"]
    assert told == [
        "alarm[palm.high].action: call Pat -> call Kim",
        "tank[palm].limits.high.at: 11.0 -> 10.8",
    ]


def test_the_command_prints_the_sheet_as_text_csv_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = with_sheet(tmp_path, WHOLE)
    path = str(site.path)
    assert main(["alarms", path, "--sheet", "--tank", "palm"]) == 0
    text = capsys.readouterr().out
    for words in (
        "palm.high: name in the site's own words, priority 1, not independent",
        "at 10.5 m, deadband 0.03 m, on after 20 s, off after 60 s",
        "wet, by a slow receipt, every 365 d, last on 2026-03-01",
        "palm-top.frozen: Level signal is frozen, priority by what it blinds",
    ):
        assert words in text
    assert "lshh-palm.high_level_switch" in text  # the point that speaks of the tank
    assert "system.disk_filling" not in text
    assert main(["alarms", path, "--csv"]) == 0
    assert capsys.readouterr().out == csv_of(site)
    assert main(["alarms", path, "--sheet", "--json"]) == 0
    assert {row["source"] for row in json.loads(capsys.readouterr().out)} == {"palm", "palm-top", "lshh-palm", "system"}
    assert main(["alarms", path, "--csv", "--tank", "palm"]) == 2


def test_the_paper_holds_every_alarm_and_its_action(tmp_path: Path) -> None:
    site = with_sheet(tmp_path, WHOLE)
    out = tmp_path / "sheet.pdf"
    assert main(["alarms", str(site.path), "--pdf", str(out)]) == 0
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(out, strict=True).pages)
    for line in lines(site):
        assert line.id in text
        assert line.entry.action[:20] in text
    assert "Follow local codes" in text
    assert main(["alarms", str(site.path), "--pdf", str(tmp_path / "nowhere" / "sheet.pdf")]) == 3
