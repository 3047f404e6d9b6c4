"""What a message says: the words, their order, the zone, and the key by which a repetition is told."""

import json

from alerts.notify.alive import Alive
from alerts.notify.letter import Face, House, alarm_letter, alive_letter, clock, letter_of_test, span
from alerts.notify.news import Now
from alerts.notify.policy import Policy
from tests.alerts.notify.rigs import MIN, T0_MS, Rig, S

HOUSE = House("north-farm", "North farm", "Europe/Oslo", "https://console.example/alarms")
FACE = Face("High-high level", "Palm", "Palm (palm), Jet A-1", "Stop the receipt now", "at once", "level 11.5 m")


def letter(rig: Rig, house: House = HOUSE):
    items = rig.tray.next(rig.now).items
    assert items
    faces = {item.case.id: FACE for item in items}
    return alarm_letter("duty", house, items, faces, rig.now.time_ms)


def rig(**wishes: object) -> Rig:
    return Rig(Policy("duty", gather_ms=0, **wishes))  # type: ignore[arg-type]


def test_a_message_says_what_where_how_much_since_when_and_what_to_do():
    r = rig()
    r.raised("palm.high_high", priority=1)
    made = letter(r)
    assert made.subject == "P1 Palm: High-high level - North farm"
    assert made.priority == 1
    # 12:00 UTC is 13:00 in Oslo in winter (IANA time zone database).
    assert made.text.splitlines()[:6] == [
        "High-high level, priority 1",
        "Palm (palm), Jet A-1",
        "level 11.5 m",
        "Raised at 13:00:00 on 25 Nov.",
        "Nobody has acknowledged it.",
        "Do: Stop the receipt now.",
    ]
    assert "https://console.example/alarms" in made.text
    assert "not an overfill prevention system" in made.text
    assert "Europe/Oslo" in made.text


def test_several_occurrences_and_what_became_of_them_are_told_as_one():
    r = rig(unacknowledged_ms=10 * MIN)
    for k in range(3):
        r.at = k * MIN
        r.raised("palm.high", priority=2)
        r.returned("palm.high")
    r.at = 12 * MIN
    text = letter(r).text
    assert "Raised 3 times, from 13:00:00 on 25 Nov to 13:02:00 on 25 Nov." in text
    assert "Its condition returned to normal at 13:02:00 on 25 Nov. Nobody has acknowledged it for 12 min." in text


def test_a_message_that_comes_again_says_so_in_its_subject():
    r = rig(again_ms=30 * MIN)
    r.raised("palm.high", priority=1)
    r.until(29 * MIN)
    r.at = 30 * MIN
    made = letter(r)
    assert made.subject == "P1 Palm: High-high level, STILL NOT ACKNOWLEDGED - North farm"
    assert "STILL NOBODY has acknowledged it for 30 min." in made.text


def test_what_was_acknowledged_before_the_message_could_go_says_by_whom():
    r = rig()
    r.raised("palm.high", priority=1)
    r.at = 5 * MIN
    r.acknowledged("palm.high")
    assert "Acknowledged by Ana at 13:05:00 on 25 Nov." in letter(r).text


def test_a_follow_up_says_what_followed_and_asks_for_nothing():
    r = rig(tells=frozenset({"raised", "returned"}))
    r.raised("palm.high", priority=1)
    r.ask()
    r.at = 5 * MIN
    r.returned("palm.high", "normal")
    made = letter(r)
    assert made.subject == "Returned Palm: High-high level - North farm"
    assert made.priority == 0
    assert "Do:" not in made.text


def test_the_most_urgent_alarm_stands_first_and_the_subject_counts_the_others():
    r = rig()
    r.raised("t1.low", priority=3)
    r.raised("t2.high", priority=1)
    made = letter(r)
    assert made.subject == "P1 Palm: High-high level (+1 more) - North farm"
    assert [one["id"] for one in made.content["alarms"]] == ["t2.high", "t1.low"]


def test_a_simulated_farm_is_marked_in_subject_text_and_values():
    r = rig()
    r.raised("palm.high", priority=1)
    made = letter(r, HOUSE._replace(simulated=True))
    assert made.subject.startswith("SIMULATED P1")
    assert made.text.startswith("SIMULATED FARM")
    assert made.content["simulated"] is True
    assert "simulated" not in letter(r).content


def test_the_same_message_has_the_same_key_and_a_later_occurrence_another():
    first, second, later = rig(), rig(), rig()
    for r in (first, second, later):
        r.raised("palm.high", priority=1)
    later.raised("palm.high", priority=1)
    assert letter(first).key == letter(second).key
    assert letter(first).key != letter(later).key
    anew = rig()
    anew.clock_ms += 1  # the same occurrence number in a store that was begun anew
    anew.raised("palm.high", priority=1)
    assert letter(anew).key != letter(first).key


def test_a_line_break_in_a_name_makes_no_header_of_its_own():
    assert "\n" not in letter_of_test("duty", HOUSE._replace(name="North\r\nBcc: all@x"), T0_MS, "Ana").subject


def test_values_for_programs_are_plain_json():
    r = rig()
    r.raised("palm.high", priority=1)
    said = json.loads(json.dumps(letter(r).content, allow_nan=False))
    assert said["alarms"][0]["key"] == "palm.high#1"
    assert said["alarms"][0]["raised"] == "2026-11-25T12:00:00.000Z"


def test_a_test_and_a_sign_of_life_are_marked_and_ask_nothing_of_anybody():
    made = letter_of_test("duty", HOUSE, T0_MS, "Ana")
    assert "TEST, no alarm." in made.text
    assert made.content["kind"] == "test"
    alive = alive_letter("duty", HOUSE, T0_MS, 5 * MIN)
    assert alive.content["next_by"] == "2026-11-25T12:05:00.000Z"
    assert "by 13:05:00 on 25 Nov" in alive.text
    assert "gauge the tanks by hand" in alive.text


def test_times_and_spans_in_words():
    assert clock(T0_MS, "Asia/Kolkata") == "17:30:00 on 25 Nov"
    assert [span(ms) for ms in (40 * S, 12 * MIN, 185 * MIN)] == ["40 s", "12 min", "3 h 5 min"]


def test_the_sign_of_life_comes_at_its_interval_and_is_withheld_from_a_core_that_is_silent():
    alive = Alive(5 * MIN, 60 * S)
    now = Now(T0_MS, 1000, 0)
    assert alive.due_in_ms(now) == 0
    assert not alive.withheld(now, T0_MS - 60 * S)
    assert alive.withheld(now, T0_MS - 61 * S)
    sent = alive.sent(now)
    assert sent.due_in_ms(now) == 5 * MIN
    assert sent.due_in_ms(now._replace(elapsed_ms=1000 + 5 * MIN)) == 0
