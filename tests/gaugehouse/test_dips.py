"""Dips and density samples through the core: refusals, water and density in force, restart, command, gauge and dip."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import Answer, Taken, act_of
from gaugehouse.asking import by_hand
from gaugehouse.cli import main
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.days import iso_ms
from gaugehouse.dipgauge import trend
from gaugehouse.diprecords import dips_of, samples_of
from gaugehouse.errors import CallError
from gaugehouse.movementrecords import movement_rows
from gaugehouse.site import Site, load_site
from gaugehouse.stores import Stores, open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.density import DensityMeter, base_density_of_sample
from models.reading import BAD, OK, Instant, Quality, Reading, Sample
from tests.gaugehouse.sites import LOOP_SITE, write_site

T0 = 1_790_000_000_000
HOUR = 3_600_000
WATER = LOOP_SITE.replace('water = "none"', 'water = "dips"')


class Kept:
    """A core that is fed one current a second; a record book and a store where a test wants them."""

    def __init__(self, folder: Path, text: str = WATER) -> None:
        self.site: Site = load_site(write_site(folder, text))
        self.core: Core = core_of(self.site)
        self.seq, self.ms = 0, 0
        self.stores: Stores | None = None

    def tick(self, current: float | None, acts: Sequence[Any] = ()) -> StepResult:
        self.seq += 1
        values = {"current": current, "temperature": 25.0}
        samples = () if current is None else (Sample("palm-top", T0 + self.ms, OK, values),)
        at = Instant(self.seq, T0 + self.ms, self.ms)
        result = self.core.step(Tick(at, samples, acts))
        if self.stores is not None:
            self.stores.readings.append(result.readings)
            entries = [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
            if entries:
                self.stores.book.commit(entries, self.core.changed_state() | self.core.slow_state())
        return result

    def still(self, level_m: float, seconds: int = 90) -> Reading:
        for _ in range(seconds):
            self.ms += 1000
            (reading,) = self.tick(current_of(level_m)).readings
        return reading

    def flow(self, from_m: float, to_m: float, seconds: int) -> None:
        for k in range(seconds):
            self.ms += 1000
            self.tick(current_of(from_m + (to_m - from_m) * (k + 1) / seconds))

    def act(self, name: str, **fields: Any) -> Answer:
        fields = {"tank": "palm", "by": "Ann", **fields}
        return self.tick(None, [act_of(name, fields)]).answers[0]

    def dip(self, *mm: float, **fields: Any) -> Answer:
        return self.act("add_dip", readings_m=[one / 1000 for one in mm], **fields)


def current_of(level_m: float) -> float:
    return 4 + 16 * level_m / 12


@pytest.fixture
def kept(tmp_path: Path) -> Kept:
    return Kept(tmp_path)


@pytest.fixture
def written(kept: Kept) -> Iterator[Kept]:
    with open_stores(kept.site) as kept.stores:
        yield kept


def test_a_dip_that_repeats_is_written_down_beside_the_gauge(kept: Kept) -> None:
    kept.still(6.0)
    answer = kept.dip(5994, 5996, 5995, water_m=0.012, temperature_degC=25.2, temperature_kind="average")
    assert answer.status is Taken.DONE
    body = answer.body
    assert body["level_m"] == pytest.approx(5.995)
    assert body["gauge_m"] == pytest.approx(6.0)
    assert body["difference_m"] == pytest.approx(0.005)
    assert body["within"]
    assert body["repeated"] == "mean of 3 readings within 3 mm"
    assert body["due_for"] == "water"


def test_readings_that_do_not_repeat_are_refused_with_what_is_missing(kept: Kept) -> None:
    kept.still(6.0)
    answer = kept.dip(5994, 5999)
    assert (answer.status, "take another" in answer.text) == (Taken.REFUSED, True)
    assert kept.core.dips.dips("palm") == []
    strict = kept.dip(5994, 5994, purpose="verify")
    assert strict.status is Taken.REFUSED
    assert "3 readings within 1 mm or 5 readings within 4 mm" in strict.text


@pytest.mark.parametrize(
    ("readings", "fields", "words"),
    [
        ([-5, -5], {}, "below the datum plate"),
        ([13600, 13600], {"method": "ullage"}, "more than the reference height"),
        ([13200, 13200], {}, "look whether it is an ullage"),
        ([6000, 6000], {"water_m": 6.2}, "above the dip"),
        ([], {}, "nothing was measured"),
        ([], {"temperature_degC": 25.0}, "one spot reading or an average"),
        ([], {"water_m": 0.01, "temperature_kind": "spot"}, "no temperature of that kind"),
        ([6500, 6500], {}, "say that you are sure"),
        ([6000, 6000], {"time": iso_ms(T0 + 10 * HOUR)}, "in the future"),
        ([6000, 6000], {"time": iso_ms(T0 - 40 * 24 * HOUR)}, "older than 31 days"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(kept: Kept, readings: Any, fields: Any, words: str) -> None:
    kept.still(6.0)
    answer = kept.dip(*readings, **fields)
    assert answer.status is Taken.REFUSED
    assert words in answer.text


def test_who_is_sure_may_write_down_a_dip_far_from_the_gauge(kept: Kept) -> None:
    kept.still(6.0)
    answer = kept.dip(6500, 6500, sure=True)
    assert answer.status is Taken.DONE
    assert answer.body["within"] is False
    assert "limit 8 mm, UK HMRC HCOTEG176750" in answer.text


@pytest.mark.parametrize(
    "fields",
    [{"readings_m": "9"}, {"readings_m": [True]}, {"method": "guess"}, {"water_m": -1}, {"sure": "yes"},
     {"time": "noon"}, {"by": " "}, {"readings_m": [1.0] * 21}, {"water_m": float("nan")}, {"time": 5}],
)  # fmt: skip
def test_fields_that_are_not_understood_name_themselves(fields: dict[str, Any]) -> None:
    with pytest.raises(CallError, match=next(iter(fields))):
        act_of("add_dip", {"tank": "palm", "by": "Ann", **fields})


def test_the_same_dip_twice_is_told_and_not_written_again(kept: Kept) -> None:
    kept.still(6.0)
    moment = iso_ms(T0 + kept.ms)
    assert kept.dip(6000, 6000, time=moment).status is Taken.DONE
    assert kept.dip(6000, 6000, time=moment).status is Taken.ALREADY
    assert len(kept.core.dips.dips("palm")) == 1
    assert kept.act("add_dip", tank="nowhere", water_m=0.0).status is Taken.UNKNOWN


# Static electricity


def test_no_dip_and_no_sample_before_the_relaxation_time_is_over(kept: Kept) -> None:
    kept.still(5.0)
    kept.flow(5.0, 6.0, 300)
    while_it_flows = kept.dip(6000, 6000)
    assert while_it_flows.status is Taken.REFUSED
    assert "wait 30 min more after it has stopped" in while_it_flows.text
    kept.still(6.0, 600)
    early = kept.dip(6000, 6000)
    assert early.status is Taken.REFUSED
    left = int(early.text.split("wait ")[1].split(" min")[0])
    assert 19 <= left <= 22
    sample = kept.act("add_density_sample", observed_kgpm3=793.0, observed_degC=25.0)
    assert (sample.status, "static electricity" in sample.text) == (Taken.REFUSED, True)
    assert kept.dip(6000, 6000, waited="Bo").text.endswith("this site lets nobody vouch for the wait by name")
    kept.still(6.0, 1300)
    assert kept.dip(6000, 6000).status is Taken.DONE


def test_a_site_may_let_a_named_person_vouch_for_the_wait(tmp_path: Path) -> None:
    kept = Kept(tmp_path, WATER + "\n[stock.dips]\nwaited_by_name = true\n")
    kept.flow(5.0, 6.0, 300)
    assert "who vouches" in kept.dip(6000, 6000).text
    answer = kept.dip(6000, 6000, waited="Bo")
    assert (answer.status, answer.body["waited"]) == (Taken.DONE, "Bo")


def test_a_dip_written_down_late_is_judged_by_its_own_time(kept: Kept) -> None:
    kept.still(5.0, 120)
    before = iso_ms(T0 + kept.ms - 60_000)
    kept.flow(5.0, 6.0, 300)
    assert kept.dip(5000, 5000, time=before).status is Taken.DONE
    assert kept.dip(5500, 5500, time=iso_ms(T0 + kept.ms - 60_000)).status is Taken.REFUSED


def test_the_wait_outlives_a_restart(written: Kept) -> None:
    written.flow(5.0, 6.0, 300)
    written.still(6.0, 60)
    written.dip(6000, 6000)  # refused, and nothing is written: the slow state is what must carry it
    assert written.stores is not None
    written.stores.book.commit([Entry("started", T0 + written.ms, written.seq, {})], written.core.slow_state())
    again = core_of(written.site)
    again.restore(written.stores.book.state())
    written.core = again
    written.still(6.0, 5)
    assert "min more" in written.dip(6000, 6000).text


def test_without_a_level_the_person_is_told_that_nobody_watched(kept: Kept) -> None:
    answer = kept.dip(6000, 6000)
    assert answer.status is Taken.DONE
    assert "ask who moves fuel" in answer.text


def test_who_has_watched_for_less_than_the_wait_says_so(kept: Kept) -> None:
    kept.still(6.0, 600)
    assert "ask who moves fuel" in kept.dip(6000, 6000).text
    kept.still(6.0, 1300)
    assert kept.dip(6000, 6000).text == ""


# Water


def test_water_by_dips_makes_the_stock_and_without_one_it_is_missing(kept: Kept) -> None:
    before = kept.still(6.0)
    assert (before.quality, before.water_m, before.gsv_m3) == (Quality.GOOD, None, None)
    assert before.stock_quality is BAD
    kept.dip(6000, 6000, water_m=0.010)
    after = kept.still(6.0, 5)
    assert after.water_m == 0.010
    assert after.stock_quality is Quality.GOOD
    kept.dip(water_m=0.0)
    dry = kept.still(6.0, 5)
    assert dry.gov_m3 is not None
    assert dry.gov_m3 > (after.gov_m3 or 0.0)


def test_an_old_water_dip_is_none_also_when_nobody_polled_meanwhile(kept: Kept) -> None:
    kept.still(6.0)
    kept.dip(water_m=0.010, time=iso_ms(T0 + kept.ms - 35 * HOUR))
    assert kept.still(6.0, 2).gsv_m3 is not None
    assert kept.core.water(kept.site.tank("palm")).age_ms == pytest.approx(35 * HOUR, abs=5000)
    kept.ms += 2 * HOUR
    late = kept.still(6.0, 2)
    assert (late.water_m, late.gsv_m3, late.stock_quality) == (None, None, BAD)


def test_a_water_dip_of_yesterday_does_not_replace_one_of_today(kept: Kept) -> None:
    kept.still(6.0)
    kept.dip(water_m=0.010)
    kept.dip(water_m=0.025, time=iso_ms(T0 + kept.ms - 20 * HOUR))
    assert kept.still(6.0, 2).water_m == 0.010


def test_a_tank_with_a_water_signal_or_none_never_takes_a_dips_water(tmp_path: Path) -> None:
    kept = Kept(tmp_path, LOOP_SITE)
    kept.still(6.0)
    assert kept.dip(6000, 6000, water_m=0.5).status is Taken.DONE
    assert kept.still(6.0, 2).water_m is None


def test_a_dip_that_was_wrong_is_withdrawn_and_the_one_before_counts(kept: Kept) -> None:
    kept.still(6.0)
    first = kept.dip(water_m=0.010).body["number"]
    kept.ms += 60_000
    second = kept.dip(water_m=0.100).body["number"]
    assert kept.still(6.0, 2).water_m == 0.100
    gone = kept.act("withdraw_dip", kind="dip", number=second, why="typed cm")
    assert gone.status is Taken.DONE
    assert kept.still(6.0, 2).water_m == 0.010
    assert kept.act("withdraw_dip", kind="dip", number=second, why="again").status is Taken.UNKNOWN
    assert kept.act("withdraw_dip", kind="dip", number=first, why="x").status is Taken.DONE
    assert kept.still(6.0, 2).stock_quality is BAD
    with pytest.raises(CallError, match="why"):
        act_of("withdraw_dip", {"kind": "dip", "number": 1, "by": "Ann"})


# Density


def test_an_accepted_sample_stands_for_the_tanks_product_from_then_on(kept: Kept) -> None:
    kept.still(6.0)
    kept.dip(water_m=0.0)
    before = kept.still(6.0, 2)
    assert before.gsv_m3 is not None
    assert before.mass_kg == pytest.approx(before.gsv_m3 * 800.0)
    answer = kept.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0, meter="hydrometer")
    base = base_density_of_sample("jet", 802.0, 25.0, DensityMeter.HYDROMETER)
    assert (answer.status, answer.body["accepted"]) == (Taken.DONE, True)
    assert answer.body["base_kgpm3"] == pytest.approx(base)
    after = kept.still(6.0, 2)
    assert after.gsv_m3 is not None
    assert after.mass_kg == pytest.approx(after.gsv_m3 * base)
    assert after.gsv_m3 != before.gsv_m3


def test_what_was_stored_before_and_after_a_sample_keeps_its_figures_when_it_is_sealed(written: Kept) -> None:
    """Sealed hours are worked out anew by the product's density; what that leaves is kept beside."""
    assert written.stores is not None
    store = written.stores.readings
    written.still(6.0, 30)
    written.dip(water_m=0.010)
    written.still(6.0, 30)
    written.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0)
    for _ in range(3):
        written.ms += HOUR
        written.still(6.0, 20)
    before = list(store.read("palm", 0, 2**53))
    assert store.seal("palm") > 0
    assert list(store.read("palm", 0, 2**53)) == before
    assert len({reading.mass_kg for reading in before}) >= 3  # without water, with it, with the sample's density


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"observed_kgpm3": 850.0}, "outside of 775 to 840"),
        ({"certificate_kgpm3": 801.0}, "off the certificate"),
        ({"rejected": "cloudy"}, "cloudy"),
    ],
)
def test_a_sample_that_is_not_accepted_is_written_down_and_changes_nothing(kept: Kept, fields: Any, why: str) -> None:
    kept.still(6.0)
    answer = kept.act("add_density_sample", **{"observed_kgpm3": 802.0, "observed_degC": 25.0, **fields})
    assert (answer.status, answer.body["accepted"]) == (Taken.DONE, False)
    assert why in answer.body["why"]
    assert kept.core.dips.latest_density("palm") is None
    assert kept.core.keepers["palm"].stock.product.base_density_kgpm3 == 800.0


def test_a_density_that_no_table_takes_is_refused(kept: Kept) -> None:
    answer = kept.act("add_density_sample", observed_kgpm3=1290.0, observed_degC=25.0)
    assert answer.status is Taken.REFUSED
    assert "no base density" in answer.text


def test_a_withdrawn_sample_gives_the_product_its_density_back(kept: Kept) -> None:
    kept.still(6.0)
    number = kept.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0).body["number"]
    assert kept.core.keepers["palm"].stock.product.base_density_kgpm3 != 800.0
    kept.act("withdraw_dip", kind="sample", number=number, why="wrong tank")
    assert kept.core.keepers["palm"].stock.product.base_density_kgpm3 == 800.0


# A movement that a dip says otherwise of


def test_a_dip_that_disagrees_amends_the_movement_and_a_withdrawn_one_takes_it_back(written: Kept) -> None:
    written.still(5.0, 120)
    assert written.dip(4950, 4950).status is Taken.DONE  # 50 mm: more than 0.25 % of 12 m and the dip explain
    written.still(5.0, 1900)
    written.flow(5.0, 6.0, 300)
    written.still(6.0, 1900)
    assert written.stores is not None
    (plain,) = movement_rows(written.stores.book)
    assert (plain["stage"], plain["dip_start_m"], plain["by_dips_m3"]) == ("final", None, None)
    number = written.dip(5990, 5990).body["number"]
    (row,) = movement_rows(written.stores.book)
    assert row["revision"] == plain["revision"] + 1
    assert row["dip_start_m"] == pytest.approx(4.95, abs=0.002)
    assert row["dip_end_m"] == pytest.approx(5.99, abs=0.002)
    table = written.site.tank("palm").table
    assert row["by_dips_m3"] == pytest.approx(table.volume_m3(5.99) - table.volume_m3(4.95), abs=0.2)
    assert row["tov_m3"] == plain["tov_m3"]
    newest = [dict(e.body) for e in written.stores.book.entries(["movement"])][-1]
    assert (newest["change"], newest["amends"]) == ("amended", plain["revision"])
    again = core_of(written.site)
    again.restore(written.stores.book.state())
    written.core = again
    written.act("withdraw_dip", kind="dip", number=1, why="other tank")
    (back,) = movement_rows(written.stores.book)
    assert (back["revision"], back["dip_start_m"], back["dip_end_m"]) == (row["revision"] + 1, None, None)
    assert number == 2


def test_a_dip_that_agrees_amends_nothing(written: Kept) -> None:
    written.still(5.0, 120)
    written.flow(5.0, 6.0, 300)
    written.still(6.0, 1900)
    assert written.stores is not None
    (plain,) = movement_rows(written.stores.book)
    assert written.dip(6010, 6010).status is Taken.DONE
    assert movement_rows(written.stores.book) == [plain]


# Past a restart, in the record book, by the command


def test_a_restarted_core_has_the_water_the_density_and_the_numbers(written: Kept) -> None:
    written.still(6.0)
    written.dip(6000, 6000, water_m=0.010)
    sample = written.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0).body
    before = written.still(6.0, 3)
    assert written.stores is not None
    again = core_of(written.site)
    again.restore(written.stores.book.state())
    written.core = again
    after = written.still(6.0, 3)
    assert (after.water_m, after.mass_kg) == (before.water_m, before.mass_kg)
    assert again.keepers["palm"].stock.product.base_density_kgpm3 == sample["base_kgpm3"]
    assert written.dip(water_m=0.011).body["number"] == 2
    assert written.stores.book.verify().unbroken


def test_read_without_a_daemon_knows_water_and_density_by_hand(
    written: Kept, capsys: pytest.CaptureFixture[str]
) -> None:
    written.still(6.0)
    written.dip(6000, 6000, water_m=0.010)
    base = written.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0).body["base_kgpm3"]
    written.core = core_of(written.site)
    by_hand(written.site, written.core)
    reading = written.still(6.0, 3)
    assert (reading.water_m, reading.stock_quality) == (0.010, Quality.GOOD)
    assert reading.gsv_m3 is not None
    assert reading.mass_kg == pytest.approx(reading.gsv_m3 * base)
    assert capsys.readouterr().err == ""


def test_the_record_book_tells_what_counts_and_what_was_withdrawn(written: Kept) -> None:
    written.still(6.0)
    written.dip(6000, 6000)
    wrong = written.dip(5990, 5990).body["number"]
    written.act("add_density_sample", observed_kgpm3=802.0, observed_degC=25.0)
    written.act("withdraw_dip", kind="dip", number=wrong, why="other hatch")
    assert written.stores is not None
    book = written.stores.book
    assert [dip.number for dip in dips_of(book)] == [1]
    assert dips_of(book, "elsewhere") == []
    assert [one.number for one in samples_of(book, "palm")] == [1]
    [withdrawn] = [entry.body for entry in book.entries(["dip"]) if entry.body["change"] == "withdrawn"]
    assert (withdrawn["number"], withdrawn["by"], withdrawn["why"]) == (wrong, "Ann", "other hatch")


def test_the_gauge_at_a_dip_is_the_mean_of_the_readings_before_it(written: Kept) -> None:
    written.still(6.0, 120)
    moment = T0 + written.ms - 30_000
    written.dip(5993, 5993, time=iso_ms(moment))
    assert written.stores is not None
    found = trend(written.site, written.stores.book, written.stores.readings, "palm")
    (row,) = found["dips"]
    assert row["difference_m"] == pytest.approx(0.007, abs=1e-6)
    assert row["within"]
    assert "4 are needed" in found["split_refused"]
    assert found["due"] is None  # its water was never found
    assert found["check"] == [{"what": "none", "words": "Nothing speaks against the gauge."}]


def test_a_zero_that_is_off_is_told_with_what_to_have_checked(written: Kept) -> None:
    for level in (2.0, 5.0, 8.0, 11.0):
        written.still(level, 90)
        written.ms += HOUR
        written.still(level, 90)
        assert written.dip(1000 * level - 12, 1000 * level - 12).status is Taken.DONE
    assert written.stores is not None
    found = trend(written.site, written.stores.book, written.stores.readings, "palm")
    assert found["split"]["zero_m"] == pytest.approx(0.012, abs=1e-4)
    assert found["split"]["zero_off"]
    assert not found["split"]["span_off"]
    assert [one["what"] for one in found["check"]] == ["limit", "zero"]
    written.still(11.0, 5)
    written.dip(11000, 11000, after_setting=True)
    assert len(trend(written.site, written.stores.book, written.stores.readings, "palm")["dips"]) == 1


def test_the_command_writes_lists_compares_and_withdraws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = Kept(tmp_path)
    with open_stores(kept.site) as kept.stores:
        kept.still(6.0, 120)
    site = str(kept.site.path)

    def run(*args: str) -> tuple[int, str]:
        status = main(["dip", *args])
        out = capsys.readouterr()
        return status, out.out + out.err

    add = ("add", site, "palm", "--by", "Ann")
    assert run(*add, "--innage", "5996 mm", "5.997 m")[0] == 3
    status, said = run(*add, "--innage", "5996 mm", "5.996 m", "--water", "12 mm")
    assert (status, "dip 1 by Ann: 5996.0 mm (2 identical readings), water 12.0 mm" in said) == (0, True)
    assert "ask who moves fuel" in said  # nobody polls
    assert run(*add, "--innage", "5996")[0] == 2
    assert run(*add, "--ullage", "7500 mm", "7500 mm", "--temperature", "25 degC")[0] == 3
    assert run("add", site, "nowhere", "--by", "Ann", "--water", "0 mm")[0] == 2
    rejected = ("sample", site, "palm", "--density", "850 kg/m3", "--temperature", "25 degC", "--by", "Ann")
    status, said = run(*rejected)
    assert (status, "not accepted" in said, "775 to 840" in said) == (1, True, True)
    status, said = run("list", site, "--json")
    (row,) = json.loads(said)
    assert (status, row["level_m"], row["water_m"], row["gauge_m"]) == (0, 5.996, 0.012, None)
    assert "5996" in run("list", site, "--tank", "palm")[1]
    assert json.loads(run("list", site, "--samples", "--json")[1])[0]["accepted"] is False
    status, said = run("trend", site, "palm")
    assert (status, "0 dips with a gauge's level" in said, "next dip due" in said) == (0, True, True)
    assert run("withdraw", site, "1", "--why", "wrong tank", "--by", "Ann")[0] == 0
    assert run("list", site)[1] == "no dip in that time\n"
    assert run("withdraw", site, "1", "--why", "again", "--by", "Ann")[0] == 2
