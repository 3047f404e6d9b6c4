"""The keys that make stock of a level: from the site file to accuracy, certificate, shell, roof, safe fill, shape."""

import math
from pathlib import Path

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from gaugehouse.checking import check
from gaugehouse.core import Tick
from gaugehouse.liveview import LiveView
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of, stock_of
from models import vcf
from models.certificate import FROM_DRAWING, TankForm
from models.correction import ctl
from models.groups import Commodity
from models.quantity import Shell
from models.reading import Instant, Quality, Reading, Sample
from models.roof import FloatingRoof
from models.stock_budget import Rest
from models.working import PercentRule, ResponseTimeRule, StopTimeRule
from tests.gaugehouse.sites import write_site

TABLE = "level [mm],volume [L]\n0,0\n13000,1021017.612\n"  # computed: pi/4 x 10^2 x 13
SHAPE = 'shape = { kind = "upright", diameter = "10 m", height = "13 m" }'
PAPER = (
    'certificate = { number = "SIM-17", laboratory = "simulated laboratory", date = "2024-05-31", '
    'uncertainty = "0.2 %", next_due = "2034-05-31", reference_temperature = "20 degC", head_density = "800 kg/m3" }'
)


def site_with(folder: Path, *lines: str, shape: str = SHAPE, more: str = "") -> Site:
    """The usual one-tank site with lines below its tank, and more tables at its end."""
    (folder / "t.csv").write_text(TABLE, encoding="utf-8")
    path = write_site(folder)
    text = path.read_text(encoding="utf-8")
    assert SHAPE in text
    path.write_text(text.replace(SHAPE, "\n".join((shape, *lines))) + more, encoding="utf-8")
    return load_site(path)


def read(site: Site, *moments: tuple[int, float, float]) -> list[Reading]:
    """Readings of the tank at (seconds, mA, degC), through a core without a past."""
    core = core_of(site)
    found = []
    for seq, (second, current, t) in enumerate(moments, 1):
        sample = Sample("palm-top", 1000 * second, "ok", {"current": current, "temperature": t})
        found += core.step(Tick(Instant(seq, 1000 * second, 1000 * second), [sample])).readings
    return found


def test_a_drawing_is_doubted_by_1_percent_and_a_loop_by_its_tolerance(tmp_path: Path) -> None:
    """Computed: 0.25 % of 12 m, rectangular: 30 mm / sqrt 3."""
    known = site_with(tmp_path).accuracy["palm"]
    assert known[Rest.AFTER_RECEIPT].table_frac == (FROM_DRAWING.standard_frac, FROM_DRAWING.source)
    zero = known[Rest.AFTER_RECEIPT].level_zero_m
    assert zero.standard == pytest.approx(0.030 / math.sqrt(3))
    assert "loop tolerance 0.25 % of span, default" in zero.source
    assert known[Rest.AFTER_RECEIPT].temperature_profile_degC.standard == 1.5
    assert known[Rest.AT_REST].temperature_profile_degC.standard == 0.5


def test_a_certificate_is_believed_and_its_temperature_is_the_shells(tmp_path: Path) -> None:
    site = site_with(tmp_path, PAPER, 'shell_expansion = "1.12e-5 / degC"', shape='capacity = "t.csv"')
    table = site.accuracy["palm"][Rest.AT_REST].table_frac
    assert (table.standard, table.source) == (pytest.approx(0.001), "certificate SIM-17, simulated laboratory")
    assert site.tank("palm").shell == Shell(1.12e-5, 20.0)
    paper = site.extras["palm"].certificate
    assert paper is not None
    assert (paper.form, paper.reference_height_m, paper.head_density_kgpm3) == (TankForm.OTHER, 13.5, 800.0)


def test_a_certificate_without_a_figure_is_believed_as_its_class(tmp_path: Path) -> None:
    """OIML R 71, upright tanks 0.2 % (secondary)."""
    paper = 'certificate = { number = "S", laboratory = "simulated", date = "2024-05-31", form = "upright" }'
    site = site_with(tmp_path, paper, shape='capacity = "t.csv"')
    assert site.accuracy["palm"][Rest.AT_REST].table_frac.standard == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("line", "standard", "source"),
    [
        ('level_zero = "3 mm"', 0.003 / math.sqrt(3), "+-0.003 rectangular, site file"),
        ('level_zero = { standard = "1.4 mm", source = "12 dip comparisons" }', 0.0014, "12 dip comparisons"),
        ('level_zero = { expanded = "3 mm", coverage = 3.0 }', 0.001, "0.003 at k = 3, site file"),
    ],
)
def test_an_accuracy_is_said_in_one_of_three_ways(tmp_path: Path, line: str, standard: float, source: str) -> None:
    known = site_with(tmp_path, f"accuracy = {{ {line} }}").accuracy["palm"][Rest.AFTER_RECEIPT].level_zero_m
    assert (known.standard, known.source) == (pytest.approx(standard), source)


def test_every_accuracy_of_the_site_replaces_its_default(tmp_path: Path) -> None:
    """A difference of 0.9 degF is 0.5 degC, by definition of the scales; a profile after a receipt says nothing of
    rest."""
    lines = (
        'level_repeat = "2 mm", level_span = "0.1 %", temperature_probe = "0.9 degF", temperature_profile = "2 K", '
        'density = "1 kg/m3", water = "5 mm", shell_expansion = "10 %", shell_temperature = "5 degC", '
        'roof_weight = "2 %"'
    )
    site = site_with(tmp_path, f"accuracy = {{ {lines} }}")
    known, resting = (site.accuracy["palm"][rest] for rest in (Rest.AFTER_RECEIPT, Rest.AT_REST))
    half_widths = {
        "level_repeat_m": 0.002, "level_span_frac": 0.001, "temperature_probe_degC": 0.5, "density_kgpm3": 1.0,
        "temperature_profile_degC": 2.0, "water_m": 0.005, "shell_expansion_frac": 0.1, "shell_degC": 5.0,
        "roof_weight_frac": 0.02,
    }  # fmt: skip
    for name, half_width in half_widths.items():
        assert getattr(known, name).standard == pytest.approx(half_width / math.sqrt(3)), name
    assert resting.temperature_profile_degC.standard == 0.5
    assert resting.water_m == known.water_m


def test_the_step_of_a_register_is_part_of_its_repeatability(tmp_path: Path) -> None:
    """Computed: 1 mm rectangular limits, and steps of 12 m / 1600 counts = 7.5 mm, of 1 / sqrt 12 each."""
    path = write_site(tmp_path)
    text = path.read_text(encoding="utf-8").replace('type = "float32"', 'type = "uint16"\nscale = 0.01', 1)
    path.write_text(text, encoding="utf-8")
    repeat = load_site(path).accuracy["palm"][Rest.AT_REST].level_repeat_m
    assert repeat.standard == pytest.approx(math.hypot(0.001 / math.sqrt(3), 0.0075 / math.sqrt(12)))
    assert "steps of 7.5 mm" in repeat.source


AIR = """
[[instrument]]
id = "yard"
bus = "gateway"
unit = 2
signal = [{ name = "air", function = 3, address = 0, counted_from = 0, type = "int16", scale = 0.1, unit = "degC" }]

[[point]]
id = "air"
signal = "yard.air"
role = "ambient_temperature"
"""


def test_the_air_takes_part_in_the_temperature_of_a_bare_shell(tmp_path: Path) -> None:
    """API MPMS 12.1.1 (secondary): TSh = (7 TL + Ta) / 8; figures computed."""
    for line, shell_degC in (("shell_insulated = false", 29.0), ("shell_insulated = true", 30.0)):
        site = site_with(tmp_path, 'shell_expansion = "1.12e-5 / degC"', line, more=AIR)
        core = core_of(site)
        samples = [
            Sample("palm-top", 0, "ok", {"current": 12.0, "temperature": 30.0}),
            Sample("yard", 0, "ok", {"air": 22.0}),
        ]
        core.step(Tick(Instant(1, 0, 0), samples[::-1]))  # the air first, so that the tank's reading knows it
        (reading,) = core.step(Tick(Instant(2, 1000, 1000), samples)).readings
        ctsh = (1 + 1.12e-5 * (shell_degC - 15)) ** 2
        assert reading.tov_m3 is not None
        assert reading.gov_m3 == pytest.approx(reading.tov_m3 * ctsh, rel=1e-12)


def test_without_news_of_the_air_the_shell_is_as_warm_as_the_liquid(tmp_path: Path) -> None:
    (reading,) = read(site_with(tmp_path, 'shell_expansion = "1.12e-5 / degC"', more=AIR), (0, 12.0, 30.0))
    assert reading.tov_m3 is not None
    assert reading.gov_m3 == pytest.approx(reading.tov_m3 * (1 + 1.12e-5 * 15) ** 2, rel=1e-12)


def test_a_roof_in_its_critical_zone_leaves_the_stock_out(tmp_path: Path) -> None:
    line = 'roof = { weight = "20 t", critical_low = "1.6 m", critical_high = "1.8 m", deducted_at = "800 kg/m3" }'
    site = site_with(tmp_path, line)
    assert site.tank("palm").roof == FloatingRoof(20_000, 1.6, 1.8, 800.0)
    inside, afloat = read(site, (0, 4 + 16 * 1.7 / 12, 20.0), (1, 4 + 16 * 1.9 / 12, 20.0))
    assert inside.tov_m3 is not None
    assert (inside.gov_m3, inside.gsv_m3, inside.gsv_u95_m3) == (None, None, None)
    assert (inside.quality, inside.stock_quality) == (Quality.GOOD, Quality.BAD)
    assert afloat.gsv_m3 is not None


def test_an_altitude_thins_the_air_that_weights_are_taken_in(tmp_path: Path) -> None:
    """Standard atmosphere; the mass and what readings are made of stay as they were."""
    plain = site_with(tmp_path)
    path = write_site(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace('"15 degC"', '"15 degC"\naltitude = "6000 ft"', 1))
    high = load_site(path)
    assert high.altitude_m == pytest.approx(1828.8)
    assert stock_of(plain, "palm").product.air_kgpm3 is None
    assert stock_of(high, "palm").product.air_kgpm3 == pytest.approx(1.0232, abs=1e-3)
    assert plain.fingerprint() != high.fingerprint()
    assert plain.model_version("palm") == high.model_version("palm")
    assert "1828.8 m above the sea" in check(path).text()


COURSES = (
    'course = [{ plate = "10 mm", height = "6 m" }, { plate = "8 mm", height = "6 m" }, '
    '{ plate = "6 mm", height = "1 m" }]'
)


def test_a_liquid_head_and_a_pressure_reach_every_reading(tmp_path: Path) -> None:
    """The certificate says which density's head is in the table; API MPMS 11.1-2004 for the pressure."""
    plain, headed, pressed = (
        site_with(tmp_path, PAPER, *lines, shape='capacity = "t.csv"')
        for lines in ((), (f'liquid_head = {{ diameter = "10 m", {COURSES} }}',), ('pressure = "1 bar"',))
    )
    head = headed.tank("palm").head
    assert head is not None
    assert (head.included_kgpm3, head.top_m) == (800.0, 13.0)
    (before,), (with_head,), (with_pressure,) = (read(site, (0, 12.0, 30.0)) for site in (plain, headed, pressed))
    assert before.gov_m3 is not None
    assert with_head.gov_m3 is not None
    lighter = 800 * ctl("jet", 800.0, 30.0)
    assert with_head.gov_m3 - before.gov_m3 == pytest.approx(head.correction_m3(6.0, lighter), rel=1e-9)
    assert with_head.tov_m3 == before.tov_m3
    assert before.gsv_m3 is not None
    assert with_pressure.gsv_m3 is not None
    cpl = vcf.factors(vcf.line_of(Commodity.REFINED, 800.0), 30.0, 100.0).cpl
    assert with_pressure.gsv_m3 / before.gsv_m3 == pytest.approx(cpl, rel=1e-12)
    assert len({site.model_version("palm") for site in (plain, headed, pressed)}) == 3


def test_check_tells_of_liquid_head_and_pressure(tmp_path: Path) -> None:
    lines = (f'liquid_head = {{ diameter = "10 m", {COURSES} }}', 'pressure = "2 kPa"')
    text = check(site_with(tmp_path, PAPER, *lines, shape='capacity = "t.csv"').path).text()
    assert "the table, made for 800 kg/m3, is brought to the density in the tank by 3 courses" in text
    assert "kept under 2 kPa of gauge pressure: CPL is applied" in text
    assert "made without liquid head" in check(site_with(tmp_path, lines[0]).path).text()


def test_rounded_factors_have_five_decimals(tmp_path: Path) -> None:
    path = write_site(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace('"15 degC"', '"15 degC"\nfactors = "rounded"', 1))
    (reading,) = read(load_site(path), (0, 12.0, 30.33))
    assert reading.gov_m3 is not None
    assert reading.gsv_m3 is not None
    factor = reading.gsv_m3 / reading.gov_m3
    assert factor == pytest.approx(round(factor, 5), abs=1e-12)


def test_each_good_reading_says_how_well_its_stock_is_known(tmp_path: Path) -> None:
    good, silent, warm = read(site_with(tmp_path), (0, 12.0, 25.0), (1, 3.5, 25.0), (2, 12.0, 200.0))
    assert good.gsv_m3 is not None
    assert good.gsv_u95_m3 is not None
    assert 0.01 < good.gsv_u95_m3 / good.gsv_m3 < 0.015
    assert silent.gsv_u95_m3 is None
    assert warm.gsv_u95_m3 is None
    assert warm.stock_quality is Quality.BAD


HOUR = 3600


def test_only_a_tank_that_was_seen_to_stand_is_at_rest(tmp_path: Path) -> None:
    """12 h without a receipt, watched all the while: then one probe tells more of the tank."""
    site = site_with(tmp_path)
    standing = [(300 * k, 12.0, 25.0) for k in range(12 * 12 + 2)]  # every 5 min
    known = [reading.gsv_u95_m3 for reading in read(site, *standing)]
    assert known[0] == known[143]  # 11:55
    assert known[143] is not None
    assert known[144] is not None  # 12:00
    assert known[144] < known[143]
    unwatched = [*standing, (standing[-1][0] + 900, 12.0, 25.0)]
    assert read(site, *unwatched)[-1].gsv_u95_m3 == known[0]


def test_a_receipt_ends_the_rest(tmp_path: Path) -> None:
    site = site_with(tmp_path, 'accuracy = { at_rest_after = "10 min" }')
    rest = [(second, 12.0, 25.0) for second in range(700)]
    filling = [(700 + second, 12.0 + 0.002 * second, 25.0) for second in range(60)]
    core = core_of(site)
    for seq, (second, current, t) in enumerate(rest + filling, 1):
        sample = Sample("palm-top", 1000 * second, "ok", {"current": current, "temperature": t})
        core.step(Tick(Instant(seq, 1000 * second, 1000 * second), [sample]))
        if second == 699:
            assert core.keepers["palm"].known is not None
            assert core.keepers["palm"].known.rest is Rest.AT_REST
    assert core.keepers["palm"].known is not None
    assert core.keepers["palm"].known.rest is Rest.AFTER_RECEIPT


@pytest.mark.parametrize(("down_s", "rest"), [(2, Rest.AT_REST), (900, Rest.AFTER_RECEIPT)])
def test_the_rest_outlives_a_restart_but_not_a_time_unwatched(tmp_path: Path, down_s: int, rest: Rest) -> None:
    """Elapsed time stands still while the daemon is down."""
    site = site_with(tmp_path, 'accuracy = { at_rest_after = "10 min" }')

    def tick(seq: int) -> Tick:
        sample = Sample("palm-top", 1000 * seq, "ok", {"current": 12.0, "temperature": 25.0})
        return Tick(Instant(seq, 1000 * seq, 1000 * seq), [sample])

    first = core_of(site)
    for seq in range(1, 700):
        first.step(tick(seq))
    second = core_of(site)
    second.restore({key: text for key, text in first.slow_state().items() if text is not None})
    late = tick(701)
    second.step(late._replace(at=late.at._replace(time_ms=1000 * (699 + down_s))))
    assert second.keepers["palm"].known is not None
    assert second.keepers["palm"].known.rest is rest


RESPONSE = '[tank.response]\nmax_fill_rate = "2 m3/min"\nreaction = "5 min"\nvalve_closing = "30 s"\n'


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        (
            '{ rule = "response time", rate = "2 m3/min", time = "10 min" }',
            ResponseTimeRule(11.8, pytest.approx(2 / 60), 600.0),  # type: ignore[arg-type]
        ),
        ('{ rule = "stop time", rate = "2 m3/min" }', StopTimeRule(pytest.approx(2 / 60), 330.0)),  # type: ignore[arg-type]
        (
            '{ rule = "percent", percent = "90 %", source = "API RP 1525 7.1.4" }',
            PercentRule(90.0, "API RP 1525 7.1.4"),
        ),
        # poll 1 s, one missed poll 1 s + 0.5 s, reaction 300 s, valve 30 s
        ('{ rule = "response time" }', ResponseTimeRule(11.8, pytest.approx(2 / 60), 332.5)),  # type: ignore[arg-type]
    ],
)
def test_a_safe_fill_follows_the_sites_rule(tmp_path: Path, line: str, rule: object) -> None:
    site = site_with(tmp_path, f"safe_fill = {line}", more=RESPONSE)
    assert site.safe_fill["palm"] == rule


def test_the_board_shows_usable_and_dead_stock_and_the_safe_fill(tmp_path: Path) -> None:
    """Computed: 400 mm of a 10 m tank are 31.4 m3, 6 m are 471.2 m3."""
    line = 'safe_fill = { rule = "percent", percent = "90 %", source = "company rule" }'
    site = site_with(tmp_path, 'suction = "0.4 m"', line)
    core = core_of(site)
    view = LiveView(core, "test", Collector(site.buses, lambda sample: None, RealClock()).health_of)
    (before,) = view.build(1, 0)["tanks"]
    assert (before["usable_m3"], before["dead_m3"]) == (None, None)
    core.step(Tick(Instant(1, 0, 0), [Sample("palm-top", 0, "ok", {"current": 12.0, "temperature": 25.0})]))
    (tank,) = view.build(2, 0)["tanks"]
    assert tank["dead_m3"] == pytest.approx(31.416, abs=1e-3)
    assert tank["usable_m3"] + tank["dead_m3"] == pytest.approx(tank["tov_m3"], abs=1e-3)
    assert tank["safe_fill"]["level_m"] == pytest.approx(0.9 * 13)
    assert "company rule" in tank["safe_fill"]["rule"]


def test_check_prints_certificate_uncertainty_working_stock_and_safe_fill(tmp_path: Path) -> None:
    line = 'safe_fill = { rule = "percent", percent = "95 %", source = "IFC 5704.2.9.7.5" }'
    site = site_with(tmp_path, PAPER, 'suction = "0.4 m"', line, shape='capacity = "t.csv"')
    report = check(site.path, today="2030-01-01")
    text = report.text()
    for words in (
        "certificate SIM-17 of 2024-05-31, simulated laboratory: 0.2 % (k = 2), at 20 degC, next due 2034-05-31",
        "liquid head of 800 kg/m3 included",
        "half full (6.500 m), after receipt: GSV 510.509 m3 +- ",
        "lowest suction 0.4 m: 31.416 m3 dead below it",
        "safe fill 12.350 m, 969.967 m3: 95 % of volume, IFC 5704.2.9.7.5",
    ):
        assert words in text
    assert not any("certificate" in problem.key for problem in report.problems)
    late = check(site.path, today="2034-06-01")
    assert [p.key for p in late.problems if "certificate" in p.key] == ["tank[palm].certificate.next_due"]
    assert late.exit_code == 0
    assert "OVERDUE" in late.text()


def test_a_table_without_a_certificate_must_be_accepted_by_name_to_be_signed(tmp_path: Path) -> None:
    text = check(site_with(tmp_path).path).text()
    assert "nobody measured this shell" in text
    assert "a named person must accept it to sign" in text
    accepted = check(site_with(tmp_path, 'accepted_by = "the stock keeper"').path).text()
    assert "accepted without a certificate by the stock keeper" in accepted


@pytest.mark.parametrize(
    ("shape", "capacity_m3"),
    [
        # computed by elementary geometry; heads: 2/3 pi r^2 a for a half ellipsoid, 1/3 pi r^2 a for a cone
        ('kind = "box", length = "6 m", width = "2 m", height = "2 m"', 24.0),
        ('kind = "sphere", diameter = "4 m"', 32 * math.pi / 3),
        ('kind = "upright", diameter = "4 m", height = "6 m", bottom = { kind = "conical", depth = "0.6 m" }',
         math.pi * 4 * (6 + 0.2)),
        ('kind = "upright", diameter = "4 m", height = "6 m", '
         'bottom = { kind = "conical", depth = "0.6 m", stands = "in" }', math.pi * 4 * (6 - 0.2)),
        ('kind = "upright", diameter = "4 m", height = "6 m", top = { kind = "ellipsoidal", depth = "0.9 m" }',
         math.pi * 4 * (6 + 0.6)),
        ('kind = "upright", diameter = "4 m", height = "6 m", fall = "0.2 m"', math.pi * 4 * (6 - 0.1)),
        ('kind = "upright", diameter = "4 m", height = "6 m", tilt = "1 %"', math.pi * 4 * (6 - 0.01)),
        ('kind = "lying", diameter = "2 m", length = "6 m", ends = { kind = "ellipsoidal", depth = "0.6 m" }',
         math.pi * (6 + 2 * 0.4)),
        ('kind = "lying", diameter = "2 m", length = "6 m", left_end = { kind = "conical", depth = "0.6 m" }',
         math.pi * (6 + 0.2)),
        ('kind = "lying", diameter = "2 m", length = "6 m", tilt = "0 %", gauge = "1 m"', math.pi * 6),
        ('kind = "lying", diameter = "2 m", length = "6 m", ends = { kind = "guppy", depth = "0.6 m" }',
         math.pi * (6 + 2 * 0.2)),
        ('kind = "lying", diameter = "2 m", length = "6 m", tilt = "0 %", gauge = "1 m", '
         'left_end = { kind = "guppy", depth = "0.6 m" }, right_end = { kind = "ellipsoidal", depth = "0.6 m" }',
         math.pi * (6 + 0.2 + 0.4)),
        ('kind = "upright", diameter = "4 m", height = "6 m", tilt = "1 %", '
         'bottom = { kind = "conical", depth = "0.6 m" }', math.pi * 4 * (6 + 0.2 - 0.01)),
        ('kind = "box", length = "6 m", width = "2 m", height = "2 m", tilt = "0 %", gauge = "1 m"', 24.0),
    ],
    ids=["box", "sphere", "cone out", "cone in", "dome", "falling", "leaning", "ellipsoids", "one cone", "level lying",
         "guppies", "level dished", "leaning cone", "level box"],
)  # fmt: skip
def test_every_shape_becomes_the_tanks_table(tmp_path: Path, shape: str, capacity_m3: float) -> None:
    limits = '[tank.limits]\nhigh_high = "1 m"\n'
    path = write_site(tmp_path)
    text = path.read_text(encoding="utf-8").split("[tank.limits]")[0]
    text = text.replace(SHAPE, f"shape = {{ {shape} }}").replace('at_20mA = "12 m"', 'at_20mA = "2 m"') + limits
    path.write_text(text, encoding="utf-8")
    table = load_site(path).tank("palm").table
    leaning = "tilt" in shape and "upright" in shape
    # a leaning tank is gauged at its axis: what its higher side still holds at the top is not in its table
    assert table.capacity_m3 == pytest.approx(capacity_m3, rel=2e-3 if leaning else 1e-6)


def test_proportional_parts_make_a_table_of_millimetres(tmp_path: Path) -> None:
    rows = "".join(f"{cm},{0.785 * cm:.3f}\n" for cm in range(0, 1301))
    (tmp_path / "cm.csv").write_text("level [cm],volume [m3]\n" + rows, encoding="utf-8")
    (tmp_path / "mm.csv").write_text(
        "# invented\nfrom [cm],to [cm],1 [L],2 [L],3 [L],4 [L],5 [L],6 [L],7 [L],8 [L],9 [L]\n"
        "0,100,70,140,210,280,350,420,490,560,630\n",
        encoding="utf-8",
    )
    site = site_with(tmp_path, 'proportional_parts = "mm.csv"', shape='capacity = "cm.csv"')
    table = site.tank("palm").table
    assert table.volume_m3(0.503) == pytest.approx(50 * 0.785 + 0.210)
    assert table.volume_m3(2.005) == pytest.approx(200.5 * 0.785)  # above the parts: a straight line
    assert tmp_path / "mm.csv" in site.source_files


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0,100,1,2,3", "5 cells where 11 belong"),
        ("0,100,1,2,3,4,5,6,7,8,x", "no number"),
        ("0,100,1,2,3,4,5,6,7,8,7", "a volume falls"),
        ("100,0,1,2,3,4,5,6,7,8,9", "the lower end comes first"),
    ],
)
def test_wrong_proportional_parts_are_told_with_file_and_row(tmp_path: Path, row: str, words: str) -> None:
    header = "from [cm],to [cm],1 [L],2 [L],3 [L],4 [L],5 [L],6 [L],7 [L],8 [L],9 [L]\n"
    (tmp_path / "mm.csv").write_text(header + row + "\n", encoding="utf-8")
    path = write_site(tmp_path)
    (tmp_path / "t.csv").write_text("level [cm],volume [L]\n0,0\n1,785\n1300,1020500\n", encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace(SHAPE, 'capacity = "t.csv"\nproportional_parts = "mm.csv"')
    path.write_text(text, encoding="utf-8")
    report = check(path)
    assert report.exit_code == 2
    assert [p.file for p in report.problems] == ["mm.csv"]
    assert words in report.problems[0].text


def test_a_changed_accuracy_or_certificate_is_a_changed_setting_but_no_other_model(tmp_path: Path) -> None:
    plain = site_with(tmp_path)
    other = site_with(tmp_path, 'accuracy = { water = "5 mm" }')
    assert plain.fingerprint() != other.fingerprint()
    assert plain.model_version("palm") == other.model_version("palm")
    roofed = site_with(tmp_path, 'roof = { weight = "20 t", critical_low = "1.6 m", critical_high = "1.8 m" }')
    assert plain.model_version("palm") != roofed.model_version("palm")


def test_another_density_gives_another_model(tmp_path: Path) -> None:
    model = stock_of(site_with(tmp_path), "palm", density_kgpm3=790.0)
    assert model.product.base_density_kgpm3 == 790.0
