"""The leak test: slope and its error against outside figures, threshold and detectable rate by published rules."""

import csv
import math
import statistics
from pathlib import Path
from random import Random

import pytest

from inventory.leak import (
    FALSE_ALARM,
    MISSED,
    Refusal,
    Standing,
    Verdict,
    detectable_of,
    judged,
    smallest_claim,
    standing_refusals,
    t_quantile,
    terms_of,
)
from inventory.leakfit import blocks_of, fitted
from inventory.leakrules import GALLON_M3, LeakRules

DATA = Path(__file__).parent.parent / "data"
RULES = {
    row["id"]: row
    for row in csv.DictReader((DATA / "stock" / "leak_rules.csv").read_text(encoding="utf-8").splitlines())
}

STAND = Standing(
    area_m2=50.0, level_m=9.4, gsv_m3=465.0, expansion_per_degC=9.3e-4, dry_m=5.4, averaging=True,
    level_step_m=1e-4, temperature_step_degC=0.1, warming_degC=0.2, distinct=4, vapour_m3=250.0,
    density_kgpm3=800.0, temperature_degC=28.0,
)  # fmt: skip


def value(name: str) -> float:
    return float(RULES[name]["value"])


def noise(seed: int, n: int, sd: float, r: float = 0.0) -> list[float]:
    luck, out, last = Random(seed), [], 0.0
    for _ in range(n):
        last = r * last + math.sqrt(1 - r * r) * luck.gauss(0, sd)
        out.append(last)
    return out


# One-sided 95 % points of Student's t: the usual table (from memory), three decimals.
@pytest.mark.parametrize(
    ("free", "t"), [(1, 6.314), (2, 2.920), (5, 2.015), (10, 1.812), (20, 1.725), (30, 1.697), (1e6, 1.645)]
)
def test_the_points_of_t_are_those_of_the_table(free, t):
    assert t_quantile(free) == pytest.approx(t, abs=6e-4)


def test_what_is_claimed_is_what_the_published_rule_asks():
    assert 1 - MISSED == value("leak-02")
    assert value("leak-03") == FALSE_ALARM
    threshold, detectable = detectable_of(1.0, 12)
    assert threshold / detectable == pytest.approx(value("leak-04"))
    assert pytest.approx(value("leak-09") / 1000) == GALLON_M3
    assert LeakRules().claim_at_most_m3_per_h == pytest.approx(value("leak-05") * value("leak-09") / 1000)


@pytest.mark.parametrize(("name", "gallons"), [("leak-06", 0.2), ("leak-07", 1.0), ("leak-08", 2.0)])
def test_the_standard_error_that_a_published_rate_allows(name, gallons):
    litres = gallons * value("leak-09")
    assert detectable_of(value(name), 1e9)[1] == pytest.approx(litres, rel=0.01)


def test_the_slope_error_of_white_noise_is_that_of_the_textbook():
    """sd = sigma sqrt(12 / (N (N^2 - 1))) / dt: tests/data/signal/slope_uncertainty.csv has the same formula."""
    hours = [k + 0.5 for k in range(20)]
    errors, told = [], []
    for seed in range(400):
        fit = fitted(hours, noise(seed, 20, 0.01), 20.0)
        assert fit is not None
        errors.append(fit.slope_m3_per_h)
        told.append(fit.se_m3_per_h**2)
    expected = 0.01 * math.sqrt(12 / (20 * (20**2 - 1)))
    assert statistics.pstdev(errors) == pytest.approx(expected, rel=0.12)
    assert expected < math.sqrt(statistics.mean(told)) < 1.6 * expected  # allowing for a correlation costs something


def test_a_chain_of_errors_widens_what_is_told_and_the_promise_holds():
    hours, over = [k + 0.5 for k in range(72)], 0
    wide = []
    for seed in range(400):
        fit = fitted(hours, noise(seed, 72, 0.01, 0.6), 72.0)
        if fit is None:
            continue
        wide.append(fit.se_m3_per_h)
        over += -fit.slope_m3_per_h > t_quantile(fit.free) * fit.se_m3_per_h
    white = 0.01 * math.sqrt(12 / (72 * (72**2 - 1)))
    assert statistics.median(wide) > 1.5 * white
    assert over / len(wide) < 0.09  # 5 % told; 400 draws of a chain of 0.6


def test_a_daily_wave_is_no_slope_over_whole_days_whatever_its_phase():
    hours = [k / 6 for k in range(144)]
    for phase in range(6):
        fit = fitted(hours, [465 + 0.04 * math.sin(math.tau * h / 24 + phase) - 0.002 * h for h in hours], 24.0)
        assert fit is not None
        assert fit.slope_m3_per_h == pytest.approx(-0.002, abs=1e-5)


def test_blocks_leave_out_hours_without_points():
    middles, means = blocks_of([0.1, 0.2, 23.9], [1.0, 3.0, 5.0], 24.0)
    assert middles == [0.5, 23.5]
    assert means == [2.0, 5.0]
    assert fitted([0.1, 5.0, 9.0], [1.0, 1.0, 1.0], 24.0) is None


def test_a_smooth_wander_is_refused_not_taken_for_many_measurements():
    hours = [k + 0.5 for k in range(9)]
    assert fitted(hours, [0.001 * (h - 4.5) ** 2 for h in hours], 9.0) is None


def _judged(slope, se_litres=0.3, stand=STAND, hours=24.0, rules=LeakRules()):  # noqa: B008
    t = [k + 0.5 for k in range(24)]
    fit = fitted(t, [465 + slope / 1000 * h + e for h, e in zip(t, noise(3, 24, 0.004), strict=True)], 24.0)
    assert fit is not None
    return judged(fit._replace(slope_m3_per_h=slope / 1000, se_m3_per_h=se_litres / 1000), stand, hours, rules)


def test_a_loss_is_told_only_above_the_threshold_and_a_gain_is_no_pass():
    still = _judged(0.0)
    threshold = 1000 * still.threshold_m3_per_h
    assert still.verdict is Verdict.NO_LOSS_SEEN
    assert _judged(-0.9 * threshold).verdict is Verdict.NO_LOSS_SEEN
    assert _judged(-1.1 * threshold).verdict is Verdict.LOSS
    assert _judged(1.1 * threshold).verdict is Verdict.GAIN


def test_the_sum_of_terms_is_their_root_of_squares():
    test = _judged(0.0)
    assert test.u_m3_per_h == pytest.approx(math.sqrt(sum(term.m3_per_h**2 for term in test.terms)))
    assert {term.name for term in test.terms} == {
        "fit", "gauge_mount", "dry_shell", "stratification", "thermometer", "evaporation",
    }  # fmt: skip


def test_one_spot_cannot_claim_two_tenths_of_a_gallon_and_says_what_it_would_need():
    """Computed for 800 kg/m3: 570 m3 move 5.3 L per 0.01 degC, so 0.2 gal/h over 24 h asks for well under 0.04 degC."""
    spot = STAND._replace(averaging=False, gsv_m3=570.0, dry_m=0.0, warming_degC=0.0, temperature_step_degC=0.01)
    strict = LeakRules(claim_at_most_m3_per_h=value("leak-01") * GALLON_M3)
    test = _judged(0.0, se_litres=0.01, stand=spot, rules=strict)
    assert test.verdict is Verdict.CANNOT_TELL
    (said,) = test.said
    assert said.why is Refusal.TEMPERATURE
    assert isinstance(said.has, float)
    assert isinstance(said.needs, float)
    assert said.needs < 0.02 < said.has
    assert smallest_claim(spot, strict) is None
    assert smallest_claim(spot, LeakRules()) is not None


def test_where_better_temperatures_alone_do_not_help_it_says_so():
    test = _judged(0.0, se_litres=5.0)
    assert test.verdict is Verdict.CANNOT_TELL
    assert test.said[0].why is Refusal.TOO_LARGE


def test_a_cooling_dry_shell_fakes_litres_an_hour():
    """Computed elsewhere for a tank of 10 m: a dry shell that cools by 8 K in a night of 8 h fakes a gain of 6 L/h."""
    tank = STAND._replace(area_m2=78.5, dry_m=6.4)
    terms = {term.name: 1000 * term.m3_per_h for term in terms_of(tank, 8.0, LeakRules(), 0.0)}
    assert terms["dry_shell"] == pytest.approx(6.0, rel=0.02)
    standing = {t.name: t.m3_per_h for t in terms_of(tank._replace(dry_m=0.0), 8.0, LeakRules(), 0.0)}
    assert standing["dry_shell"] == 0


def test_what_no_window_mends_is_refused_at_once():
    assert standing_refusals(digital=True, level_step_m=1e-4, thermometer=True, volatile="") == []
    said = standing_refusals(digital=True, level_step_m=1e-3, thermometer=False, volatile="Avgas")
    assert [one.why for one in said] == [Refusal.COARSE, Refusal.NO_TEMPERATURE, Refusal.VOLATILE]
    assert said[0].has == 1e-3
    assert said[0].needs == 1e-4
    loop = standing_refusals(digital=False, level_step_m=1e-5, thermometer=True, volatile="")
    assert [one.why for one in loop] == [Refusal.NOT_DIGITAL]
