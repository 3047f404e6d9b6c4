"""The view models: what a page says of tanks, alarms and loops."""

import itertools
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from console import alarm_views, bus_views, loop_views, stock_views, tank_views
from console.model import Model
from tests.console.fake import NE43, FakeFacts

DUBLIN = ZoneInfo("Europe/Dublin")
NOW = "2026-11-25T12:00:00.000Z"


def tank(facts: FakeFacts, tank_id: str, **changed: Any) -> dict[str, Any]:
    live = facts.live()
    entry = next(entry for entry in live["tanks"] if entry["tank"] == tank_id) | changed
    return tank_views.view(entry, facts.tank_facts(tank_id), Model.alarms_of(live, entry), NOW, DUBLIN)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")


def test_a_good_tank_is_silent(facts: FakeFacts) -> None:
    seen = tank(facts, "ostler-s")
    assert (seen["alarm"], seen["note"], seen["torn"]["torn"], seen["tov_m3"]["q"]) == ("", "", False, "good")
    assert (seen["flow"], seen["next"]["name"]) == ("still", "not moving")


def test_the_next_limit_has_name_time_and_volume(facts: FakeFacts) -> None:
    coming = tank(facts, "ostler-n")["next"]
    assert coming["name"] == "High-high"
    assert plain(coming["time"]) == "in 1 h 46 min"
    assert plain(coming["volume"]) == "43 306 L"


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        ("filling", "above every limit"),
        ("emptying", "below every limit"),
        ("", "rate unknown"),
        ("still", "not moving"),
    ],
)
def test_the_next_limit_is_never_empty(facts: FakeFacts, flow: str, words: str) -> None:
    assert tank(facts, "ostler-n", flow=flow, next_limit=None)["next"]["name"] == words


def test_past_the_maximum_nothing_fits_and_it_says_by_how_much(facts: FakeFacts) -> None:
    seen = tank(facts, "ostler-n", room_m3=-3.838)
    assert seen["room"]["t"] == "0"
    assert plain(seen["room_note"]) == "3 838 over"


def test_usable_and_dead_stock_stand_beside_the_safe_fill_and_its_rule(facts: FakeFacts) -> None:
    seen = tank(facts, "ostler-n")
    whole = int(plain(seen["tov_m3"]["t"]).replace(" ", ""))
    parts = [int(plain(seen[name]["t"]).replace(" ", "")) for name in ("usable_m3", "dead_m3")]
    assert abs(sum(parts) - whole) <= 1
    still = tank_views.fixed(facts.tank_facts("ostler-n"))
    assert still["suction"]
    assert [(mark["name"], mark["rule"]) for mark in still["marks"]] == [
        ("Safe fill", "a rule"),
        ("Lowest suction", ""),
    ]
    bare = tank_views.fixed(facts.tank_facts("ostler-n") | {"suction": None, "safe_fill": None})
    assert (bare["marks"], bare["suction"]) == ([], False)


def test_where_the_level_is_at_least_so_is_the_usable_stock(facts: FakeFacts) -> None:
    seen = tank(facts, "harrowmead")
    assert seen["usable_m3"]["t"].startswith("≥ ")
    assert not seen["dead_m3"]["t"].startswith(("≥", "≤"))


def test_a_lost_level_tears_the_tape_and_keeps_the_last_good_volume_small(facts: FakeFacts) -> None:
    seen = tank(facts, "fennock")
    assert seen["torn"] == {"torn": True, "letter": "F", "word": "failure"}
    assert seen["tov_m3"]["t"] == "– – –"
    assert plain(seen["note"]) == "the loop current is in the failure range; last good 26 458 L at 11:58:25"
    assert seen["lying"]["wet"] == 0


def test_the_chain_and_the_book_tell_in_words_why_a_level_is_bad(facts: FakeFacts) -> None:
    step = {"symbol": "h", "name": "innage", "value": None, "unit": "m", "rule": "", "quality": "Bad BadSensorFailure"}
    rows = tank_views.chain_rows({"steps": [step, step | {"quality": "Good"}, step | {"quality": ""}]})
    words = "bad: the loop current is in the failure range"
    assert [(row["quality"], row["trust"]) for row in rows] == [(words, "bad"), ("good", "good"), ("", "good")]
    why = stock_views._reason("level is Bad: BadNoCommunication; and no dip")
    assert why == "no answer from the instrument; and no dip"
    assert stock_views._reason("no reading") == "no reading"


def test_every_figure_that_follows_a_bad_level_is_bad(facts: FakeFacts) -> None:
    seen = tank(facts, "fennock")
    follow = (*tank_views.FOLLOW_LEVEL, *tank_views.FOLLOW_STOCK)
    assert {seen[name]["q"] for name in follow} == {"bad"}


def test_a_level_beyond_the_range_is_at_least_and_its_ullage_at_most(facts: FakeFacts) -> None:
    seen = tank(facts, "harrowmead")
    assert seen["tov_m3"]["t"].startswith("≥ ")
    assert seen["ullage_m"]["t"].startswith("≤ ")
    assert seen["torn"]["torn"] is False


def test_a_current_in_the_upper_gap_still_says_at_least(facts: FakeFacts) -> None:
    """Bad, but bounded: the side of a full tank is never held back."""
    seen = tank(facts, "harrowmead", quality="Bad", reason="BadOutOfRange", stock_quality="Bad")
    assert seen["tov_m3"]["q"] == "bound"


def test_a_good_level_with_bad_stock_keeps_its_volume(facts: FakeFacts) -> None:
    seen = tank(facts, "ostler-s", stock_quality="Bad", gsv_m3=None, mass_kg=None)
    assert (seen["tov_m3"]["q"], seen["gsv_m3"]["q"], seen["mass_kg"]["t"]) == ("good", "bad", "– – –")


def test_an_old_reading_is_stale_in_every_figure_and_tears_the_tape(facts: FakeFacts) -> None:
    seen = tank(facts, "pipit")
    assert plain(seen["note"]) == "no reading for 95 s"
    assert {seen[name]["q"] for name in (*tank_views.FOLLOW_LEVEL, *tank_views.OWN)} == {"stale"}
    assert seen["torn"]["torn"] is True
    assert plain(seen["next"]["time"]) == "– – –"


def test_a_tank_before_its_first_reading_says_so(facts: FakeFacts) -> None:
    nothing = dict.fromkeys((*tank_views.FOLLOW_LEVEL, *tank_views.FOLLOW_STOCK, *tank_views.OWN))
    seen = tank(
        facts, "ostler-s", **nothing, time=None, age_s=None, quality="Bad", reason="BadNoCommunication",
        last_good_level_m=None, last_good_tov_m3=None, last_good_time=None, flow="", next_limit=None,
        day_low_m=None, day_high_m=None, since_reset_low_m=None, since_reset_high_m=None, since_reset_time=None,
        water_age_s=None, gsv_u95_m3=None,
    )  # fmt: skip
    assert seen["read"] == "no reading yet"
    assert seen["note"] == "no answer from the instrument"
    assert (seen["tov_m3"]["t"], seen["day"]["low"], seen["flow"]) == ("– – –", "– – –", "level unknown")


def test_water_tells_where_it_comes_from_and_how_old_it_is(facts: FakeFacts) -> None:
    assert tank(facts, "ostler-s")["water_note"] == "gauged"
    assert plain(tank(facts, "harrowmead")["water_note"]) == "dipped 7 h ago"
    assert tank(facts, "fennock")["water_note"] == "not measured"


def test_the_lying_tape_bears_the_most_pressing_tab_at_its_notch(facts: FakeFacts) -> None:
    seen = tank(facts, "harrowmead")
    limit = next(limit for limit in facts.tank_facts("harrowmead")["limits"] if limit["condition"] == "high_high")
    assert seen["pin"]["tab"] == {"p": "1", "s": "unacknowledged"}
    frame_at = tank_views.tape.lying(facts.tank_facts("harrowmead")).along(limit["at_m"])
    assert seen["pin"]["at"] == frame_at
    assert (seen["more"], seen["invert"]) == ("+ 2 more", "1")


def alarm(**changed: Any) -> dict[str, Any]:
    base = {
        "id": "a.high", "source": "a", "tank": "a", "condition": "high", "name": "High level", "priority": 2,
        "state": "unacknowledged", "occurrence": 1, "raised": NOW, "returned": None, "acknowledged_by": "",
        "acknowledged": None, "comment": "",
    }  # fmt: skip
    return base | changed


def test_what_waits_comes_before_what_is_urgent_and_that_before_what_is_old() -> None:
    early = "2026-11-25T11:00:00.000Z"
    in_order = [
        alarm(id="1", state="latched_unacknowledged", priority=1),
        alarm(id="2", state="returned_unacknowledged", priority=2, raised=early),
        alarm(id="3", state="unacknowledged", priority=2),
        alarm(id="4", state="acknowledged", priority=1),
        alarm(id="5", state="latched_acknowledged", priority=3),
        alarm(id="6", state="shelved", priority=1),
        alarm(id="7", state="out_of_service", priority=3),
    ]
    assert [a["id"] for a in alarm_views.ordered(reversed(in_order))] == list("1234567")


def test_the_head_names_what_wants_a_person_first_and_counts_the_others() -> None:
    early, later = "2026-11-25T11:00:00.000Z", "2026-11-25T11:30:00.000Z"
    low = alarm(id="b.low", name="Low level", raised=early)
    urgent = alarm(id="a.high_high", name="High-high level", priority=1, raised=later)
    gone = alarm(id="a.critical_high", name="Critical", priority=1, raised=early, returned=later,
                 state="returned_unacknowledged")  # fmt: skip
    head = alarm_views.head([low, urgent, gone, alarm(id="c", state="acknowledged")], {"a": "Ostler"})
    assert (head["text"], head["more"]) == ("Ostler: High-high level", "and 2 more")
    assert alarm_views.head([low, gone], {"a": "Ostler"})["text"] == "Ostler: Low level"


def test_a_quiet_head_says_so_and_counts_what_stands() -> None:
    assert alarm_views.head([], {})["text"] == "no alarm waits"
    head = alarm_views.head([alarm(state="acknowledged"), alarm(state="shelved")], {})
    assert (head["p"], head["more"]) == ("", "1 acknowledged standing")


def test_the_list_is_drawn_anew_when_a_state_or_a_comment_changes_only() -> None:
    before = alarm_views.revision([alarm()])
    assert alarm_views.revision([alarm(raised="2026-11-25T11:00:00.000Z")]) == before
    assert alarm_views.revision([alarm(state="acknowledged")]) != before
    assert alarm_views.revision([alarm(occurrence=2)]) != before


@pytest.mark.parametrize(("mA", "at"), [(2.0, 0.0), (24.0, 440.0), (13.0, 220.0), (0.0, 0.0), (40.0, 440.0)])
def test_the_needle_stays_on_the_strip(mA: float, at: float) -> None:
    assert loop_views.along(mA) == at


def test_the_strip_is_covered_by_bands_without_a_gap() -> None:
    """Edges: NAMUR NE 43 (2003), 3.6 and 21 mA failure, 3.8 to 20.5 mA measurement."""
    bands = loop_views.strip(NE43)["bands"]
    assert [band["kind"] for band in bands] == ["fail", "gap", "edge", "normal", "edge", "gap", "fail"]
    assert bands[0]["x"] == 0
    for left, right in itertools.pairwise(bands):
        assert left["x"] + left["width"] == pytest.approx(right["x"], abs=0.11)
    assert bands[1]["x"] == pytest.approx((3.6 - 2) / 22 * 440, abs=0.05)


def test_a_silent_loop_hides_its_needle_and_never_calls_itself_well(facts: FakeFacts) -> None:
    entry = facts.live()["loops"][-1]
    seen = loop_views.view(entry, {}, NOW, DUBLIN)
    assert (seen["hidden"], seen["verdict"], seen["current"]["t"]) == (True, "no answer", "– – –")
    unheard = loop_views.view(entry | {"fault": "", "outcome": None, "age_s": None}, {}, NOW, DUBLIN)
    assert unheard["verdict"] == "no reading yet"


def test_a_line_says_how_busy_it_is_and_who_answers_how_fast(facts: FakeFacts) -> None:
    live = facts.live()
    message = Model(facts).message(live)
    line = message["buses"]["west"]
    assert (line["state"], line["busy"]) == ("connected", "12.3 %")
    unit = line["units"]["LI-ostler-n"]
    assert (unit["no_answer"], unit["wrong_reply"], unit["half"], unit["most"]) == ("7", "2", "11", "– – –")
    assert (message["points"]["air"]["figure"], plain(message["points"]["air"]["age"])) == ("11.250 degC", "2 s")


def test_a_line_that_is_down_says_why() -> None:
    entry = {"connected": False, "fault": "refused", "utilisation": None, "requests": 0, "connects": 0, "refused": 3,
             "strays": 0, "units": []}  # fmt: skip
    shown = bus_views.view(entry, "2026-11-25T12:00:00.000Z", ZoneInfo("Etc/UTC"))
    assert (shown["state"], shown["up"], shown["busy"]) == ("not connected: refused", "", "– – –")


def test_the_time_to_a_level_of_concern_says_between_what_it_lies(facts: FakeFacts) -> None:
    coming = {"at_m": 11.4, "seconds": 900.0, "earliest_s": 750.0, "latest_s": 1200.0}
    seen = tank(facts, "ostler-n", time_to={"high_high": coming, "critical_high": {**coming, "latest_s": None}})
    high, critical = seen["concern"]["high_high"], seen["concern"]["critical_high"]
    assert (plain(high["time"]), plain(high["span"])) == ("in 15 min", "12 min to 20 min")
    assert plain(critical["span"]) == "12 min or later"
    sure = tank(facts, "ostler-n", time_to={"high_high": {**coming, "earliest_s": 899.0, "latest_s": 901.0}})
    assert plain(sure["concern"]["high_high"]["span"]) == "14 min to 15 min"
    sure = tank(facts, "ostler-n", time_to={"high_high": {**coming, "earliest_s": 900.0, "latest_s": 901.0}})
    assert sure["concern"]["high_high"]["span"] == ""
    assert tank(facts, "ostler-n", time_to=None)["concern"]["high_high"]["time"] == ""


def test_an_order_says_who_made_it_and_how_far_it_is(facts: FakeFacts) -> None:
    order = {"kind": "receipt", "quantity_m3": 20.0, "by": "Ann", "begun": False, "moved_m3": -0.01}
    assert plain(tank(facts, "ostler-n", plan=order)["plan"]) == "receipt of 20 000 L ordered by Ann: not begun"
    moved = order | {"kind": "issue", "begun": True, "moved_m3": 12.5}
    assert plain(tank(facts, "ostler-n", plan=moved)["plan"]) == "issue of 20 000 L ordered by Ann: 12 500 L out"
    assert tank(facts, "ostler-n", plan=None)["plan"] == ""
