"""What is watched at a tank beside its limits: water, temperature, condensation, a second gauge, stillness, plans."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from gaugehouse.acts import Answer, Taken, act_of
from gaugehouse.cli import main
from gaugehouse.core import Core, Tick
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, open_stores
from gaugehouse.wiring import core_of
from models.reading import Instant
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.gaugehouse.test_watching import AREA_M2, START_MS, Player, current, live_view

SIGNALS = "\n".join(
    f'[[instrument.signal]]\nname = "{name}"\nfunction = 3\naddress = {10 + 2 * n}\ncounted_from = 0\n'
    f'type = "float32"\nunit = "{unit}"\n'
    for n, (name, unit) in enumerate([("level", "mm"), ("air", "degC"), ("humidity", "%"), ("window", "degC")])
)
YARD = f"""
[[instrument]]
id = "yard"
bus = "gateway"
unit = 2
{SIGNALS}
"""
POINTS = "".join(
    f'\n[[point]]\nid = "{name}"\nsignal = "yard.{name}"\nrole = "{role}"\n'
    for name, role in (
        ("air", "ambient_temperature"),
        ("humidity", "humidity"),
        ("window", "window_temperature"),
    )
)
WATER = """
[[instrument.signal]]
name = "water"
function = 3
address = 8
counted_from = 0
type = "uint16"
unit = "mm"
"""


def core(folder: Path, watch: str, more: str = "") -> Core:
    text = LOOP_SITE.replace('unit = "degC"\n', 'unit = "degC"\n' + WATER, 1)
    text = text.replace('water = "none"', 'water = "palm-top.water"')
    return core_of(load_site(write_site(folder, text + watch.replace("{", "{{").replace("}", "}}") + YARD + more)))


def top(level_m: float, temperature: float = 15.0, water_mm: float = 10.0) -> Mapping[str, float]:
    return {**current(level_m), "temperature": temperature, "water": water_mm}


def run(player: Player, seconds: range, **cells: object) -> list[str]:
    """Poll tank Palm; cells: level_m, temperature, water_mm as values or as functions of the second."""
    seen = []
    for second in seconds:
        now = {name: cell(second) if callable(cell) else cell for name, cell in cells.items()}
        now.setdefault("level_m", 5.0)
        seen += [f"{second} {what}" for what in player.tick(second, palm_top=top(**now))]  # type: ignore[arg-type]
    return seen


def test_high_water_comes_after_its_delay_and_returns_below_its_deadband(tmp_path: Path) -> None:
    player = Player(
        core(tmp_path, '[tank.watch]\nwater_high = { at = "50 mm", on_delay = "10 s", off_delay = "10 s" }\n')
    )
    seen = run(player, range(0, 90), water_mm=lambda s: 50.0 if s < 30 else 46.0 if s < 60 else 44.0)
    assert seen == ["10 palm.water_high raised", "70 palm.water_high returned"]


def test_rising_water_is_seen_within_its_window_only(tmp_path: Path) -> None:
    """10 mm within 2 h: a rise of 6 mm/h is, one of 4 mm/h is not."""
    watch = '[tank.watch]\nwater_rising = { at = "10 mm", over = "2 h" }\n'
    slow = run(Player(core(tmp_path, watch)), range(0, 6 * 3600, 20), water_mm=lambda s: 10 + 4 * s / 3600)
    assert slow == []
    fast = run(Player(core(tmp_path, watch)), range(0, 6 * 3600, 20), water_mm=lambda s: 10 + 6 * min(s, 7200) / 3600)
    assert [what.split()[1:] for what in fast] == [["palm.water_rising", "raised"], ["palm.water_rising", "returned"]]
    assert 6000 <= int(fast[0].split()[0]) <= 6300  # 10 mm are reached after 6000 s


def test_high_and_low_temperature(tmp_path: Path) -> None:
    watch = '[tank.watch]\ntemperature_high = "40 degC"\ntemperature_low = "-5 degC"\n'
    seen = run(
        Player(core(tmp_path, watch)),
        range(0, 600, 10),
        temperature=lambda s: 40.0 if s < 120 else 20.0 if s < 300 else -5,
    )
    assert [what.split(maxsplit=1)[1] for what in seen] == [
        "palm.temperature_high raised", "palm.temperature_high returned", "palm.temperature_low raised",
    ]  # fmt: skip


def test_condensation_is_judged_by_the_dew_point_of_the_air_at_the_window(tmp_path: Path) -> None:
    """Source: the dew point of air of 20 degC and 60 % is 12.0 degC (common psychrometric charts; models/moistair)."""
    player = Player(core(tmp_path, '[tank.watch]\ncondensation_risk = "2 degC"\n', POINTS))
    seen = []
    for second in range(0, 1500, 10):
        window = 14.5 if second < 300 else 13.5 if second < 900 else 15.0
        air = {"level": 5000.0, "air": 20.0, "humidity": 60.0, "window": window}
        seen += [f"{second} {what}" for what in player.tick(second, yard=air, palm_top=top(5.0))]
    assert seen == ["600 palm.condensation_risk raised", "1200 palm.condensation_risk returned"]


@pytest.mark.parametrize("air", [{"humidity": 140.0}, {"humidity": None}, {"window": None}])
def test_a_sensor_that_says_nonsense_raises_no_condensation(tmp_path: Path, air: dict[str, float | None]) -> None:
    player = Player(core(tmp_path, '[tank.watch]\ncondensation_risk = "2 degC"\n', POINTS))
    good = {"level": 5000.0, "air": 20.0, "humidity": 60.0, "window": 1.0}
    assert [what for s in range(0, 900, 10) for what in player.tick(s, yard=good | air, palm_top=top(5.0))] == []


SECOND = '[tank.second_level]\nlevel = "yard.level"\nat = "20 mm"\n'


def test_two_gauges_that_disagree_are_told_and_a_lost_one_tells_nothing(tmp_path: Path) -> None:
    player, seen = Player(core(tmp_path, SECOND)), []
    for second in range(0, 500):
        other = 5015.0 if second < 100 else None if 150 <= second < 200 else 5021.0 if second < 300 else 5014.0
        yard = None if other is None else {"level": other, "air": 1.0, "humidity": 1.0, "window": 1.0}
        alarms = [f"{second} {what}" for what in player.tick(second, yard=yard, palm_top=top(5.0))]
        seen += [what for what in alarms if "deviation" in what]
    # 50 s before the other gauge fell silent and 10 s after it came back make its 60 s
    assert seen == ["210 palm.level_deviation raised", "360 palm.level_deviation returned"]
    assert player.core.alarms.view("palm.level_deviation").mark == ""  # type: ignore[union-attr]


STILL = '[tank.watch]\nunordered_movement = "8 mm"\n'


def moved(core_: Core, litres_per_min: float, hours: float = 2.0, **cells: object) -> list[str]:
    rate = litres_per_min / 60_000 / AREA_M2
    seconds = range(0, round(hours * 3600), 10)
    return run(Player(core_), seconds, level_m=lambda s: 5.0 - rate * max(0, s - 600), **cells)


@pytest.mark.parametrize(("rate", "within_s"), [(100, 600), (20, 3600), (-100, 600), (-20, 3600)])
def test_a_movement_that_nobody_ordered_is_seen_in_time(tmp_path: Path, rate: float, within_s: int) -> None:
    """Rule: 100 L/min within 10 min, 20 L/min within 1 h for a tank of 10 m."""
    seen = [what for what in moved(core(tmp_path, STILL), rate) if "unordered" in what]
    assert seen[0].endswith("unordered_movement raised")
    assert int(seen[0].split()[0]) - 600 <= within_s
    assert len(seen) == 1


def test_a_tank_that_warms_is_still_whatever_its_level_does(tmp_path: Path) -> None:
    """Computed: jet of 800 kg/m3 expands by 9.29e-4 /degC: 5 m rise by 23 mm over 5 degC within the hour."""
    rise = 5 * 9.29e-4 * 5
    warm = run(
        Player(core(tmp_path, STILL)), range(0, 2 * 3600, 10),
        level_m=lambda s: 5 + rise * min(1, s / 3600), temperature=lambda s: 15 + 5 * min(1, s / 3600),
    )  # fmt: skip
    assert warm == []


def test_a_water_gauge_that_jumps_or_a_lost_probe_is_no_movement(tmp_path: Path) -> None:
    """30 mm of water are 2.4 m3 of a 10 m tank (computed), four times the threshold."""
    jump = run(Player(core(tmp_path, STILL)), range(0, 3600, 10), water_mm=lambda s: 10.0 if s < 900 else 40.0)
    lost = run(Player(core(tmp_path, STILL)), range(0, 3600, 10), temperature=lambda s: 25.0 if s < 900 else None)
    assert jump + lost == []


def test_outside_of_its_hours_a_tank_may_move(tmp_path: Path) -> None:
    hours = '[tank.watch]\nunordered_movement = { at = "8 mm", hours = "02:00 to 04:00" }\n'
    seen = moved(core(tmp_path, hours), 100, 5.0)
    first = next(int(what.split()[0]) for what in seen if "unordered_movement raised" in what)
    assert 13_600 < first < 13_600 + 600 + 60  # it starts at 22:13:20, 02:00 is 13 600 s later


def do(player: Player, second: float, name: str, **fields: object) -> Answer:
    ms = round(second * 1000)
    player.seq += 1
    act = act_of(name, fields)
    return player.core.step(Tick(Instant(player.seq, START_MS + ms, ms), (), [act])).answers[0]


def order(player: Player, second: float = 0.5, quantity: float = 10.0, **more: object) -> Answer:
    return do(player, second, "plan_movement", tank="palm", quantity_m3=quantity, by="Ann", **more)


def test_an_ordered_issue_is_no_unordered_movement_nor_is_the_settling_after_it(tmp_path: Path) -> None:
    player = Player(core(tmp_path, STILL))
    run(player, range(0, 60, 10))
    assert order(player, 60, kind="issue").status is Taken.DONE
    rate = 200 / 60_000 / AREA_M2
    falling = run(player, range(70, 1900, 10), level_m=lambda s: 5 - rate * s)
    assert do(player, 1900.5, "end_plan", tank="palm", by="Ann").status is Taken.DONE
    rest = run(player, range(1910, 9000, 10), level_m=lambda s: 5 - rate * min(s, 2500))
    assert falling + rest == []


def two_tanks(folder: Path) -> Core:
    second = LOOP_SITE.split("[[tank]]")[1].replace('"palm"', '"elm"').replace("palm-top", "elm-top")
    instrument = LOOP_SITE.split("[[instrument]]")[1].split("[[product]]")[0].replace("palm-top", "elm-top")
    text = LOOP_SITE + "[[instrument]]" + instrument.replace("unit = 1", "unit = 3") + "[[tank]]" + second
    return core_of(load_site(write_site(folder, text)))


def fill(player: Player, seconds: range, palm: float = 0.0, elm: float = 0.0) -> list[str]:
    """Fill two tanks, in L/min."""
    seen = []
    for second in seconds:
        levels = (5 + rate / 60_000 / AREA_M2 * second for rate in (palm, elm))
        cells = [{**current(level), "temperature": 15.0} for level in levels]
        seen += [f"{second} {what}" for what in player.tick(second, palm_top=cells[0], elm_top=cells[1])]
    return seen


def test_a_receipt_that_fills_the_planned_tank_raises_nothing(tmp_path: Path) -> None:
    player = Player(two_tanks(tmp_path))
    fill(player, range(0, 60))
    assert order(player, 59.5, 15.0, rate_m3_per_s=1 / 60).status is Taken.DONE
    assert fill(player, range(60, 1000), palm=1000) == []
    assert live_view(player.core).build(1, START_MS)["tanks"][0]["plan"]["begun"]


def test_a_receipt_that_fills_another_tank_is_told(tmp_path: Path) -> None:
    player = Player(two_tanks(tmp_path))
    fill(player, range(0, 60))
    order(player, 59.5)
    seen = fill(player, range(60, 1000), elm=1000)
    assert [what.split(maxsplit=1)[1] for what in seen] == ["elm.wrong_tank raised", "palm.no_rise raised"]
    assert int(seen[0].split()[0]) < 60 + 120  # a minute until the rate is known, a minute of on-delay
    assert int(seen[1].split()[0]) == pytest.approx(59.5 + 900, abs=1)
    do(player, 1000.5, "end_plan", tank="palm", by="Ann")
    after = fill(player, range(1001, 1100), elm=1000)
    assert sorted(what.split(maxsplit=1)[1] for what in after) == ["elm.wrong_tank returned", "palm.no_rise returned"]


def test_a_plan_is_fulfilled_when_it_is_in_and_the_tank_at_rest(tmp_path: Path) -> None:
    player = Player(two_tanks(tmp_path))
    fill(player, range(0, 60))
    order(player, 59.5, 10.0)
    kinds = []
    for second in range(60, 1600):
        level = 5 + min(max(0.0, second - 100) / 60, 10.0) / AREA_M2
        player.seq += 1
        cells = {**current(level), "temperature": 15.0}
        player.tick(second, palm_top=cells, elm_top=current(5.0))
        if player.core.plans.get("palm") is None:
            kinds.append(second)
            break
    assert kinds
    assert 700 + 600 <= kinds[0] <= 700 + 600 + 120


def test_a_plan_outlives_a_restart_and_is_over_after_a_day_at_the_latest(tmp_path: Path) -> None:
    player = Player(two_tanks(tmp_path))
    fill(player, range(0, 60))
    order(player, 59.5)
    again = two_tanks(tmp_path)
    state = player.core.changed_state() | player.core.slow_state()
    again.restore({key: value for key, value in state.items() if value is not None})
    plan = again.plans.get("palm")
    assert plan is not None
    assert (plan.by, plan.quantity_m3) == ("Ann", 10.0)
    late = Player(again)
    assert "palm.no_rise raised" in fill(late, range(86_400, 86_410))[0]
    fill(late, range(86_470, 86_475))
    assert again.plans.get("palm") is None


@pytest.mark.parametrize(
    ("fields", "status", "words"),
    [
        ({"quantity_m3": 500.0}, Taken.REFUSED, "do not fit"),
        ({"product": "avgas"}, Taken.REFUSED, "it holds jet, not avgas"),
        ({"tank": "oak"}, Taken.UNKNOWN, "no tank 'oak'"),
        ({"rate_m3_per_s": 0.05}, Taken.REFUSED, "more than the 2000 L/min"),
    ],
)
def test_what_cannot_be_ordered_is_refused_in_words(
    tmp_path: Path, fields: dict[str, object], status: Taken, words: str
) -> None:
    response = '[tank.response]\nmax_fill_rate = "2000 L/min"\nreaction = "5 min"\n'
    player = Player(core(tmp_path, response))
    run(player, range(0, 20))
    answer = do(player, 20.5, "plan_movement", **{"tank": "palm", "quantity_m3": 1.0, "by": "Ann", **fields})
    assert answer.status is status
    assert words in answer.text


def test_a_second_plan_of_a_tank_tells_who_made_the_first(tmp_path: Path) -> None:
    player = Player(two_tanks(tmp_path))
    assert order(player).status is Taken.DONE
    answer = do(player, 1, "plan_movement", tank="palm", quantity_m3=1.0, by="Bob")
    assert (answer.status, answer.body["by"]) == (Taken.REFUSED, "Ann")  # another quantity is another order
    again = do(player, 1, "plan_movement", tank="palm", quantity_m3=10.0, by="Bob")
    assert (again.status, again.body["by"]) == (Taken.ALREADY, "Ann")
    assert do(player, 2, "end_plan", tank="elm", by="Bob").status is Taken.UNKNOWN


def test_the_command_orders_and_ends_with_the_record_book_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = write_site(tmp_path, LOOP_SITE)
    with open_stores(load_site(site)):
        pass
    call = ["plan", str(site), "palm"]
    assert main([*call, "--receipt", "120 m3", "--rate", "1000 L/min", "--by", "Ann"]) == 0
    assert "palm: receipt of 120.000 m3 jet ordered by Ann" in capsys.readouterr().out
    assert main([*call, "--receipt", "120 m3", "--rate", "1000 L/min", "--by", "Bob"]) == 0
    assert "has a plan by Ann already" in capsys.readouterr().out
    assert main([*call, "--issue", "1 m3", "--by", "Bob"]) == 3  # another order is no order that stands already
    assert "has a plan by Ann already; end it first" in capsys.readouterr().err
    assert main([*call, "--end", "--by", "Bob"]) == 0
    assert "ended by Bob" in capsys.readouterr().out
    assert main([*call, "--end", "--by", "Bob"]) == 2
    assert main([*call, "--receipt", "120", "--by", "Ann"]) == 2
    with look_into_book(load_site(site)) as book:
        entries = [(entry.body["event"], entry.body["by"]) for entry in book.entries(["plan"])]
    assert entries == [("made", "Ann"), ("ended", "Ann")]


def test_an_order_that_nobody_can_judge_says_so_and_one_beyond_the_content_is_refused(tmp_path: Path) -> None:
    player = Player(core(tmp_path, ""))
    unseen = order(player)
    assert (unseen.status, unseen.body["note"]) == (Taken.DONE, unseen.text)
    assert "whether it fits was not judged: the level is not known now" in unseen.text
    assert do(player, 1, "end_plan", tank="palm", by="Ann").status is Taken.DONE
    run(player, range(2, 20))
    beyond = order(player, 20, quantity=5_000.0, kind="issue")
    assert beyond.status is Taken.REFUSED
    assert "m3 that are in it" in beyond.text
    within = order(player, 21, quantity=1.0, kind="issue")
    assert (within.status, within.text) == (Taken.DONE, "")
