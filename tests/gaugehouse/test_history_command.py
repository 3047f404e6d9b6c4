"""`gaugehouse history`: what is kept of the readings, asked and looked after by command."""

import json
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.deriving import SiteModels
from gaugehouse.site import Site
from gaugehouse.stores import READINGS
from history.sqlite import SqliteStore
from models.reading import Reading
from tests.gaugehouse.sites import loop_site
from tests.history.samples import NOON_MS, run

Capture = pytest.CaptureFixture[str]
HOUR_MS = 3_600_000


def filled(folder: Path, readings: list[Reading] | None = None) -> Site:
    """A site with two hours of invented readings of its tank."""
    site = loop_site(folder)
    site.store_path.mkdir(parents=True, exist_ok=True)
    store = SqliteStore.open(site.store_path / READINGS, site.id, models=SiteModels(site))
    store.append(run(7200, tank="palm") if readings is None else readings)
    store.close()
    return site


def history(what: str, site: Site, *argv: str) -> int:
    return main(["history", what, str(site.path), *argv])


WHOLE = ("--from", "2026-01-01T12:00Z", "--to", "2026-01-01T14:00Z")


def test_a_mean_by_the_hour_is_printed_with_its_status_and_as_json(tmp_path: Path, capsys: Capture) -> None:
    site = filled(tmp_path)
    assert history("aggregate", site, "palm", *WHOLE, "--interval", "1 h") == 0
    said = capsys.readouterr().out
    assert "TimeAverage2 [m]" in said
    assert "2026-01-01T13:00:00.000Z" in said
    assert history("aggregate", site, "palm", *WHOLE, "--interval", "60 min", "--aggregate", "Delta", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["value"] == pytest.approx([3.599, 3.599])
    assert (told["unit"], told["t"][1]) == ("m", "2026-01-01T13:00:00.000Z")


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("elm", *WHOLE, "--interval", "1 h"), "no tank 'elm'; there are palm"),
        (("palm", *WHOLE, "--interval", "1"), "--interval:"),
        (("palm", *WHOLE, "--interval", "1 m3"), "--interval:"),
        (("palm", *WHOLE, "--interval", "1 s"), "7200 intervals asked for; at most 2000"),
        (("palm", *WHOLE, "--interval", "1 h", "--aggregate", "Mean"), "no aggregate is called 'Mean'"),
        (("palm", *WHOLE, "--interval", "1 h", "--quantity", "level"), "no quantity is called 'level'"),
        (("palm", "--from", "noon", "--to", "2026-01-01", "--interval", "1 h"), "time 'noon' is not understood"),
        (("palm", "--from", "2026-01-02", "--to", "2026-01-01", "--interval", "1 h"), "turn them round"),
    ],
)
def test_a_wrong_question_says_what_is_wrong(
    tmp_path: Path, capsys: Capture, argv: tuple[str, ...], words: str
) -> None:
    site = filled(tmp_path, run(10, tank="palm", start_ms=NOON_MS))
    assert history("aggregate", site, *argv) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("time", ["0001-01-01T00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_a_time_that_no_calendar_can_write_is_a_mistake_of_the_call(tmp_path: Path, capsys: Capture, time: str) -> None:
    site = filled(tmp_path)
    said = ("--quality", "bad", "--by", "Ann", "--comment", "no such time")
    for way in (("--from", time, "--to", "2026-01-01T13:00Z"), ("--from", "2026-01-01T12:00Z", "--to", time)):
        assert history("aggregate", site, "palm", *way, "--interval", "1 h") == 2
        assert history("requalify", site, "palm", *way, *said) == 2
        assert "outside of the years 1 to 9999" in capsys.readouterr().err
