"""What `check` finds out: read plan, wire times, capacities, limits, response time."""

import json
from pathlib import Path

import pytest

from gaugehouse.checking import CheckReport, check
from gaugehouse.sitefile.wirechecks import first_digit_style

ROOT = Path(__file__).parent.parent.parent
PLAIN = ROOT / "tests" / "sites" / "good" / "plain.toml"
FARM = ROOT / "deploy" / "examples" / "jet-farm" / "site.toml"


@pytest.fixture(scope="module")
def farm() -> CheckReport:
    return check(FARM, "2026-11-24")  # before its certificates are due


def checked(folder: Path, text: str) -> CheckReport:
    path = folder / "site.toml"
    path.write_text(text.replace("../tables", (ROOT / "tests" / "sites" / "tables").as_posix()), encoding="utf-8")
    return check(path)


def test_the_read_plan_names_every_request(farm):
    (bus,) = farm.buses
    assert [(r.instrument, r.function, r.start, r.quantity, r.wasted) for r in bus.requests] == [
        ("li-north", 4, 0, 5, 0),
        ("li-south", 4, 0, 5, 0),
        ("li-slop", 4, 0, 2, 0),
        ("yard", 2, 0, 3, 0),
        ("yard", 4, 0, 5, 0),
    ]
    assert bus.wire_ms is None, "the gateway's serial line is not ours to time"


def test_registers_read_over_are_counted_as_wasted(tmp_path):
    text = PLAIN.read_text(encoding="utf-8").replace("unit = 1\n", "unit = 1\nbridge = 4\n")
    report = checked(tmp_path, text.replace("address = 2, counted_from = 0", "address = 5, counted_from = 0"))
    (request,) = report.buses[0].requests
    assert (request.quantity, request.wasted) == (6, 3)
    assert "6 registers or bits, 3 of them wasted" in report.text()


def registers(count: int) -> str:
    return ",\n".join(
        f'{{ name = "r{n}", function = 3, address = {n}, counted_from = 0, type = "uint16", unit = "mm" }}'
        for n in range(count)
    )


@pytest.mark.parametrize(
    ("baud", "count", "reads", "cycle_ms"),
    [(9600, 10, 10, 458.333333), (9600, 2, 10, 275.0), (19200, 10, 10, 229.166667), (38400, 10, 10, 129.53125),
     (4800, 4, 8, 513.333333), (2400, 2, 4, 440.0), (9600, 125, 1, 309.375)],
)  # fmt: skip
def test_time_on_a_serial_line(tmp_path, baud, count, reads, cycle_ms):
    """Source: computed, N x [(8 + 5 + 2n) x 11 / baud + 2 t3.5]; t3.5 and 11-bit characters from MODBUS over Serial
    Line V1.02 2.5.1."""
    head, rest = PLAIN.read_text(encoding="utf-8").split("[[instrument]]", 1)
    rest = "[[product]]" + rest.split("[[product]]", 1)[1].split("[[tank]]")[0]
    units = "".join(
        f'[[instrument]]\nid = "u{n}"\nbus = "line"\nunit = {n}\nsignal = [{registers(count)}]\n'
        for n in range(1, reads + 1)
    )
    tank = (
        '[[tank]]\nid = "t"\nproduct = "jet-a1"\nlevel = "u1.r0"\nmeasures = "innage"\nreference_height = "12 m"\n'
        'shape = { kind = "upright", diameter = "10 m", height = "12 m" }\n'
    )
    report = checked(tmp_path, head.replace("baud = 9600", f"baud = {baud}") + units + rest + tank)
    assert report.exit_code == 0, report.text()
    line = report.buses[1]
    assert (len(line.requests), line.wire_ms) == (reads, pytest.approx(cycle_ms, abs=1e-3))


def test_limits_come_with_volumes_and_the_room_between_them(farm):
    """An upright cylinder of 10 m holds 78.54 L to the mm (computed, pi / 4 x 10^2)."""
    report = check(PLAIN)
    limits = {limit.condition: limit for limit in report.tanks[0].limits}
    assert list(limits) == ["critical_high", "high_high", "high", "low", "low_low"]
    assert limits["low"].volume_m3 == pytest.approx(78.540, abs=1e-6)
    assert limits["low"].room_m3 == pytest.approx(0.2 * 78.540, abs=1e-6)
    assert limits["low_low"].room_m3 == limits["low_low"].volume_m3
    assert report.tanks[0].litres_per_mm == pytest.approx(78.54, abs=0.01)
    assert farm.tanks[0].litres_per_mm == pytest.approx(78.86, abs=0.05)


def test_a_capacity_from_a_drawing_is_called_so(farm):
    sources = {tank.tank: tank.source for tank in farm.tanks}
    assert sources == {"north": "north.csv", "south": "south.csv", "slop": "drawing dimensions"}
    assert farm.text().count("nobody measured this shell") == 1


def test_the_text_says_what_a_person_must_know(farm):
    text = farm.text()
    for words in (
        "3 tanks, no mistakes",
        "day begins 06:00 Europe/Oslo",
        "standard volume at 15 degC by API MPMS 11.1-2004",
        "5 requests every 1 s",
        "li-north unit 11 function 4 registers 0-4: current, level, temperature",
        "the instrument reaches 12.1 m",
        "rise_fast 60 mm/min",
        "fall_fast 3000 L/min",
        "alarms of the gauge are not independent; lshh-north is",
        "no warnings",
    ):
        assert words in text
    assert farm.site is not None
    assert farm.site.fingerprint() in text


def test_an_empty_file_tells_where_to_begin_and_a_slip_does_not(tmp_path):
    begun = checked(tmp_path, "").text()
    assert "5 mistakes" in begun
    assert "--explore BUS" in begun
    slip = checked(tmp_path, PLAIN.read_text(encoding="utf-8").replace("port = 8600", "port = 86000"))
    assert "--explore BUS" not in slip.text()


def test_mistakes_are_text_json_and_exit_status(tmp_path):
    report = checked(tmp_path, PLAIN.read_text(encoding="utf-8").replace("port = 8600", "port = 86000"))
    assert report.exit_code == 2
    assert report.site is None
    assert "1 mistake; the site does not start" in report.text()
    (row,) = json.loads(json.dumps(report.json()))
    assert list(row) == ["file", "key", "found", "allowed", "severity", "text"]
    assert (row["key"], row["found"], row["allowed"], row["severity"]) == (
        "console.port", "86000", "0 to 65535", "error",
    )  # fmt: skip


def test_warnings_are_exit_status_0(tmp_path):
    report = checked(
        tmp_path, PLAIN.read_text(encoding="utf-8").replace("[console]\n", '[console]\nhost = "0.0.0.0"\n')
    )
    assert report.exit_code == 0
    assert [row["severity"] for row in report.json()] == ["warning"]
    assert "1 warning:\n  " in report.text()


@pytest.mark.parametrize(
    ("poll_s", "tau_s", "on_delay_s", "notify_s", "stop_s", "rise_mm_per_min", "total_s", "consumed_mm"),
    [(5, 0, 0, 5, 60, 40, 70, 46.6667), (2, 5, 5, 5, 90, 25.5, 107, 45.475)],
    ids=["lat-01", "lat-03"],
)
def test_the_latency_budget_adds_up(
    tmp_path, poll_s, tau_s, on_delay_s, notify_s, stop_s, rise_mm_per_min, total_s, consumed_mm
):
    """Source: computed, worst case = poll + lag + on-delay + notification + shut-off, level consumed = rate x total.
    Ours has one missed poll with its time-out on top."""
    flow = rise_mm_per_min * 78.54
    response = (
        f'[tank.response]\nmax_fill_rate = "{flow} L/min"\ndamping = "{tau_s} s"\nnotification = "{notify_s} s"\n'
        f'valve_closing = "{stop_s} s"\n\n[[tank]]\nid = "t2"'
    )
    text = PLAIN.read_text(encoding="utf-8").replace('[[tank]]\nid = "t2"', response)
    text = text.replace('high_high = "11.5 m"', f'high_high = {{ at = "11.5 m", on_delay = "{on_delay_s} s" }}')
    report = checked(tmp_path, text.replace('period = "2 s"', f'period = "{poll_s} s"'))
    budget = report.tanks[0].budget
    assert budget is not None
    missed = dict(budget.parts)["one missed poll"]
    assert missed == poll_s + 0.5
    assert budget.total_s - missed == pytest.approx(total_s)
    assert (budget.total_s - missed) * rise_mm_per_min / 60 == pytest.approx(consumed_mm, abs=1e-3)
    assert budget.available_s == pytest.approx(400 / rise_mm_per_min * 60, rel=1e-4)  # 11.5 m to 11.9 m


@pytest.mark.parametrize(
    ("address", "function", "meant"),
    [
        (40001, 3, (3, 0)),
        (40001, 4, (3, 0)),
        (30010, 4, (4, 9)),
        (30010, 3, (4, 9)),
        (49999, 3, (3, 9998)),
        (400001, 3, (3, 0)),
        (465536, 3, (3, 65535)),
        (10001, 2, (2, 0)),
        (100017, 2, (2, 16)),
        (40000, 3, None),
        (39999, 3, (4, 9998)),
        (50000, 3, None),
        (10001, 3, None),
        (40001, 2, None),
        (100, 3, None),
    ],
)
def test_addresses_that_hold_the_function_in_their_first_digit(address, function, meant):
    """Source: common practice, no source: 4xxxx holding registers, 3xxxx input registers, 1xxxx discrete inputs."""
    assert first_digit_style(address, function) == meant


def test_computed_levels_stand_where_the_response_time_puts_them(tmp_path):
    """Source: tests/data/alarms/overfill_levels.csv, row lvl-02 (computed by the form of API 2350, secondary); the
    working levels are computed: 3000 L/min over 10 min are 381.97 mm of a 10 m tank."""
    text = PLAIN.read_text(encoding="utf-8").replace('capacity = "../tables/t1.csv"', 'overflow_level = "11.5 m"\n'
        'shape = { kind = "upright", diameter = "10 m", height = "12.5 m" }')  # fmt: skip
    for name, old in (("critical_high", "11.9 m"), ("high_high", "11.5 m"), ("low", "1 m")):
        text = text.replace(f'{name} = "{old}"', f'{name} = "computed"', 1)
    text = text.replace('high = { at = "11 m",', 'high = { at = "computed",').replace(
        'fall_fast = "2 m3/min"\n',
        'fall_fast = "2 m3/min"\n\n[tank.response]\nmax_fill_rate = "3000 L/min"\nresponse_time = "5 min"\n'
        'operator_time = "10 min"\nmax_issue_rate = "3000 L/min"\n',
    )
    report = checked(tmp_path, text)
    assert report.exit_code == 0, report.text()
    levels = {limit.condition: limit.at_m for limit in report.tanks[0].limits}
    assert levels == pytest.approx(
        {"critical_high": 11.5, "high_high": 11.309, "high": 11.309 - 0.38197, "low": 0.8 + 0.38197, "low_low": 0.8},
        abs=1.1e-4,
    )


def test_the_channels_of_notification_are_listed(farm):
    lines = farm.text().splitlines()
    start = lines.index("people are told by")
    assert lines[start + 1 : start + 4] == [
        "  shift (email, for operator on shift): priority 1, 2",
        "  manager (apprise, for duty manager): priority 1; unacknowledged for 10 min; again every 30 min",
        "  watchdog (webhook, for watchdog service): a sign of life every 5 min",
    ]
