"""Causes by signature, on traces made by hand: what ranks first, what speaks against it, and when nobody can tell.

Basis of the signatures: NAMUR NE 43 (2003; secondary texts) for the bands; the rest common practice, no source.
The labelled faults of the simulator are in tests/gaugehouse/test_labelled_faults.py.
"""

import math
import random
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.diagnosis import (
    CAUTION,
    WORDS,
    Cause,
    Diagnosis,
    DipRow,
    Earlier,
    Question,
    Seen,
    Slow,
    Span,
    Surroundings,
    TraceRow,
    diagnose,
)

START_S = 300
AT_MS = 1_750_000_000_000
SPAN = Span(0.0, 10.0)


def trace(
    before: Callable[[int], float], after: Callable[[int], float | None], seconds: int = 900, noise_mA: float = 0.002
) -> list[TraceRow]:
    """One row a second; the fault begins at START_S. None = no answer."""
    rng = random.Random(17)
    rows = []
    for s in range(seconds):
        value = before(s) if s < START_S else after(s)
        if value is None:
            rows.append(TraceRow(1000 * s, AT_MS + 1000 * s, None, None, "timeout"))
        else:
            mA = value + rng.gauss(0, noise_mA)
            rows.append(TraceRow(1000 * s, AT_MS + 1000 * s, mA, None))
    return rows


def asked(rows: Sequence[TraceRow], fault_class: str = "", **known: object) -> Diagnosis:
    known.setdefault("span", SPAN)
    return diagnose(Question(rows, AT_MS + 1000 * START_S, None, fault_class, Surroundings(**known)))  # type: ignore[arg-type]


def seen(value: float, seconds: int = 900) -> list[Seen]:
    return [Seen(AT_MS + 1000 * s, value) for s in range(0, seconds, 5)]


def calm(second: int) -> float:
    return 12.0


def words_of(found: Diagnosis, cause: Cause) -> tuple[tuple[str, ...], tuple[str, ...]]:
    one = next(f for f in found.findings if f.cause is cause)
    return one.evidence_for, one.evidence_against


DEAD = trace(calm, lambda s: 0.0, noise_mA=0.0)


def test_no_current_is_open_supply_or_short_and_nobody_can_tell() -> None:
    assert set(asked(DEAD).best) == {Cause.OPEN_CIRCUIT, Cause.SUPPLY_LOST, Cause.SHORT}


@pytest.mark.parametrize(
    ("volts", "field", "cause"),
    [(24.0, 0.0, Cause.OPEN_CIRCUIT), (0.2, 0.0, Cause.SUPPLY_LOST), (24.0, 12.0, Cause.SHORT)],
)
def test_supply_volts_and_field_current_part_the_three(volts: float, field: float, cause: Cause) -> None:
    found = asked(DEAD, around={"supply_voltage": seen(volts), "field_current": seen(field)})
    assert found.best == (cause,)


def test_other_loops_of_the_supply_speak_for_it_or_against_it() -> None:
    assert asked(DEAD, failing_together=("li-2",)).best == (Cause.SUPPLY_LOST,)
    assert Cause.SUPPLY_LOST not in asked(DEAD, healthy_together=("li-2",)).best


def test_a_loop_powered_indicator_that_does_not_answer_ranks_its_open_loop_first() -> None:
    silent = trace(calm, lambda s: None)
    found = asked(silent, "no_answer", loop_powered=True)
    assert set(found.best) == {Cause.OPEN_CIRCUIT, Cause.SUPPLY_LOST}
    assert found.findings[-1].cause in (Cause.SILENT_UNIT, Cause.SHORT)
    other = asked(silent, "no_answer")
    assert other.best == (Cause.SILENT_UNIT,)
    assert Cause.OPEN_CIRCUIT not in [f.cause for f in other.findings]
    assert asked(silent, "no_answer", silent_together=("li-2", "li-3")).best == (Cause.SILENT_BUS,)


@pytest.mark.parametrize(
    ("mA", "best"),
    [
        (3.5, {Cause.FAIL_LOW}),
        (21.5, {Cause.FAIL_HIGH}),
        (22.5, {Cause.FAIL_HIGH, Cause.SHORT}),  # some transmitters signal up to 23 mA, some limiters give 22
        (28.0, {Cause.SHORT}),
    ],
)
def test_failure_currents(mA: float, best: set[Cause]) -> None:
    assert set(asked(trace(calm, lambda s: mA)).best) == best


def test_the_field_current_parts_a_high_failure_from_a_short() -> None:
    rows = trace(calm, lambda s: 22.5)
    assert asked(rows, around={"field_current": seen(22.5)}).best == (Cause.FAIL_HIGH,)
    assert asked(rows, around={"field_current": seen(0.0)}).best == (Cause.SHORT,)


def test_regular_drops_are_resets_and_irregular_ones_are_not() -> None:
    regular = trace(calm, lambda s: 0.0 if (s - START_S) % 60 < 2 else 3.5 if (s - START_S) % 60 < 9 else 12.0)
    assert asked(regular, "fail_low").best == (Cause.RESET_CYCLING,)
    at = {START_S, START_S + 35, START_S + 52, START_S + 190, START_S + 251, START_S + 420}
    irregular = trace(calm, lambda s: 3.5 if any(a <= s < a + 6 for a in at) else 12.0)
    assert Cause.RESET_CYCLING not in asked(irregular, "fail_low").best


def test_a_ripple_that_comes_and_stays_is_interference_and_a_filling_is_not() -> None:
    rippled = trace(calm, lambda s: 12.0 + 0.15 * math.sin(s * 0.7))
    assert asked(rippled).best == (Cause.INTERFERENCE,)
    filling = trace(calm, lambda s: 12.0 + 0.0005 * (s - START_S))
    assert asked(filling).unknown


def test_a_step_that_stays_is_a_surge_and_one_to_a_neighbour_s_value_is_the_wrong_unit() -> None:
    rows = trace(calm, lambda s: 13.1)
    assert asked(rows).best == (Cause.SURGE_STEP,)
    neighbour = [Seen(r.time_ms, 13.1 if r.current_mA is None or r.current_mA < 13 else r.current_mA) for r in rows]
    assert asked(rows, others={"li-2": neighbour}).best == (Cause.WRONG_UNIT,)
    back = trace(calm, lambda s: 13.1 if s < START_S + 200 else 12.0)
    assert Cause.SURGE_STEP not in asked(back).best


def test_equal_samples_are_a_frozen_register_where_noise_should_show_and_no_verdict_where_it_cannot() -> None:
    flat = trace(calm, lambda s: 12.0)
    flat = [r if r.elapsed_ms < 1000 * START_S else r._replace(current_mA=12.001) for r in flat]
    assert asked(flat).best == (Cause.FROZEN_REGISTER,)
    coarse = [r._replace(current_mA=round((r.current_mA or 0) / 0.02) * 0.02) for r in trace(calm, calm)]
    assert asked(coarse, step_mA=0.02).unknown


def rates(mA_per_min: float) -> list[Seen]:
    return seen(mA_per_min)


def test_flat_while_a_meter_runs_is_a_lost_echo() -> None:
    flat = trace(calm, calm)
    assert asked(flat, metered_mA_per_min=rates(0.05)).best == (Cause.LOST_ECHO,)
    assert asked(flat, metered_mA_per_min=rates(0.0)).unknown


def test_a_field_current_that_moves_on_makes_it_the_register() -> None:
    flat = [r if r.elapsed_ms < 1000 * START_S else r._replace(current_mA=12.001) for r in trace(calm, calm)]
    moving = [Seen(AT_MS + 1000 * s, 12.0 + max(0, s - START_S) * 0.001) for s in range(0, 900, 5)]
    found = asked(flat, metered_mA_per_min=rates(0.06), around={"field_current": moving})
    assert found.best == (Cause.FROZEN_REGISTER,)


def test_a_rise_that_ends_at_the_blocking_limit() -> None:
    rows = trace(lambda s: 12.0 + 0.001 * (s - START_S), calm)
    known = {"metered_mA_per_min": rates(0.06)}
    assert asked(rows, blocking_mA=12.0, **known).best == (Cause.BLOCKING_LIMIT,)
    assert Cause.BLOCKING_LIMIT not in asked(rows, blocking_mA=13.0, **known).best


def test_a_top_that_steps_with_the_heater_is_a_starved_loop() -> None:
    def heats(s: int) -> bool:
        return s % 200 < 100

    rows = trace(
        lambda s: 12.0 + 0.001 * (s - START_S), lambda s: min(12.0 + 0.001 * (s - START_S), 11.8 if heats(s) else 12.3)
    )
    heater = [Seen(AT_MS + 1000 * s, 100.0 if heats(s) else 0.0) for s in range(0, 900, 5)]
    around = {"heater_current": heater, "supply_voltage": seen(17.0)}
    found = asked(rows, metered_mA_per_min=rates(0.06), around=around)
    assert found.best == (Cause.STARVED,)
    assert any("heater" in words for words in words_of(found, Cause.STARVED)[0])


def nights(failures: Sequence[float]) -> dict[str, object]:
    """Failures at these hours of the two days before, and slots of those days."""
    day, first = 86_400_000, AT_MS - 2 * 86_400_000
    earlier = [
        Earlier(first + d * day + round(h * 3_600_000), None, "fail_low", h % 24) for d in (0, 1) for h in failures
    ]
    slow = [Slow(first + k * 300_000, k * 5 / 60 % 24, 11.99, 12.0, 12.01) for k in range(576)]
    return {"earlier": earlier, "slow": slow, "hour": 4.0}


def test_failures_of_the_night_are_the_window_and_the_heater_decides_which() -> None:
    rows = trace(calm, lambda s: 3.5 if s < START_S + 30 else 12.0)
    known = nights((2.0, 4.5, 5.5, 6.2))
    assert set(asked(rows, "fail_low", **known).best) == {Cause.FOULED, Cause.HEATER_DEAD}
    times = [e.start_ms for e in known["earlier"]]  # type: ignore[attr-defined]
    for draws, cause in ((0.0, Cause.HEATER_DEAD), (95.0, Cause.FOULED)):
        heater = [Seen(at + k * 60_000, draws) for at in times for k in range(-5, 6)]
        found = asked(rows, "fail_low", around={"heater_current": heater}, **known)
        assert found.best == (cause,)


def test_failures_at_any_hour_are_not_the_window() -> None:
    rows = trace(calm, lambda s: 3.5)
    found = asked(rows, "fail_low", **nights((2.0, 9.9, 13.0, 17.0)))
    assert found.best == (Cause.FAIL_LOW,)


def test_field_and_panel_that_part_at_night_are_a_leak() -> None:
    rows, known = trace(calm, calm), nights(())
    slow: list[Slow] = known["slow"]  # type: ignore[assignment]
    field = [Seen(s.time_ms + 60_000 * k, s.mean_mA + (0.4 if s.hour < 8 else 0.0)) for s in slow for k in range(5)]
    assert asked(rows, around={"field_current": field}, **known).best == (Cause.LEAK,)
    same = [Seen(s.time_ms + 60_000 * k, s.mean_mA) for s in slow for k in range(5)]
    assert asked(rows, around={"field_current": same}, **known).unknown


@pytest.mark.parametrize(
    ("differences_mm", "best"),
    [
        ((20, 21, 19, 20), {Cause.ZERO_SHIFT}),
        ((5, 20, 40, 62), {Cause.SPAN_ERROR}),
        ((1, -2, 2, 0), set()),
        ((25, -20, 18, -30), set()),  # neither model explains it
    ],
)
def test_dips_tell_a_zero_from_a_span(differences_mm: Sequence[float], best: set[Cause]) -> None:
    dips = [
        DipRow(k, level, level + mm / 1000)
        for k, (level, mm) in enumerate(zip((1, 3, 6, 9), differences_mm, strict=True))
    ]
    assert set(asked(trace(calm, calm), dips=dips).best) == best


def test_every_cause_has_a_name_and_a_test_that_would_refute_it() -> None:
    assert set(WORDS) == set(Cause)
    for words in WORDS.values():
        assert words.name
        assert "refute" in words.refuted_by or "not open" in words.refuted_by
    assert "licensed" in CAUTION


def test_nothing_known_and_nothing_heard_is_unknown() -> None:
    assert diagnose(Question((), AT_MS, None, "", Surroundings())).unknown
    assert asked(trace(calm, calm)).unknown


rows_of_any_kind = st.lists(
    st.one_of(st.none(), st.floats(0, 40), st.sampled_from([0.0, 3.5, 3.8, 12.0, 20.5, 22.0])), max_size=200
)


@settings(max_examples=120, deadline=None)
@given(rows_of_any_kind, st.booleans(), st.sampled_from(["", "fail_low", "no_answer", "frozen"]))
def test_any_trace_gives_a_ranked_answer(currents: list[float | None], powered: bool, fault_class: str) -> None:
    rows = [
        TraceRow(1000 * s, AT_MS + 1000 * s, mA, None, "ok" if mA is not None else "timeout")
        for s, mA in enumerate(currents)
    ]
    found = diagnose(
        Question(
            rows,
            AT_MS + 20_000,
            None,
            fault_class,
            Surroundings(loop_powered=powered, around={"field_current": seen(4)}),
        )
    )
    assert [f.points for f in found.findings] == sorted((f.points for f in found.findings), reverse=True)
    assert set(found.best) <= {f.cause for f in found.findings}
    assert all(f.evidence_for for f in found.findings)
