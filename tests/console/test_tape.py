"""The dip tape as geometry."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from console import tape
from tests.console.fake import FakeFacts


def points_of(outline: str) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in (pair.split(",") for pair in outline.split())]


def test_an_upright_tank_is_a_plain_strip_of_four_corners(facts: FakeFacts) -> None:
    upright = facts.tank_facts("ostler-n")
    frame = tape.lying(upright)
    points = points_of(tape.outline(frame, upright["profile"], lies=True))
    assert len(points) == 4
    assert {abs(across - frame.middle) for _, across in points} == {frame.half}


def test_a_lying_tank_is_widest_in_its_middle_and_symmetrical(facts: FakeFacts) -> None:
    lying = facts.tank_facts("quillmoor")
    frame = tape.standing(lying)
    points = points_of(tape.outline(frame, lying["profile"], lies=False))
    widest = max(points, key=lambda point: point[0])
    assert widest[1] == pytest.approx(frame.along(lying["top_m"] / 2), abs=1)
    assert sum(x for x, _ in points) / len(points) == pytest.approx(frame.middle, abs=0.1)


def test_levels_run_from_the_bottom_to_the_reference_height(facts: FakeFacts) -> None:
    known = facts.tank_facts("ostler-n")
    lies, stands = tape.lying(known), tape.standing(known)
    assert lies.along(0) < lies.along(known["reference_height_m"])
    assert stands.along(0) > stands.along(known["reference_height_m"]), "a drawing counts downwards"
    assert lies.along(99) == lies.along(known["reference_height_m"]), "no mark outside of the drawing"


@given(st.floats(0.5, 30), st.floats(5, 15))
@settings(max_examples=60)
def test_graduation_is_never_crowded_and_names_round_figures(full_m: float, apart: float) -> None:
    frame = tape.Frame(0, 500, 10, 5, full_m)
    marks = tape.graduation(frame, fewest_apart=apart)
    assert all(b["at"] - a["at"] >= apart - 0.21 for a, b in itertools.pairwise(marks))
    assert marks[0] == {"at": 0.0, "named": True, "text": "0"}
    assert len(marks) > 500 / apart / 5 - 1


@given(st.lists(st.floats(0, 600), max_size=8), st.floats(1, 40))
@settings(max_examples=100)
def test_labels_keep_their_order_and_their_distance(places: list[float], gap: float) -> None:
    moved = tape.spread(sorted(places), gap)
    assert all(b - a >= gap - 0.11 for a, b in itertools.pairwise(moved))
    assert math.fsum(moved) == pytest.approx(math.fsum(places), abs=0.1 * len(places) + 1e-6)


def test_labels_with_room_stay_at_their_notch() -> None:
    assert tape.spread([10.0, 50.0, 100.0], 34) == [10.0, 50.0, 100.0]


def test_a_torn_tape_has_no_wet_part_and_rips_at_the_last_good_level(facts: FakeFacts) -> None:
    known = facts.tank_facts("fennock")
    frame = tape.lying(known)
    moving = tape.cut(frame, {"level_m": None, "water_m": 0.1, "last_good_level_m": 1.2}, torn=True)
    assert (moving["wet"], moving["water"], moving["torn"]) == (0, 0, True)
    assert moving["rip"] == frame.along(1.2)


def test_the_wet_part_reaches_the_product_cut(facts: FakeFacts) -> None:
    frame = tape.lying(facts.tank_facts("ostler-s"))
    moving = tape.cut(frame, {"level_m": 6.2, "water_m": 0.62, "last_good_level_m": 6.2}, torn=False)
    assert moving["wet"] == pytest.approx(frame.length / 2, abs=0.1)
    assert moving["water"] == pytest.approx(frame.length / 20, abs=0.1)
