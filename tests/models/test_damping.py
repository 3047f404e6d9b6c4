"""What is said of lines, time constants and damping. Signals are made here; figures are computed unless sourced."""

import math

import numpy as np
import pytest

from models.damping import (
    LineKind,
    Row,
    Sampling,
    advice_of,
    lines_of,
    mains_of,
    same_as,
    spikes_of,
    suspected,
    table_of,
)
from models.slosh import slosh_Hz
from models.spectrum import spectrum
from tests.models.test_spectrum import sines

SLOSH = slosh_Hz(10, 7)
POLLS = Sampling(1.0, True)
BURST = Sampling(200.0, False)


def judged(values, sampling, slosh=SLOSH):
    return lines_of(spectrum(values, sampling.rate_Hz), sampling, slosh)


def test_vibration_at_24_7_Hz_polled_once_a_second_cannot_be_told_from_slosh():
    (line,) = judged(sines(3600, 1, (24.7, 4.0), noise=1.0), POLLS)
    assert line.kind is LineKind.UNKNOWN
    assert "slosh cannot be told from vibration" in line.words
    assert "24.7" in line.words
    assert "49.7" in line.words


def test_what_the_transmitters_updates_fold_before_any_poll_is_told_too():
    (line,) = judged(sines(3600, 1, (24.7, 4.0), noise=1.0), Sampling(1.0, True, update_s=0.25))
    assert "its own updates every 0.25 s fold 3.7, 4.3 Hz there before any poll" in line.words
    (slower,) = judged(sines(3600, 1, (0.3, 4.0), noise=1.0), Sampling(1.0, True, update_s=2.0))
    assert "this is what its steps make of a slower motion" in slower.words


def test_the_same_vibration_in_a_recorders_file_is_found():
    (line,) = judged(sines(60, 200, (24.7, 4.0), noise=1.0), BURST)
    assert line.kind is LineKind.MACHINE
    assert line.peak.frequency_Hz == pytest.approx(24.7, abs=0.2)
    assert "1482 turns a minute" in line.words


@pytest.mark.parametrize("hertz", [50.0, 60.0, 49.9, 60.1, 100.0])
def test_a_line_of_the_mains_is_called_electrical_pick_up(hertz):
    (line,) = judged(sines(60, 250, (hertz, 1.0), noise=0.5), Sampling(250.0, False))
    assert line.kind is LineKind.PICKUP
    assert "electrical pick-up" in line.words


def test_mains_and_their_multiples_are_known_and_motors_are_not_mains():
    assert [mains_of(f, 0.1) for f in (50, 100, 60, 180, 300)] == [50, 50, 60, 60, 50]
    assert [mains_of(f, 0.1) for f in (24.7, 29.3, 48.5, 58.0)] == [None] * 4


def test_what_is_faster_than_the_transmitter_measures_is_no_motion():
    (line,) = judged(sines(60, 200, (24.7, 4.0), noise=1.0), Sampling(200.0, False, update_s=0.2))
    assert line.kind is LineKind.FASTER
    assert "passes no motion faster than 2.5 Hz" in line.words


def test_what_the_transmitter_itself_may_have_folded_is_told():
    (line,) = judged(sines(60, 200, (0.3, 4.0), noise=1.0), Sampling(200.0, False, update_s=0.5))
    assert line.kind is LineKind.SURFACE
    assert "1.7, 2.3 Hz folded by its updates every 0.5 s" in line.words
    (unsaid,) = judged(sines(60, 200, (0.3, 4.0), noise=1.0), BURST)
    assert "how often it measures was not given" in unsaid.words


@pytest.mark.parametrize(
    ("sampling", "highest", "words"),
    [
        (POLLS, 0.5, "half of the polling rate (one poll in 1 s)"),
        (Sampling(1.0, True, update_s=2.0), 0.25, "half of the transmitter's own rate (one update in 2 s)"),
        (Sampling(1.0, True, update_s=0.1), 0.5, "half of the polling rate (one poll in 1 s)"),
        (BURST, 100.0, "half of the recorder's 200 Hz"),
    ],
)
def test_the_highest_frequency_that_can_be_seen_is_stated(sampling, highest, words):
    assert sampling.highest_Hz == highest
    assert words in sampling.words
    assert f"{highest:g} Hz" in sampling.words


def test_a_suspected_frequency_is_placed():
    assert suspected(24.7, POLLS, SLOSH, 0.002) == (
        "24.7 Hz shows at 0.300 Hz when it is sampled every 1 s: it cannot be told from slosh, the surface of this "
        "tank swings at 0.30 Hz"
    )
    assert "as slow as that" in suspected(24.9, POLLS, SLOSH, 0.002)
    assert suspected(24.7, BURST, SLOSH, 0.1) == "24.7 Hz shows as it is"


def test_the_frequencies_that_show_alike_name_motors_and_supplies():
    # computed: k - 0.3 and k + 0.3
    assert same_as(0.3, 1.0) == (
        "0.7, 1.3 Hz, a motor at 24.3, 24.7, 29.3, 29.7 Hz, a supply at 49.7, 50.3, 59.7, 60.3 Hz"
    )


# computed: rise x time constant. 0.5 and 2 m/h with 10 and 30 s.
@pytest.mark.parametrize(("m_per_h", "tau", "mm"), [(0.5, 10, 1.4), (0.5, 30, 4.2), (2, 10, 5.6), (2, 30, 17)])
def test_the_lag_at_a_fill_rate(m_per_h, tau, mm):
    rows = table_of(sines(600, 1, (0.3, 0.004), noise=0.001), POLLS, [], 1.0, m_per_h / 3600)
    (row,) = [row for row in rows if row.time_constant_s == tau]
    assert 1000 * row.lag_m == pytest.approx(mm, abs=0.05 if mm < 10 else 0.5)
    assert row.delay_s == tau


def test_more_time_leaves_less_noise_and_pick_up_is_not_in_the_table():
    burst = sines(60, 200, (0.3, 0.005), (24.7, 0.003), (50, 0.004), noise=0.001)
    lines = judged(burst, BURST)
    rows = table_of(burst, BURST, lines, 1.0, 0.0002)
    noises = [row.noise_m for row in rows]
    assert noises == sorted(noises, reverse=True)
    # computed: sines of 5 and 3 mm and noise of 1 mm
    assert noises[0] == pytest.approx(math.sqrt((0.005**2 + 0.003**2) / 2 + 0.001**2), rel=0.03)
    assert all(row.transmitter_m <= row.noise_m + 1e-12 for row in rows)


def rows_of(*noise_mm, rise=0.0002):
    times = (0.0, 1.0, 10.0, 60.0)
    return [Row(t, mm / 1000, None, rise * t) for t, mm in zip(times, noise_mm, strict=True)]


@pytest.mark.parametrize(
    ("rows", "chosen", "words"),
    [
        (rows_of(0.8, 0.5, 0.2, 0.1), 0.0, "no damping: the noise of 0.80 mm is no more than 1 mm"),
        (rows_of(5, 2, 0.9, 0.3), 10.0, "the shortest here that leaves no more than 1 mm (0.90 mm); it lags 2.0 mm"),
        (rows_of(9, 6, 3, 0.9), 10.0, "it leaves 3.00 mm, more than 1 mm, but its lag must not pass 10 mm"),
        (rows_of(9, 6, 3, 2, rise=1e-5), 60.0, "it leaves 2.00 mm, more than 1 mm, but none here leaves less"),
        (rows_of(9, 8.9, 8.8, 8.7, rise=1e-5), None, "no time constant helps"),
    ],
)
def test_the_advice_and_its_reason(rows, chosen, words):
    advice = advice_of(rows, [], 0)
    assert advice.time_constant_s == chosen
    assert words in advice.reasons[0]
    assert any("[tank.filter]" in reason for reason in advice.reasons) is bool(chosen)


def test_the_advice_asks_for_a_recorder_where_polls_cannot_tell():
    lines = judged(sines(3600, 1, (24.7, 4.0), noise=1.0), POLLS)
    assert any("independent recorder" in reason for reason in advice_of(rows_of(5, 2, 0.9, 0.3), lines, 0).reasons)


def test_noise_that_is_small_enough_needs_no_recorder():
    lines = judged(sines(3600, 1, (24.7, 0.0004), noise=0.0001), POLLS)
    assert len(lines) == 1
    assert len(advice_of(rows_of(0.3, 0.2, 0.1, 0.1), lines, 0).reasons) == 1


def test_the_advice_says_where_the_transmitters_own_damping_would_do_sooner():
    rows = [
        row._replace(transmitter_m=row.noise_m if not row.time_constant_s else 0.0002)
        for row in rows_of(5, 3, 0.9, 0.3)
    ]
    reasons = advice_of(rows, [], 0).reasons
    assert any("in the transmitter would need 1 s only" in r and "hides the level from high-high" in r for r in reasons)


def test_single_spikes_are_counted_and_a_median_is_named():
    levels = sines(600, 1, noise=0.001)
    levels[[50, 200, 401]] += 0.05
    assert spikes_of(levels) == 3
    assert any("a median of 3 polls" in reason for reason in advice_of(rows_of(5, 2, 0.9, 0.3), [], 3).reasons)
    assert spikes_of(sines(600, 1, noise=0.001)) == 0
    assert spikes_of(np.round(sines(600, 1, (0.3, 0.004)), 3), 0.001) == 0
