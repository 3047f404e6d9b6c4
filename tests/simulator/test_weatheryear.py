"""The typical year: read as another reader reads it, and fit for a farm."""

import statistics
import warnings
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from simulator.chance import stream
from simulator.errors import SimulatorError
from simulator.layout import ProbeLayout
from simulator.weather import Air
from simulator.weatheryear import Hour, TypicalYear, miami, miami_file, read_tmy2
from tests.simulator.farms import TANK, farm

HOUR_MS = 3_600_000


def _utc_ms(*when: int) -> int:
    return int(datetime(*when, tzinfo=UTC).timestamp() * 1000)


def test_the_file_is_read_as_the_package_that_ships_it_reads_it() -> None:
    """Outside check: `pvlib.iotools.read_tmy2`, an independent reader of the same format."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pvlib.iotools import read_tmy2 as other

        data, head = other(str(miami_file()))
    hours, offset_h, place = read_tmy2(miami_file())
    assert (offset_h, place) == (head["TZ"], "MIAMI FL")
    theirs = zip(
        data["GHI"], data["OpqCld"], data["DryBulb"], data["DewPoint"], data["RHum"], data["Wspd"], strict=True
    )
    tenths = [Hour(float(g), o / 10, t / 10, d / 10, float(r), w / 10) for g, o, t, d, r, w in theirs]
    assert hours == tenths


def test_the_year_is_miamis() -> None:
    """Daily highest and lowest of July, mean of the month: 31.03 and 25.15 degC. Computed from the same file by
    another hand, not published."""
    hours, _, _ = read_tmy2(miami_file())
    july = hours[181 * 24 : 212 * 24]
    days = [[h.ambient_degC for h in july[k : k + 24]] for k in range(0, len(july), 24)]
    assert statistics.mean(map(max, days)) == pytest.approx(31.03, abs=0.02)
    assert statistics.mean(map(min, days)) == pytest.approx(25.15, abs=0.02)


def test_the_sun_stands_highest_about_noon_of_the_place_and_not_at_night() -> None:
    year = miami(stream(1, "weather"))
    light = {minute: 0.0 for minute in range(0, 1440, 7)}
    for day in range(1, 365):
        for minute in light:
            light[minute] += year.at(_utc_ms(2026, 1, 1, 5) + (day * 1440 + minute) * 60_000).sun_frac
    middle = sum(minute * sun for minute, sun in light.items()) / sum(light.values())
    # 80.27 degrees west in the zone of 75 west: noon of the place is 12:21 in the mean of a year
    assert middle / 60 == pytest.approx(12.35, abs=0.25)
    assert sum(sun for minute, sun in light.items() if not 4 * 60 <= minute <= 21 * 60) == 0


def test_values_of_the_full_hour_are_those_of_the_file_and_29_february_repeats_the_28th() -> None:
    year = miami(stream(1, "weather"))
    hours, _, _ = read_tmy2(miami_file())
    assert year.at(_utc_ms(2026, 1, 1, 6)).ambient_degC == hours[0].ambient_degC  # 01:00 local
    assert year.at(_utc_ms(2027, 1, 1, 5)).ambient_degC == hours[-1].ambient_degC  # midnight local
    leap, before = _utc_ms(2028, 2, 29, 17), _utc_ms(2028, 2, 28, 17)
    assert year.humidity_percent(leap) == year.humidity_percent(before)
    assert year.at(_utc_ms(2028, 12, 31, 17)).ambient_degC == year.at(_utc_ms(2026, 12, 31, 17)).ambient_degC


def test_a_clear_dry_night_cools_a_roof_and_a_closed_sky_hardly() -> None:
    def night(opaque: float, dew: float) -> Air:
        return TypicalYear([Hour(0, opaque, 20, dew, 60, 2)] * 8760, 0.0, stream(1, "sky")).at(0)

    assert 4 < night(0.0, 5.0).sky_K < 12
    assert night(1.0, 5.0).sky_K < 0.2 * night(0.0, 5.0).sky_K
    assert night(0.0, 20.0).sky_K < night(0.0, 5.0).sky_K


@pytest.mark.parametrize(
    ("text", "words"), [("", "line 2"), ("12839 MIAMI\nnothing", "give a TMY2 file"), (None, "give a TMY2 file")]
)
def test_a_file_that_is_none_is_told(tmp_path: Path, text: str | None, words: str) -> None:
    path = tmp_path / "year.tm2"
    if text is not None:
        path.write_text(text)
    with pytest.raises(SimulatorError, match=words):
        read_tmy2(path)
    with pytest.raises(SimulatorError, match="take the whole file"):
        TypicalYear([], 0.0, stream(1, "none"))


def test_a_farm_stands_in_it_and_stays_the_same_for_a_seed() -> None:
    def after_some_hours() -> tuple[float, float]:
        one = farm(weather=miami(stream(3, "weather")), step_ms=1000)
        one.advance(6 * HOUR_MS)
        truth = one.truth()["hill"]
        return truth.temperature_degC, truth.level_m

    first = after_some_hours()
    assert first == after_some_hours()
    assert first[0] != 20.0


def test_several_spots_give_their_mean_and_dry_ones_do_not_count() -> None:
    spots = ProbeLayout(spots_m=(0.5, 3.0, 5.5, 9.0), lag_s=1.0, noise_degC=0.0, bias_degC=0.0)
    tank = replace(TANK, top_warmer_degC=6.0)
    one = farm(probe=spots, tank=tank)
    # layers of 1 m from 17.5 to 22.5 degC, straight between their middles; the ends stand as their layer does
    assert one.unit("hill_probe").values()["temperature"] == pytest.approx((17.5 + 20.0 + 22.5) / 3, abs=0.01)


def test_what_evaporates_is_lost() -> None:
    one = farm(tank=replace(TANK, evaporates_m3_per_h=0.001))
    before = one.truth()["hill"].standard_m3
    one.advance(10 * 3_600_000)
    after = one.truth()["hill"].standard_m3
    assert before - after == pytest.approx(0.010 / 1.0046, rel=1e-3)  # 1 L/h for 10 h, at 20 degC
