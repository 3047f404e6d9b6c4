"""Line protocol: against a reader of it that is written here from its published description, and by hand."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from history.lines import FIELDS, Line, chunks, in_order, lines_of, reading_from, time_ns
from history.scale import rounded
from models.reading import QUANTITIES, Bound, Quality, Reading, Reason
from tests.history.samples import NOON_MS, bad, reading, run
from tests.history.test_block import columns

POINT = re.compile(r"reading,site=((?:\\.|[^,= ])+),tank=((?:\\.|[^,= ])+) (\S+) (\d+)")


def parsed(text: str) -> tuple[str, str, dict[str, float], int]:
    """Site, tank, fields and time of a line. Source: InfluxData, "Line protocol": a field without a mark is a float."""
    found = POINT.fullmatch(text)
    assert found is not None, text
    pairs = [pair.split("=") for pair in found[3].split(",")]
    assert all(re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", value) for _, value in pairs), text
    site, tank = (re.sub(r"\\(.)", r"\1", name) for name in found.group(1, 2))
    return site, tank, {name: float(value) for name, value in pairs}, int(found[4])


def test_a_line_as_it_is_written_out_by_hand() -> None:
    one = bad(7, NOON_MS, current_mA=3.5)._replace(water_m=0.00001)
    [line] = lines_of("north-farm", "T-1", columns([one]))
    assert line == Line(7, (
        "reading,site=north-farm,tank=T-1 seq=7.0,quality=2.0,reason=3.0,stock_quality=2.0,bound=0.0,"
        "current_mA=3.5,temperature_degC=15.5,water_m=1e-05 1767268800000000007"
    ))  # fmt: skip


@pytest.mark.parametrize("reason", list(Reason))
@pytest.mark.parametrize("bound", list(Bound))
def test_every_word_comes_back_from_its_number(reason: Reason, bound: Bound) -> None:
    one = reading(1, NOON_MS, quality=Quality.UNCERTAIN, stock_quality=Quality.BAD, reason=reason, bound=bound)
    [line] = lines_of("F", "T-1", columns([one]))
    _, tank, fields, ns = parsed(line.text)
    assert reading_from(tank, ns, fields) == rounded(one)


figures = st.none() | st.floats(-1e5, 1e5, allow_nan=False)


@given(st.integers(1, 2**50), st.integers(0, 4 * 10**12), st.lists(figures, min_size=14, max_size=14))
def test_what_is_not_known_is_left_out_and_all_else_comes_back(
    seq: int, time_ms: int, values: list[float | None]
) -> None:
    one = Reading(seq, time_ms, "a b,c=d\\", Quality.GOOD, Reason.NONE)
    one = one._replace(**dict(zip((q.column for q in QUANTITIES), values, strict=True)))
    [line] = lines_of("s", one.tank, columns([one]))
    _, tank, fields, ns = parsed(line.text)
    assert tank == one.tank
    assert fields.keys() == {name for name in FIELDS if getattr(one, name) is not None}
    assert all(math.isfinite(value) for value in fields.values())
    assert reading_from(tank, ns, fields) == rounded(one)


def test_two_readings_of_one_millisecond_are_two_points_and_a_repeat_is_the_same() -> None:
    assert time_ns(NOON_MS, 5) != time_ns(NOON_MS, 6)
    assert time_ns(NOON_MS, 5) == time_ns(NOON_MS, 5)
    assert time_ns(NOON_MS, 10**9 + 1) // 10**6 == NOON_MS
    assert time_ns(9_223_372_036_853, 2**52) < 2**63  # the year 2262


def test_a_point_of_somebody_else_is_no_reading() -> None:
    assert reading_from("T", 0, {"level_m": 5.0}) is None
    assert reading_from("T", 0, dict.fromkeys(FIELDS, 77.0)) is None
    assert reading_from("T", 0, dict.fromkeys(FIELDS)) is None


def test_tanks_are_sent_by_seq() -> None:
    parts = [("T-1", columns(run(5))), ("T-2", columns(run(3, first_seq=2, tank="T-2")))]
    assert [line.seq for line in in_order("F", parts)] == [1, 2, 2, 3, 3, 4, 4, 5]


@given(st.lists(st.integers(1, 5), max_size=40), st.integers(1, 12))
def test_chunks_never_part_a_seq(sizes: list[int], most: int) -> None:
    lines = [Line(seq, str(k)) for seq, size in enumerate(sizes) for k in range(size)]
    found = list(chunks(lines, most))
    assert [line for chunk in found for line in chunk] == lines
    for chunk in found:
        assert len(chunk) <= most or len({line.seq for line in chunk}) == 1
    assert len({line.seq for line in lines}) == sum(len({line.seq for line in chunk}) for chunk in found)
